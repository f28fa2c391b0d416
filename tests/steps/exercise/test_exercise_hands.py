"""exercise under slow hands: a sound switch passes, a worn one is counted rightly, and nobody there is no verdict."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from metercap.records import Verdict
from tests.bounds import upper_bound
from tests.steps.exercise.press_hands import PressHands, switch

RATES = (2.0, 3.0, 5.0, 10.0)
"""Conversions a second of handheld meters (DESIGN: 2 to 10)."""


def sound(form: str, rate: float, seeds: range) -> Counter[str]:
    """Return how sound switches came out."""
    found: Counter[str] = Counter()
    for seed in seeds:
        hands = PressHands(seed, rate, switch(form=form))
        verdict = hands.run(900.0).verdicts.get("S1")
        found["no verdict" if verdict is None else f"{verdict.verdict} {verdict.k}/{verdict.runs}"] += 1
    return found


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("form", ["no", "nc"])
def test_slow_hands_fail_no_sound_switch(form: str, rate: float) -> None:
    """Reaction 0.7 ± 0.3 s, twenty presses: every one of ten switches passes with 20 of 20."""
    assert sound(form, rate, range(10)) == {"pass 20/20": 10}


@pytest.mark.slow
@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("form", ["no", "nc"])
def test_none_of_two_hundred_sound_switches_fails(form: str, rate: float, say: Any) -> None:
    """The figure to reach: 0 in 200."""
    found = sound(form, rate, range(1000, 1200))
    failed = sum(found.values()) - found["pass 20/20"]
    say(f"{form} at {rate:g}/s: {failed} of 200 sound switches failed, 95 % bound {upper_bound(failed, 200):.3f}")
    assert failed == 0


@pytest.mark.parametrize("rate", RATES)
def test_misses_of_a_worn_switch_are_the_misses_that_were_made(rate: float) -> None:
    """One press in five makes no contact; every one is counted, those before the first closure by the word `missed`."""
    for seed in range(8):
        hands = PressHands(seed, rate, switch(), misses=0.2)
        verdict = hands.run(1800.0).of(Verdict)[0]
        assert verdict.k is not None and verdict.runs is not None
        assert (verdict.runs, verdict.runs - verdict.k) == (20, hands.missed), seed


@pytest.mark.parametrize("form", ["no", "nc"])
def test_nobody_there_is_judged_by_nobody(form: str) -> None:
    """An hour of a meter that sends, and of no hand."""
    play = PressHands(1, 3.0, switch(form=form), away=True).run(3600.0)
    assert not play.verdicts
    assert len(play.prompts) == 1
