"""Single components of a measurement uncertainty, each a standard uncertainty with where it came from.

Source: JCGM 100:2008 (the GUM), chapters 4 and 5.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from metercap.metrology.domain import need, need_finite, need_uncertainty
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


def contact_spread(values: Sequence[float]) -> Scatter:
    """Return the scatter between separate contacts: u = s, undivided, with m − 1 degrees of freedom.

    `values`: one per contact, any unit. Undivided, since the recorded value may be that of any one contact. Degenerate:
    fewer than two contacts show no spread, u = 0. Source: JCGM 100:2008, 4.2.2.
    """
    return Scatter(sd(values), len(values) - 1.0) if len(values) >= 2 else Scatter(0.0, math.inf)
