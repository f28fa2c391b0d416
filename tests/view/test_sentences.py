"""No output understands a sentence: with every prompt's words changed all but the words comes out the same."""

from __future__ import annotations

from typing import Any

import pytest

from metercap.plankeys import (
    CellStep,
    ExerciseStep,
    Item,
    SafeStep,
    StepBase,
    SweepStep,
    TrialsStep,
    TuneStep,
    ZeroStep,
)
from metercap.records import Prompt
from metercap.screen.face import face
from metercap.steps.bench import Bench
from metercap.view import View
from tests.steps.bench_play import Play

CASES: dict[str, tuple[StepBase, str]] = {
    "leads": (ZeroStep(id="leads"), "OL*6 0.3*2"),
    "points": (SafeStep(id="dead", points=("J1",)), "1.52V*3 0.00V*3"),
    "source": (SafeStep(id="dead", points=("J1",)), "1.52V"),
    "ac": (SafeStep(id="dead", points=("J1",)), "1.52V*3 0.00V*3 +2 :yes 0.00V*3 0.00Vac*2"),
    "live": (SafeStep(id="dead", points=("J1",)), "1.52V*3 0.00V*3 24.00V*3"),
    "fuse": (SweepStep(id="fuses", items=(Item("F1"),), max=2.0, unit="ohm"), "OL*6 0.2"),
    "count": (SweepStep(id="fuses", items=(Item("F1"),), max=2.0, unit="ohm"), "OL*6 0.2*3 OL*12"),
    "hold": (SweepStep(id="fuses", items=(Item("F1"),), max=2.0, unit="ohm"), "OL*6 OL!hold"),
    "volts": (SweepStep(id="fuses", items=(Item("F1"),), max=2.0, unit="ohm"), "OL*6 1.000V"),
    "press": (ExerciseStep(id="lid", items=(Item("S1"),), presses=5), "OL*3 0.3*3 OL*3 0.3*3 OL*3"),
    "clean": (ExerciseStep(id="lid", items=(Item("S1"),), presses=2), "OL*3 0.3*3 OL*3 0.3*3 OL*3 :fail"),
    "load": (CellStep(id="cell", items=(Item("BT1"),), load=470.0), "0.000V*6 3.210V*4 3.050V"),
    "spent": (CellStep(id="cell", items=(Item("BT1"),)), "0.000V*6 1.500V*4"),
    "turn": (TuneStep(id="rv", items=(Item("RV1"),), target=1500.0, tolerance=15.0, unit="ohm"), "OL*6 1.700k*9"),
    "away": (TuneStep(id="rv", items=(Item("RV1"),), target=1500.0, tolerance=15.0, unit="ohm"), "OL*6 1.500k*25"),
    "starts": (TrialsStep(id="starts", runs=5, off_s=10.0), ":fail"),
    "mend": (TrialsStep(id="starts", runs=1), ":fail"),
}


def drawn(view: View) -> tuple[object, ...]:
    """What the screen shows besides the words of a prompt."""
    shown = face(view)
    large = () if view.asked is None or view.asked.do in ("answer", "confirm") else (shown.hero,)
    return (*large, shown.aside, shown.ground, shown.words, shown.cautions, shown.status, shown.alarm, shown.progress)


@pytest.mark.parametrize("name", CASES)
def test_nothing_but_the_words_changes(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every field of the view but the sentence, and all that is drawn beside it."""
    step, script = CASES[name]
    told = Play(step, rate=5.0)(script)
    urge = Bench.urge

    def garbled(self: Bench, do: Any, item: Any, say: str, **facts: Any) -> None:
        urge(self, do, item, f"{say[::-1]} yes no clean it replaced? (1 of 2 presses done, 2 closed)", **facts)

    monkeypatch.setattr(Bench, "urge", garbled)
    other = Play(step, rate=5.0)(script)
    asked = told.of(Prompt)
    assert [one.say for one in asked] != [one.say for one in other.of(Prompt)]
    assert drawn(told.view) == drawn(other.view)
