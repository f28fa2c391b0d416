"""Uncertainty budgets by JCGM 100: what a meter's reading, and a difference of two, is worth.

Source: JCGM 100:2008 (the GUM), chapters 4 to 6, annexes F and G. How far U holds, for a meter whose data sheet is
true, is simulated in the tests, which hold these figures (first-order noise, lag-one up to 0.95). A mean of 30
conversions or more is covered 95 % whatever the noise. Of one contact's few conversions slow noise does not show: it is
covered while its standard deviation is up to one count. Two contacts, far enough apart to be independent, cover two
counts and what the data sheet's percentage leaves. Where the data sheet is not known U says nothing of the meter's own
error, and of noise only what was seen: where contacts were pooled over four items (`spread`) it covers 95 % of noise
that a contact's few seconds let go. Noise so slow that contacts a few seconds apart still go with each other is covered
less: 0.94 of values touched once at lag-one 0.94, 0.89 at 0.97.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from metercap.meter import Accuracy, MeterProfile
from metercap.metrology.components import (
    ROOT_3,
    Component,
    accuracy_half_width,
    contact_spread,
    resolution_component,
)
from metercap.metrology.domain import need, need_confidence, need_finite, need_uncertainty, round6
from metercap.metrology.series import FEW, Scatter, mean, noise, own_repeatability, repeatability, sd_known_to
from metercap.metrology.student import K2_CONFIDENCE, t_factor
from metercap.quantity import Quantity
from metercap.rests import Part

ACCURACY = "accuracy"
RESOLUTION = "resolution"
REPEATABILITY = "repeatability"
LEADS = "lead null"
CONTACTS = "separate contacts"
ROOT_12 = math.sqrt(12.0)
_SHAPES = {ACCURACY: "rectangular", RESOLUTION: "rectangular"}
UNKNOWN = "accuracy unknown"
"""The reason a budget gives when the profile has no accuracy row: U is then that of what is known."""


class Row(msgspec.Struct, frozen=True):
    """One line of a budget's table; `share` is u² over u_c² in percent, `dof` None where infinite (it has no JSON)."""

    name: str
    u: float
    share: float
    dof: float | None
    distribution: str
    note: str


class Budget(msgspec.Struct, frozen=True):
    """Components that combine to one uncertainty, all in the unit of the result.

    `k`: a fixed coverage factor, or None for the factor at `confidence` by effective degrees of freedom, which is 2.00
    when these are infinite. `stated`: an expanded uncertainty that stands whatever the components say. `reason`: why.
    """

    components: tuple[Component, ...]
    k: float | None = None
    confidence: float = K2_CONFIDENCE
    stated: float | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        """Refuse a factor, confidence or statement that is none."""
        need_confidence(self.confidence, "Budget")
        need(self.k is None or 0.0 < self.k < math.inf, "Budget", f"a coverage factor is positive, not {self.k}")
        need_uncertainty(self.stated or 0.0, "Budget")

    @property
    def u(self) -> float:
        """Combined standard uncertainty u_c = √Σu², unrounded. No components: 0. JCGM 100:2008, 5.1.2."""
        return math.sqrt(math.fsum(component.u * component.u for component in self.components))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom u_c⁴/Σ(u⁴/ν), from the unrounded u_c; infinite when every ν is, or u_c is 0.

        JCGM 100:2008, G.4.1, the Welch–Satterthwaite formula.
        """
        u = self.u
        below = math.fsum((c.u / u) ** 4 / c.dof for c in self.components) if u > 0.0 else 0.0
        return 1.0 / below if below > 0.0 else math.inf

    @property
    def coverage_factor(self) -> float:
        """`k`, or t of `confidence` at the effective degrees of freedom, truncated to a whole number; 6 digits.

        JCGM 100:2008, 6.3 and G.4.1, whose own example takes 18.999 as 19: rounded to a tenth before truncation.
        """
        if self.k is not None:
            return self.k
        dof = self.dof
        if math.isfinite(dof):
            dof = max(1.0, float(math.floor(round(dof, 1))))
        return round6(t_factor(self.confidence, dof))

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k·u_c, or the stated one; 6 digits, not negative. JCGM 100:2008, 6.2.1."""
        return round6(self.coverage_factor * self.u if self.stated is None else self.stated)

    def part(self, *names: str) -> Scatter:
        """Return u and effective degrees of freedom of the named components alone; (0, ∞) where none is named so."""
        some = Budget(tuple(component for component in self.components if component.name in names))
        return Scatter(some.u, some.dof)

    def rows(self) -> tuple[Row, ...]:
        """Return every component for a table, in the order they were added; numbers of 6 digits."""
        square = self.u**2
        return tuple(
            Row(
                name=component.name,
                u=round6(component.u),
                share=round6(100.0 * component.u**2 / square) if square > 0.0 else 0.0,
                dof=round6(component.dof) if math.isfinite(component.dof) else None,
                distribution=component.distribution,
                note=component.note,
            )
            for component in self.components
        )


