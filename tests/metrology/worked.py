"""What worked examples of the standards need beyond the formulas that the program itself uses."""

from __future__ import annotations

import math
from collections.abc import Sequence

from metercap.metrology.components import Component, accuracy_half_width, rectangular
from metercap.metrology.domain import need
from metercap.metrology.series import sd


def triangular(name: str, half_width: float, *, note: str = "") -> Component:
    """Return u = a/√6: within ±a, most likely in the middle.

    Unit of `half_width` (scalar, not negative). Degenerate: a = 0 gives u = 0. Source: JCGM 100:2008, 4.3.9, 4.4.6.
    """
    return Component(name, half_width / math.sqrt(6.0), math.inf, "triangular", note or f"±{half_width:.6g}")


def accuracy_component(name: str, value: float, resolution: float, percent: float, counts: float) -> Component:
    """Return u = a/√3 with a of `accuracy_half_width`: the data sheet's limit, taken as rectangular.

    Unit of `value` (scalars). Source: JCGM 100:2008, 4.3.7 example 2.
    """
    half_width = accuracy_half_width(value, resolution, percent, counts)
    return rectangular(name, half_width, note=f"±({percent:g} % + {counts:g} counts) = ±{half_width:.6g}")


def type_a(name: str, values: Sequence[float]) -> Component:
    """Return u = s/√n with n − 1 degrees of freedom: the mean of n *independent* observations.

    Unit of `values` (one dimension, n ≥ 2). For conversions of one contact use `repeatability` instead: they are
    not independent. Degenerate: equal values give u = 0. Source: JCGM 100:2008, 4.2.3, 4.4.3.
    """
    n = len(values)
    need(n >= 2, name, f"a Type A evaluation needs two values or more, and there are {n}")
    return Component(name, sd(values) / math.sqrt(n), n - 1.0, "normal", f"s/√n, n = {n}")


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
