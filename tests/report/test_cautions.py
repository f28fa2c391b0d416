"""Cautions: what concerns the plan's steps and nothing else; the plan's own without what was said already.

The texts are common practice; IEC 61010-031 (probe assemblies) and IEC 60825-1 (laser products) are named where they
say more.
"""

from __future__ import annotations

from typing import Any

import pytest

from metercap.plan import Plan
from metercap.plankeys import CellStep, CheckStep, ExerciseStep, Item, TrialsStep
from metercap.quantity import Quantity
from metercap.report.cautions import DEFERS, USUAL, own, usual
from tests.report.papers import trimmers
from tests.steps.bench_play import check, confirm, fuses, safe, volts, zero

OHMS = ("Disconnect the supply", "Discharge capacitors", "For ohms even 1 mV")


def said(*steps: Any, **more: Any) -> Any:
    """Return the usual cautions of a plan as one text."""
    return "\n".join(usual(Plan(title="x", steps=steps, **more)))


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (zero(), (*OHMS, "never the current jack", "IEC 61010-031", "mains-side", "ESD strap")),
        (fuses(), ("same rating and type", *OHMS)),
        (volts(), ("30 V rms or 60 V dc", "never the current jack")),
        (safe(), ("30 V rms or 60 V dc",)),
        (confirm(power="on"), ("30 V rms or 60 V dc",)),
        (ExerciseStep(id="cover", items=(Item("S1"),), max=2.0), ("interlock held down", *OHMS)),
        (TrialsStep(id="starts"), ("interlock held down",)),
        (trimmers(), ("hazardous side", "IEC 60825-1")),
        (CellStep(id="backup", items=(Item("BT1"),)), ("never solder directly",)),
        (
            CheckStep(id="draw", items=(Item("J1"),), quantity=Quantity.CURRENT_DC, unit="A", max=0.1),
            ("leads go back to the voltage/resistance jacks",),
        ),
    ],
)
def test_a_step_brings_its_cautions(step: Any, words: Any) -> None:
    """Each kind of step with what may hurt there."""
    text = said(step)
    assert [word for word in words if word not in text] == []


def test_nothing_is_said_of_what_the_plan_does_not_do() -> None:
    """A plan that only asks has no caution; one in volts none about fuses, cells, trimmers or ohms."""
    assert said(confirm()) == ""
    text = said(volts())
    for word in (*OHMS, "rating", "lithium", "60825", "interlock"):
        assert word not in text
    draw = said(CheckStep(id="draw", items=(Item("J1"),), quantity=Quantity.CURRENT_DC, unit="A", max=0.1))
    assert "never the current jack" not in draw


def test_loose_parts_have_no_supply() -> None:
    """Parts on the mat need no supply disconnected; everything else of their steps holds."""
    text = said(fuses(), supply="none")
    assert "Disconnect" not in text and "Discharge" not in text
    assert "same rating and type" in text


def test_a_free_trace_has_what_concerns_every_reading() -> None:
    """Nobody knows what was probed: ohms and volts both."""
    text = said()
    assert [word for word in (*OHMS, "30 V rms", "IEC 61010-031") if word not in text] == []


def test_every_usual_caution_is_reached_by_some_plan() -> None:
    """None stands in the table in vain."""
    current = CheckStep(id="draw", items=(Item("J1"),), quantity=Quantity.CURRENT_DC, unit="A", max=0.1)
    cell, switch = CellStep(id="b", items=(Item("BT1"),)), ExerciseStep(id="s", items=(Item("S1"),), max=2.0)
    everything = said(fuses(), volts(), current, cell, switch, trimmers())
    assert [text for _, text in USUAL if text not in everything] == []


def test_the_plans_own_cautions_come_without_what_is_usual() -> None:
    """Sentence by sentence: what was said already is not said again, in whatever case; each once."""
    plan = Plan(
        title="x",
        steps=(check(cautions=("Hot to the touch.", "never probe mains-side circuits on this tool's word")),),
        cautions=(f"Wear an ESD strap. The relay clicks loudly. {DEFERS}", "Hot to the touch."),
    )
    assert own(plan) == ("The relay clicks loudly.", "Hot to the touch.")
