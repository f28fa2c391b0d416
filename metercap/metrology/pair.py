"""Two measured values side by side: what their difference is worth.

One meter in one function, range and on one day has the same gain error in both values, so it cancels in their
difference and only counts on the difference itself; small differences between two units then show that the full
uncertainties would hide. Anything else takes both full uncertainties.

Each session takes its own lead null, so the nulls are two and the scatter of each stays in the difference. A value with
the leads taken off and one without differ by the leads themselves, and are never taken for like ones.
"""

from __future__ import annotations

import math

import msgspec

from metercap.meter import MeterProfile
from metercap.metrology.budget import LEADS, Budget, difference_budget, own_scatter
from metercap.metrology.components import Component
from metercap.metrology.domain import round6
from metercap.metrology.series import Scatter, minus
from metercap.quantity import Quantity

FULL = "full U of both"


class Measured(msgspec.Struct, frozen=True, omit_defaults=True, rename={"expanded": "U"}):
    """A value in SI with what a comparison needs to know of it. Numbers of 6 digits, all in the value's unit.

    `own_u`, `own_dof`: its own scatter (repeatability, spread of contacts), u None where not known; dof None is
    infinite, which has no JSON. `null_u`, `null_dof`: the same of the lead null, u None where no leads were taken off.
    """

    value: float
    expanded: float
    resolution: float | None = None
    quantity: Quantity | None = None
    own_u: float | None = None
    own_dof: float | None = None
    null_u: float | None = None
    null_dof: float | None = None

    @property
    def own(self) -> Scatter | None:
        """Its own scatter, or None where that is not known."""
        return _scatter(self.own_u, self.own_dof)

    @property
    def null(self) -> Scatter | None:
        """The lead null's scatter, or None where no leads were taken off."""
        return _scatter(self.null_u, self.null_dof)


def measured(
    value: float, expanded: float, resolution: float, quantity: Quantity | None, budget: Budget | None
) -> Measured:
    """Return a value with the parts of its `budget` that a comparison needs; None leaves its scatter unknown. SI."""
    if budget is None:
        return Measured(value, expanded, resolution, quantity)
    own_u, own_dof = _numbers(own_scatter(budget))
    null_u, null_dof = None, None
    if any(component.name == LEADS for component in budget.components):
        null_u, null_dof = _numbers(budget.part(LEADS))
    return Measured(value, expanded, resolution, quantity, own_u, own_dof, null_u, null_dof)


def unlike(first: Measured, second: Measured) -> str:
    """Return why the gain error of one meter does not cancel between two values; empty where it does.

    It needs one function and range, leads taken off in both or in neither, and both values' own scatter.
    """
    if first.own is None or second.own is None:
        return "scatter not known"
    if first.quantity is None or first.quantity is not second.quantity:
        return "another function"
    if not math.isclose(first.resolution or 0.0, second.resolution or 0.0, rel_tol=1e-6) or not first.resolution:
        return "another range"
    if (first.null is None) is not (second.null is None):
        return "leads taken off in one only"
    return ""


def pair_budget(first: Measured, second: Measured, profile: MeterProfile, apart: str = "") -> Budget:
    """Return the budget of first − second; its `reason` begins with `FULL` where nothing cancels, and says why.

    `apart`: why the two are not of one meter on one day, empty where they are. Then, and where `unlike` finds
    nothing, it is `difference_budget` with the scatter of both lead nulls; else U² = U₁² + U₂². Never less than what is
    known of both scatters, which matters where the accuracy is unknown. SI units.
    Source: JCGM 100:2008, 5.1.2, 5.2, F.1.2.4; ISO 13528:2022, 9.7.
    """
    scatters = _scatters(first, "first") + _scatters(second, "second")
    why = apart or unlike(first, second)
    if why:
        halves = (("first", first.expanded), ("second", second.expanded))
        whole = tuple(Component(f"U of the {whose} / 2", expanded / 2.0) for whose, expanded in halves)
        return _at_least(Budget(whole, k=2.0, reason=f"{FULL}: {why}"), Budget(scatters, k=2.0))
    assert first.own is not None and second.own is not None and first.resolution and first.quantity is not None
    budget = difference_budget(
        minus(first.value, second.value), first.resolution, first.quantity, profile, first.own, second.own
    )
    nulls = tuple(component for component in scatters if component.name.startswith(LEADS))
    budget = msgspec.structs.replace(budget, components=(*budget.components, *nulls))
    return _at_least(budget, msgspec.structs.replace(budget, stated=None))


def _at_least(budget: Budget, known: Budget) -> Budget:
    return budget if known.expanded <= budget.expanded else msgspec.structs.replace(known, reason=budget.reason)


def _scatters(one: Measured, whose: str) -> tuple[Component, ...]:
    named = ((f"scatter of the {whose}", one.own), (f"{LEADS} of the {whose}", one.null))
    return tuple(Component(name, scatter.u, scatter.dof) for name, scatter in named if scatter is not None)


def _scatter(u: float | None, dof: float | None) -> Scatter | None:
    return None if u is None else Scatter(u, math.inf if dof is None else dof)


def _numbers(scatter: Scatter) -> tuple[float, float | None]:
    return round6(scatter.u), round6(scatter.dof) if math.isfinite(scatter.dof) else None