class LeadNull(msgspec.Struct, frozen=True):
    """What tips held together read: the value taken off later readings, its scatter `u` and the scatter's dof.

    `noise`: the standard deviation of one conversion where it is more than a count, else 0.
    """

    value: float
    u: float
    dof: float = math.inf
    noise: float = 0.0

    @property
    def below(self) -> float:
        """U of a value near zero that this null was taken off, by the noise that the null showed; 6 digits.

        U = 2·√(max(u, noise)² + noise²): a later reading is as noisy as those of the null. Where no more than a count
        of noise was seen that is 2·u. Source: JCGM 100:2008, 5.1.2, 6.3.3.
        """
        return round6(2.0 * math.hypot(max(self.u, self.noise), self.noise))


def lead_null(conversions: Sequence[float], resolution: float) -> LeadNull:
    """Return the leads' value, the mean, and u = √(repeatability² + δ²/12).

    `conversions`: readings with the tips together, in ohms, n ≥ 1; `resolution` δ in the same unit. The meter's own
    zero error is not in u: it is in both readings and leaves with the null. Degenerate: one reading scatters by one
    count. Source: JCGM 100:2008, 4.2, F.2.2.1.
    """
    scatter = repeatability(conversions, resolution)
    both = Budget((_scatter(REPEATABILITY, scatter, ""), resolution_component(RESOLUTION, resolution)))
    seen = noise(conversions, resolution) if math.isfinite(scatter.dof) else 0.0
    return LeadNull(mean(conversions), both.u, both.dof, seen)


def accuracy_row(profile: MeterProfile, quantity: Quantity, resolution: float) -> Accuracy | None:
    """Return the accuracy table's row for a quantity in the range that shows `resolution` (SI), or None.

    A row for that range comes before one for every range; among equals the first. Resolutions agree within 1e-6,
    since one may come from a file's decimal and the other from a display's. Source: the profile.
    """
    rows = [row for row in profile.accuracy if row.quantity == quantity]
    for row in rows:
        if row.resolution is not None and math.isclose(row.resolution, resolution, rel_tol=1e-6):
            return row
    return next((row for row in rows if row.resolution is None), None)


def reading_budget(
    value: float,
    resolution: float,
    quantity: Quantity,
    profile: MeterProfile,
    *,
    conversions: Sequence[float] = (),
    contacts: Sequence[float] = (),
    spread: Scatter | None = None,
    lead: LeadNull | None = None,
    k: float | None = None,
    averaged: bool = False,
) -> Budget:
    """Return the budget of one recorded value.

    `value`: as displayed, before the leads are taken off; `resolution`: one count; `conversions`: those the value
    rests on; `contacts`: one value for each separate contact; `spread`: the contacts' scatter where it is known from
    more items than this one; `lead`: the null taken off, if any; all in SI.
    Components: accuracy (rectangular), resolution (δ/√12), repeatability, lead null, spread of contacts. The value is
    its last conversion, so that one's own scatter enters, undivided (`own_repeatability`), unless it is their mean,
    `averaged`. U = k·u_c, by effective degrees of freedom (k = 2 or more) unless `k` is given. Degenerate: without
    conversions repeatability is one count; without an accuracy row U is that of what is known, one resolution at
    least, with the reason "accuracy unknown".
    Source: JCGM 100:2008, 4.3.7 example 2, 4.2, F.2.2.1, G.4.
    """
    need_finite(value, "reading_budget")
    need(0.0 < resolution < math.inf, "reading_budget", f"a resolution is positive, and this is {resolution}")
    row = accuracy_row(profile, quantity, resolution)
    components = []
    if row is not None:
        half_width = accuracy_half_width(value, resolution, row.percent, row.counts)
        components.append(_component(ACCURACY, half_width / ROOT_3, math.inf, half_width, resolution, row))
    components.append(_component(RESOLUTION, resolution / ROOT_12, math.inf, None, resolution, row))
    shown = repeatability(conversions, resolution) if averaged else own_repeatability(conversions, resolution)
    scatter = _component(REPEATABILITY, shown.u, shown.dof, len(conversions), resolution, row)
    if averaged and len(conversions) >= FEW:
        scatter = msgspec.structs.replace(scatter, note=f"{scatter.note} by their effective number")
    components.append(scatter)
    if lead is not None:
        components.append(_component(LEADS, lead.u, lead.dof, lead.value, resolution, row))
    if spread is not None:
        components.append(_component(CONTACTS, spread.u, spread.dof, None, resolution, row))
    elif len(contacts) >= 2:
        apart = contact_spread(contacts)
        components.append(_component(CONTACTS, apart.u, apart.dof, len(contacts), resolution, row))
    return _known(tuple(components), k, resolution, accuracy=row is not None)


def parts_of(budget: Budget) -> tuple[Part, ...]:
    """Return the parts of a `reading_budget` as a verdict lists them; `budget_of` makes the same budget of them."""
    return tuple(
        Part(each.name, each.u, each.dof if math.isfinite(each.dof) else None, each.of) for each in budget.components
    )


