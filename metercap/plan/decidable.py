"""What a meter can decide: bands too narrow for its uncertainty, and limits below its last digit.

A value passes when it lies inside its limits by the rule's guard, U or one count (see `metrology.decide`). Where
fewer than two counts are left, hands cannot find them. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from metercap.meter import MeterProfile
from metercap.metrology.budget import reading_budget
from metercap.metrology.decide import guard_width, provable, tightest_half_width
from metercap.metrology.ranges import IN_OHMS, resolution_at
from metercap.plan.expected import band_of, items_of, limits_of, quantity_of
from metercap.plan.model import Step
from metercap.plankeys.base import Rule
from metercap.quantity import Quantity, format_value


class Doubt(NamedTuple):
    """What a meter cannot decide: at which key of the step, of which items, and what to do."""

    key: str
    item: str
    what: str
    hint: str


def doubts(
    step: Step, plan_rule: Rule, profile: MeterProfile, reference: Mapping[str, Mapping[str, Any]] | None
) -> Iterator[Doubt]:
    """Return what this meter cannot decide in a step; alike items are named together."""
    quantity = quantity_of(step)
    if quantity is None:
        return
    rule = step.rule or plan_rule
    found: dict[tuple[str, str, str], list[str]] = {}
    for item in items_of(step):
        band = band_of(step, item, reference)
        if band is not None:
            doubt = _band(profile, quantity, rule, *band)
        else:
            doubt = _limits(profile, quantity, rule, *limits_of(step, item))
        if doubt is not None:
            own = item.min is not None or item.max is not None
            found.setdefault(("items" if own else doubt[0], *doubt[1:]), []).append(item.name)
    for (key, what, hint), names in found.items():
        yield Doubt(key, names[0] if len(names) == 1 else f"{names[0]} … {names[-1]}", what, hint)


def _worth(profile: MeterProfile, quantity: Quantity, value: float) -> tuple[float, float] | None:
    """Return one count and U of a value that this meter shows, or None where its profile does not tell."""
    step = resolution_at(profile, quantity, value)
    return None if step is None else (step, reading_budget(value, step, quantity, profile).expanded)


def _band(
    profile: MeterProfile, quantity: Quantity, rule: Rule, target: float, half: float
) -> tuple[str, str, str] | None:
    worth = _worth(profile, quantity, target)
    if worth is None:
        return (
            "tolerance",
            "this meter's profile does not tell its counts",
            "whether it can prove the band is not known",
        )
    step, expanded = worth
    if provable(target - half, target + half, expanded, rule, step):
        return None
    least = tightest_half_width(expanded, rule, step)
    unit = quantity.unit
    share = f" ({100.0 * least / abs(target):.2g} %)" if target else ""
    what = (
        f"±{format_value(half, unit)} around {format_value(target, unit)} leaves fewer than two counts of "
        f"{format_value(step, unit)} inside the {rule} band (U = {format_value(expanded, unit)})"
    )
    return "tolerance", what, f"the tightest band this meter can prove is ±{format_value(least, unit)}{share}"


def _limits(
    profile: MeterProfile, quantity: Quantity, rule: Rule, low: float | None, high: float | None
) -> tuple[str, str, str] | None:
    edges = [abs(edge) for edge in (low, high) if edge is not None]
    if not edges:
        return None
    worth = _worth(profile, quantity, max(edges))
    unit = quantity.unit
    if worth is None:
        most = format_value(max(edges), unit)
        if profile.counts is None:
            return None
        return "", f"no range of this meter shows {most}", "is it the right meter?"
    step, expanded = worth
    if low is not None and high is not None:
        if provable(low, high, expanded, rule, step):
            return None
        least = format_value(2.0 * tightest_half_width(expanded, rule, step), unit)
        between = f"{format_value(low, unit)} … {format_value(high, unit)}"
        return "max", f"{between} leaves fewer than two counts to pass", f"this meter can prove a width of {least}"
    if high is not None and quantity in IN_OHMS:
        guard = guard_width(expanded, rule, step)
        if high - guard < step:
            what = f"a limit of {format_value(high, unit)} leaves no count to pass: U is {format_value(expanded, unit)}"
            return "max", what, f"this meter can prove a limit of {format_value(guard + step, unit)}"
    return None
