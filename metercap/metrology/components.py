"""Single components of a measurement uncertainty, each a standard uncertainty with where it came from.

Source: JCGM 100:2008 (the GUM), chapters 4 and 5.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from metercap.metrology.domain import need, need_confidence, need_finite, need_uncertainty
from metercap.metrology.normal import normal_quantile
from metercap.metrology.series import Scatter, sd

ROOT_3 = math.sqrt(3.0)


class Component(msgspec.Struct, frozen=True):
    """One source of uncertainty: standard uncertainty `u` in the unit of the result, not negative.

    `dof`: degrees of freedom, infinite where u is taken as known. `distribution`: its shape, by name. `note`: the
    numbers that u was made from, for a table. `of`: the one of them that nothing else tells, for who keeps it; None
    where there is none. A sensitivity coefficient, where there is one, is already in `u`.
    """

    name: str
    u: float
    dof: float = math.inf
    distribution: str = "normal"
    note: str = ""
    of: float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no standard uncertainty."""
        need_uncertainty(self.u, self.name)
        if not self.dof > 0.0:
            need(False, self.name, f"degrees of freedom are positive, and these are {self.dof}")


def rectangular(name: str, half_width: float, *, note: str = "") -> Component:
    """Return u = a/√3: the value lies anywhere within ±a, equally likely.

    Unit of `half_width` (scalar, not negative). Degenerate: a = 0 gives u = 0. Source: JCGM 100:2008, 4.3.7, 4.4.5.
    """
    return Component(name, half_width / ROOT_3, math.inf, "rectangular", note or f"±{half_width:.6g}")


def triangular(name: str, half_width: float, *, note: str = "") -> Component:
    """Return u = a/√6: within ±a, most likely in the middle.

    Unit of `half_width` (scalar, not negative). Degenerate: a = 0 gives u = 0. Source: JCGM 100:2008, 4.3.9, 4.4.6.
    """
    return Component(name, half_width / math.sqrt(6.0), math.inf, "triangular", note or f"±{half_width:.6g}")


def resolution_component(name: str, step: float) -> Component:
    """Return u = δ/√12 = 0.29·δ of a display whose last digit steps by δ.

    Unit of `step` (scalar, not negative). Degenerate: δ = 0 gives u = 0. Source: JCGM 100:2008, F.2.2.1.
    """
    return Component(name, step / math.sqrt(12.0), math.inf, "rectangular", f"one count {step:.6g}")


def accuracy_half_width(value: float, resolution: float, percent: float, counts: float) -> float:
    """Return a = |value|·percent/100 + counts·resolution, a data sheet's ±(percent of reading + counts).

    Unit of `value` (scalars). Degenerate: at value 0 only the counts remain. Source: common practice of data sheets;
    JCGM 100:2008, 4.3.7 example 2, has the same form with a percentage of range.
    """
    need_finite(value, "accuracy_half_width")
    need_uncertainty(resolution, "accuracy_half_width")
    return abs(value) * percent / 100.0 + counts * resolution


def accuracy_component(name: str, value: float, resolution: float, percent: float, counts: float) -> Component:
    """Return u = a/√3 with a of `accuracy_half_width`: the data sheet's limit, taken as rectangular.

    Unit of `value` (scalars). Source: JCGM 100:2008, 4.3.7 example 2.
    """
    half_width = accuracy_half_width(value, resolution, percent, counts)
    return rectangular(name, half_width, note=f"±({percent:g} % + {counts:g} counts) = ±{half_width:.6g}")


def certificate(
    name: str, expanded: float, *, k: float | None = None, confidence: float | None = None, dof: float = math.inf
) -> Component:
    """Return u = U/k of a calibration certificate that states U with k, or with a level of confidence.

    Unit of `expanded` (scalar, not negative). Give one of `k` and `confidence`; the latter is taken as normal:
    k = Φ⁻¹((1 + p)/2), 2.58 at 99 %. Degenerate: U = 0 gives u = 0. Source: JCGM 100:2008, 4.3.3, 4.3.4.
    """
    need((k is None) != (confidence is None), name, "a certificate needs either k or a confidence, not both")
    if confidence is not None:
        need_confidence(confidence, name)
        k = normal_quantile(0.5 + 0.5 * confidence)
    assert k is not None
    need(0.0 < k < math.inf, name, f"a coverage factor is positive, and this is {k}")
    return Component(name, expanded / k, dof, "normal", f"U = {expanded:.6g}, k = {k:.4g}")


def type_a(name: str, values: Sequence[float]) -> Component:
    """Return u = s/√n with n − 1 degrees of freedom: the mean of n *independent* observations.

    Unit of `values` (one dimension, n ≥ 2). For conversions of one contact use `repeatability` instead: they are
    not independent. Degenerate: equal values give u = 0. Source: JCGM 100:2008, 4.2.3, 4.4.3.
    """
    n = len(values)
    need(n >= 2, name, f"a Type A evaluation needs two values or more, and there are {n}")
    return Component(name, sd(values) / math.sqrt(n), n - 1.0, "normal", f"s/√n, n = {n}")


def contact_spread(values: Sequence[float]) -> Scatter:
    """Return the scatter between separate contacts: u = s, undivided, with m − 1 degrees of freedom.

    `values`: one per contact, any unit. Undivided, since the recorded value may be that of any one contact. Degenerate:
    fewer than two contacts show no spread, u = 0. Source: JCGM 100:2008, 4.2.2.
    """
    return Scatter(sd(values), len(values) - 1.0) if len(values) >= 2 else Scatter(0.0, math.inf)


def correlated_sum(parts: Sequence[float], correlation: float | Sequence[Sequence[float]]) -> float:
    """Return u of a sum of correlated parts: u² = ΣΣ u_i·u_j·r_ij.

    `parts`: c_i·u(x_i), signed, in the unit of the result (one dimension). `correlation`: one r for every pair, or an
    n × n matrix whose diagonal is 1. Degenerate: r = 1 adds the parts themselves, r = 0 their squares; no parts give 0;
    a sum that full anticorrelation cancels is 0. Source: JCGM 100:2008, 5.2.2.
    """
    n = len(parts)
    rows = correlation if not isinstance(correlation, float | int) else None
    need(rows is None or (len(rows) == n and all(len(row) == n for row in rows)), "correlated_sum", "n × n needed")
    terms = []
    for i in range(n):
        for j in range(n):
            r = (1.0 if i == j else float(correlation)) if rows is None else rows[i][j]  # type: ignore[arg-type]
            need(-1.0 <= r <= 1.0, "correlated_sum", f"a correlation lies within ±1, and this is {r}")
            terms.append(parts[i] * parts[j] * r)
    return math.sqrt(max(0.0, math.fsum(terms)))