def budget_of(
    parts: Sequence[Part], quantity: Quantity, resolution: float, profile: MeterProfile, k: float | None = None
) -> Budget:
    """Return the budget of one recorded value that rests on `parts`, equal to the one that they are `parts_of`.

    `resolution`: one count of the value, in its unit, by which `profile` tells the accuracy's note. Degenerate: without
    a part of the meter's accuracy U is one resolution at least; a part of an unknown kind counts, without a note.
    Source: JCGM 100:2008, 5.1.2, 6.2.1, G.4.1.
    """
    row = accuracy_row(profile, quantity, resolution)
    components = tuple(
        _component(part.kind, part.u, math.inf if part.dof is None else part.dof, part.of, resolution, row)
        for part in parts
    )
    return _known(components, k, resolution, accuracy=any(part.kind == ACCURACY for part in parts))


def own_scatter(budget: Budget) -> Scatter:
    """Return u₁ of `difference_budget`: what is a reading's own, its repeatability and the spread of its contacts."""
    return budget.part(REPEATABILITY, CONTACTS)


def difference_budget(
    difference: float,
    resolution: float,
    quantity: Quantity,
    profile: MeterProfile,
    first: Scatter,
    second: Scatter,
    *,
    k: float | None = None,
) -> Budget:
    """Return the budget of the difference Δ of two readings of one meter: same function, resolution, null and day.

    u²(Δ) = (g·Δ)²/3 + 2(c·res)²/3 + 2·res²/12 + u₁² + u₂², where ±(g + c counts) is the accuracy row. The gain error is
    the same in both readings and counts only on their difference; the rest does not cancel. `first` and `second`
    are each reading's `own_scatter`. SI units, scalars. Otherwise combine two full U as √(U₁² + U₂²). Degenerate: Δ = 0
    leaves counts, resolution and scatter; without an accuracy row U(Δ) is that of what is known, √2 resolutions at
    least, "accuracy unknown".
    Source: JCGM 100:2008, 5.2, F.1.2.4.
    """
    need_finite(difference, "difference_budget")
    need(0.0 < resolution < math.inf, "difference_budget", f"a resolution is positive, and this is {resolution}")
    root_2 = math.sqrt(2.0)
    row = accuracy_row(profile, quantity, resolution)
    components = []
    if row is not None:
        gain = abs(difference) * row.percent / 100.0
        note = f"±{row.percent:g} % of the difference"
        components.append(Component("gain", gain / ROOT_3, math.inf, "rectangular", note))
        counts = root_2 * row.counts * resolution / ROOT_3
        components.append(Component("counts", counts, math.inf, "rectangular", f"±{row.counts:g} counts, twice"))
    step = root_2 * resolution / ROOT_12
    components.append(Component(RESOLUTION, step, math.inf, "rectangular", "one count, twice"))
    components.append(_scatter("scatter of the first", first, ""))
    components.append(_scatter("scatter of the second", second, ""))
    return _known(tuple(components), k, root_2 * resolution, accuracy=row is not None)


def _component(kind: str, u: float, dof: float, of: float | None, resolution: float, row: Accuracy | None) -> Component:
    """Return a component with numbers of 6 digits, as a verdict lists them, so that U is that of what is listed."""
    dof = round6(dof) if dof < math.inf else math.inf
    of = None if of is None else round6(of)
    return Component(kind, round6(u), dof, _SHAPES.get(kind, "normal"), _note(kind, dof, of, resolution, row), of)


def _note(kind: str, dof: float, of: float | None, resolution: float, row: Accuracy | None) -> str:
    """Return the numbers that a component of this kind was made from, in words."""
    if kind == RESOLUTION:
        return f"one count {resolution:.6g}"
    if kind == CONTACTS:
        return f"s pooled over items, {dof:g} degrees of freedom" if of is None else f"s of {of:g} contacts"
    if of is None:
        return ""
    if kind == ACCURACY and row is not None:
        return f"±({row.percent:g} % + {row.counts:g} counts) = ±{of:.6g}"
    if kind == LEADS:
        return f"leads {of:.6g}"
    if kind == REPEATABILITY and of >= FEW:
        return f"s of {of:g}"
    if kind == REPEATABILITY and math.isfinite(dof):
        return f"s of {of:g}, itself known to {100.0 * sd_known_to(int(of)):.0f} %"
    return "one count" if kind == REPEATABILITY else ""


def _known(components: tuple[Component, ...], k: float | None, least: float, *, accuracy: bool) -> Budget:
    """Return the budget; where the accuracy is not known U is no less than `least`, whatever its components say."""
    budget = Budget(components, k)
    if accuracy:
        return budget
    return Budget(components, k, stated=least if budget.expanded < least else None, reason=UNKNOWN)


def _scatter(name: str, scatter: Scatter, note: str) -> Component:
    return Component(name, scatter.u, scatter.dof, "normal", note)
