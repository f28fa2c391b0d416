"""Tokens: marked resistors on the mat whose touch is a word, so their values must be none that a plan could meet.

A plan meets, in ohms: values between the limits of an item (from 0 where it has no lower one, without end where it has
no upper one); a trimmer's band, widened to its hazardous sides; the leads of a `zero` step. A token must lie clear of
each such range by 20 % and by 2 Ω, the larger of the two (common practice, no source: a 5 % resistor, leads and contact
stay within that), and of every other token. It must also be higher than any leads, and no higher than 20 kΩ, where
fingers begin. A blown fuse may read anything beside a parallel path; that is why a token takes two steady conversions
and is never more than a word. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from metercap.plan.expected import band_of, hazards_of, items_of, limits_of
from metercap.plan.fields import kind_of
from metercap.plan.model import Plan, Step
from metercap.plankeys import Item
from metercap.quantity import format_value
from metercap.steps.probing import LEAKAGE_OHM

CLEAR_SHARE = 0.20
CLEAR_OHM = 2.0
LEADS_MAX_OHM = 1.0
"""Leads above this are refused by `zero`."""

Reference = Mapping[str, Mapping[str, Any]]


class Met(NamedTuple):
    """A range of ohms that a plan could meet: `high` None has no end; `what` says whose it is."""

    low: float
    high: float | None
    what: str


class Clash(NamedTuple):
    """A token that could be met: certainly, or only maybe."""

    word: str
    sure: bool
    what: str
    hint: str


def clashes(plan: Plan, reference: Reference | None) -> Iterator[Clash]:
    """Return what is wrong with the values of a plan's tokens; certain clashes once a token."""
    met = list(_met(plan, reference))
    for word, ohm in plan.tokens.items():
        shown = format_value(ohm, "ohm")
        if not LEADS_MAX_OHM + CLEAR_OHM < ohm <= LEAKAGE_OHM:
            yield Clash(word, True, f"{shown} could be leads or fingers", "take one between 10 ohm and 20 kohm")
            continue
        hit = next((one for one in met if _near(ohm, one)), None)
        if hit is not None:
            hint = "take a resistor at least 20 % and 2 ohm away from it"
            yield Clash(word, True, f"{shown} is a value that the plan could meet: {hit.what}", hint)
        for other, value in plan.tokens.items():
            if other > word and abs(ohm - value) < max(CLEAR_SHARE * max(ohm, value), CLEAR_OHM):
                yield Clash(other, True, f'{format_value(value, "ohm")} is too near to "{word}", {shown}', "")
    if plan.tokens:
        for step in plan.steps:
            names = [item.name for item in items_of(step) if _anything(step, item, reference)]
            if names:
                what = f'{names[0]} in step "{step.id}" may read anything, this token\'s value too'
                yield Clash(next(iter(plan.tokens)), False, what, "give it limits, or a reference")


def _near(ohm: float, met: Met) -> bool:
    low = min(met.low * (1.0 - CLEAR_SHARE), met.low - CLEAR_OHM)
    return ohm > low and (met.high is None or ohm < max(met.high * (1.0 + CLEAR_SHARE), met.high + CLEAR_OHM))


def _met(plan: Plan, reference: Reference | None) -> Iterator[Met]:
    for step in plan.steps:
        if not step.in_ohms:
            continue
        if kind_of(step) == "zero":
            yield Met(0.0, float(getattr(step, "max", LEADS_MAX_OHM)), f'leads, step "{step.id}"')
            continue
        for item in items_of(step):
            whose = f'{item.name}, step "{step.id}"'
            band = band_of(step, item, reference)
            if band is not None:
                target, half = band
                never_below, never_above = hazards_of(step, item, reference)
                yield Met(
                    target - half if never_below is None else min(never_below, target - half),
                    target + half if never_above is None else max(never_above, target + half),
                    whose,
                )
                continue
            low, high = limits_of(step, item)
            if low is not None or high is not None:
                yield Met(low or 0.0, high, whose)
            value = (reference or {}).get(f"{step.id}/{item.name}", {}).get("value")
            if isinstance(value, int | float):
                yield Met(float(value), float(value), whose)


def _anything(step: Step, item: Item, reference: Reference | None) -> bool:
    """Return whether nobody knows what an item in ohms will read."""
    if not step.in_ohms or kind_of(step) == "zero" or limits_of(step, item) != (None, None):
        return False
    known = (reference or {}).get(f"{step.id}/{item.name}") is not None
    return not known and band_of(step, item, reference) is None
