"""Chances: the plan's own, sharpened by the shop's jobs, and updated by what has been looked at since."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from metercap.metrology.domain import round6
from metercap.plankeys import StepBase
from metercap.spelling import nearest

PLAN_WEIGHT = 5.0
"""How many units the plan's own chances count as beside the shop's.

In the simulated shop of `tests/benchmarks/test_search_shop.py` 5 is sooner than 10 or 20 from the first repair on where
the plan's guess is poor; where it is fair, the first ten repairs cost 0.1 to 0.2 of 7 minutes, and 10 would cost none.
"""


def prior(steps: Sequence[StepBase], symptom: str) -> dict[str, float]:
    """Return the plan's own chances for a symptom, by step, in the plan's order."""
    return {step.id: step.finds[symptom] for step in steps if symptom in step.finds}


def sharpened(
    before: Mapping[str, float], faults: Mapping[str, int], units: int, weight: float = PLAN_WEIGHT
) -> dict[str, float]:
    """Return chances after `units` repaired ones of which `faults` says, by step, how many had their fault there.

    p = (weight · before + faults) / (weight + units): the mean of a Dirichlet distribution whose parameters are the
    plan's chances times `weight` (Gelman et al., Bayesian Data Analysis, 3.4; from memory). What no step finds is one
    more class, whose share is what is missing from 1.
    """
    steps = [*before, *(step for step in faults if step not in before)]
    return {step: round6((weight * before.get(step, 0.0) + faults.get(step, 0)) / (weight + units)) for step in steps}


def after(chances: Mapping[str, float], passed: Iterable[str]) -> dict[str, float]:
    """Return chances once some steps have passed (Bayes, a step finds its fault for sure): theirs are gone, what
    remains is divided by 1 − Σ of theirs. That no step finds it gains likewise. Empty where nothing remains."""
    gone = dict.fromkeys(passed)
    rest = 1.0 - math.fsum(chance for step, chance in chances.items() if step in gone)
    if rest <= 1e-9:
        return {}
    return {step: round6(min(1.0, chance / rest)) for step, chance in chances.items() if step not in gone}


def matched(text: str, symptoms: Sequence[str]) -> tuple[str, str]:
    """Return the symptom that a text names, by its words or its number from 1 (empty for none), and the nearest one."""
    said = " ".join(text.split()).casefold()
    if said.isascii() and said.isdecimal() and len(said) < 4 and 1 <= int(said) <= len(symptoms):
        return symptoms[int(said) - 1], ""
    same = next((each for each in symptoms if " ".join(each.split()).casefold() == said), "")
    if same:
        return same, ""
    words = {each: _shared(said, each.casefold()) for each in symptoms}
    most = max(words.values(), default=0)
    return "", nearest(said, symptoms) or (next(each for each in symptoms if words[each] == most) if most else "")


def _shared(one: str, other: str) -> int:
    """Count the letters of the words that two texts have in common: a long one says more than "the"."""
    theirs = other.split()
    return sum(len(word) for word in dict.fromkeys(one.split()) if word in theirs and len(word) > 3)
