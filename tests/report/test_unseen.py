"""What a meter of this rate cannot see: by its profile, and only for what the plan does."""

from __future__ import annotations

from typing import Any

from metercap.meter import Accuracy
from metercap.plan import Plan
from metercap.plankeys import ExerciseStep, Item, TrialsStep
from metercap.quantity import Quantity
from metercap.report.unseen import unseen
from tests.report.papers import trimmers
from tests.steps.bench_play import confirm, fuses, meter, volts


def said(*steps: Any, used: Any = ("resistance",), **more: Any) -> Any:
    """Return the sentences as one text."""
    return "\n".join(unseen(Plan(title="x", steps=steps), meter(**more), dict.fromkeys(used, 1)))


def test_the_rate_that_counts_is_the_slowest_that_was_used() -> None:
    """Two a second for ohms and ten for volts: with both used, half a second is what can be missed."""
    rates = {Quantity.VOLTAGE_DC: 10.0}
    assert "at least every 500 ms (2 a second" in said(
        fuses(), used=("resistance", "voltage_dc"), conversions_per_s_by=rates
    )
    assert "at least every 100 ms (10 a second" in said(volts(), used=("voltage_dc",), conversions_per_s_by=rates)
    assert "at least every 500 ms" in said(used=())


def test_each_kind_names_its_blind_spot() -> None:
    """Sweeps: two slips. Presses: short openings. Trimmers: short dips. Starts: the operator's word."""
    assert "Two slips of the hand that compensate" in said(fuses())
    assert "opens for less than 500 ms" in said(ExerciseStep(id="s", items=(Item("S1"),), max=2.0))
    assert "less than two values (1.000 s)" in said(trimmers())
    assert "counted by the operator's word" in said(TrialsStep(id="t"))
    asks = said(confirm())
    assert "slips" not in asks and "trimmer" not in asks


def test_what_was_measured_in_names_its_own() -> None:
    """Continuity has its ceiling, dc its ripple, a profile without accuracy its missing error."""
    text = said(fuses(), used=("continuity", "voltage_dc"), continuity_ceiling_ohm=400.0)
    assert "above 400 Ω looks open" in text and "Ripple" in text
    assert "no accuracy table" in text
    known = said(fuses(), accuracy=(Accuracy(Quantity.RESISTANCE, percent=0.8, counts=3.0),))
    assert "no accuracy table" not in known and "Ripple" not in known
