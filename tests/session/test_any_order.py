"""Any words and readings in any order, over plans of any steps: what must hold whatever is said.

A session that ends as done leaves nothing open, every planned item has its verdict, no ohms are judged on a unit that
was not proved dead, and the same records come out of a replay, also of the sessions that go on with it.
"""

from __future__ import annotations

import random

import pytest

from metercap.outcome import fold
from metercap.plankeys import (
    CellStep,
    ExerciseStep,
    Item,
    SafeStep,
    StepBase,
    TrialsStep,
    TuneStep,
    WiggleStep,
)
from metercap.reading import Reading
from metercap.records import PART_NOTE, WAIVED_NOTE, Note, Outcome, Prompt, Verdict, VerdictKind
from metercap.session.inherit import inherited_from
from tests.session.recorded import again
from tests.steps.bench_play import Play, check, confirm, fuses, safe, zero
from tests.thirds import some_of

STEPS: tuple[StepBase, ...] = (
    safe("C12"),
    zero(),
    fuses(3, count_check=True),
    check("R1", "R2", contacts=1),
    ExerciseStep(id="cover", items=(Item("S1"),), presses=3),
    CellStep(id="cells", items=(Item("BT1"),)),
    TuneStep(
        id="bridge", items=(Item("RV1"), Item("RV2")), target="reference", tolerance=2.0, never_below=50.0, unit="ohm"
    ),
    TuneStep(id="lamp", items=(Item("RV3"),), target=100.0, tolerance=2.0, never_below=50.0, unit="ohm"),
    TrialsStep(id="starts", runs=2, off_s=2.0),
    confirm(id="list", items=(Item("K1"), Item("K2")), wait_s=5.0),
    confirm(id="hot", power="on"),
    WiggleStep(id="cable", items=(Item("J3"),), watch_s=3.0),
    fuses(2, id="more"),
)
POWERED = ("hot", "starts")
IDS = [step.id for step in STEPS]
ITEMS = [f"{step.id}/{name}" for step in STEPS for name in step.item_names]
NAMES = ["F1", "F2", "R1", "S1", "RV1", "K2", "nowhere"]
READINGS = (
    *("OL*3", "OL*6", "OL", "9", "0.2*2", "0.2*4", "100.0*4", "100.0*20", "120.0*3", "45.0*3", "5.0*4", "0.3*3 OL*3"),
    *("0.00V*3", "1.52V*3", "3.20V*4", "1.50V*4", "0.00Vac*3", "+3", "+11"),
)
PROVED = ":to=dead 1.52V*6 0.00V*6 +2 :yes 0.00V*4 0.00Vac*2 +2 :yes 0.00Vac*4 0.00V*3 1.52V*6"
"""The unit is proved dead, where the plan has that step."""
ANSWERS = (
    *("yes", "yes", "yes", "no", "skip", "skip_step", "absent", "open", "back", "again", "pass", "fail", "good"),
    *("undo", "say", "missed=2", "fixed=x", "note=x", "target=100", "probe=R77", "waive=cold"),
)


def token(dice: random.Random) -> str:
    """Return what comes next: half readings, half words."""
    kind = dice.random()
    if kind < 0.04:
        return PROVED
    if kind < 0.08:
        return "+1 OL*9 0.2*4 OL*9"
    if kind < 0.5:
        return dice.choice(READINGS)
    if kind < 0.62:
        return f":to={dice.choice(IDS)}"
    if kind < 0.72:
        return f":at={dice.choice([*ITEMS, *NAMES])}"
    if kind < 0.76:
        return f":accept={dice.choice([*ITEMS, *NAMES])}_ok"
    if kind < 0.80:
        return f":replaced={dice.choice(['', 'F1', 'S1', 'BT1', 'RV1', 'relay'])}"
    if kind < 0.82:
        return "^lost"
    return f":{dice.choice(ANSWERS)}"


def toward_the_end(dice: random.Random, steps: list[StepBase]) -> str:
    """Return what somebody says who wants to be done, mostly."""
    if dice.random() < 0.1:
        return token(dice)
    return dice.choice([":skip_step", ":yes +1", ":skip_step", ":no", "+12", f":to={dice.choice(steps).id}"])


def no_ohms_without_a_proof(play: Play) -> None:
    """Hold every value in ohms against what the records say of power and proof; `waive` is one, a new part voids it."""
    if not any(isinstance(step, SafeStep) for step in play.session.bench.steps):
        return  # loose parts
    proved, here = False, ""
    for event, outcomes in play.pairs:
        for outcome in outcomes:
            proved, here = _power(proved, here, outcome)
            if not isinstance(event, Reading) or not isinstance(outcome, Verdict) or outcome.unit != "ohm":
                continue
            assert proved or outcome.step == "leads", outcome


def _power(proved: bool, here: str, outcome: Outcome) -> tuple[bool, str]:
    if isinstance(outcome, Prompt) and outcome.step != here:
        here = outcome.step
        proved = proved and here not in (*POWERED, "dead")
    elif isinstance(outcome, Note) and outcome.text.startswith(PART_NOTE):
        proved = False
    elif isinstance(outcome, Verdict) and outcome.item == "dead":
        proved = outcome.verdict is VerdictKind.PASS
    elif isinstance(outcome, Note) and outcome.text.startswith(WAIVED_NOTE):
        proved = True
    return proved, here


def play_one(seed: int) -> str:
    """Play one session of chance, check what holds, and go on with it twice; return how it ended."""
    dice = random.Random(seed)
    steps = sorted(dice.sample(STEPS, dice.randint(2, 6)), key=lambda step: IDS.index(step.id))
    play = Play(*steps, rate=5.0)
    for _ in range(dice.randint(20, 120)):
        if not play.session.finished:
            play(token(dice))
    for _ in range(80):
        if not play.session.finished:
            play(toward_the_end(dice, steps))
    folded = fold(again(play))
    no_ohms_without_a_proof(play)
    if play.session.finished and play.session.end_reason == "done":
        assert folded.open == ()
        assert [key for key in folded.expected if key not in folded.verdicts] == []
        assert play.session.left_open == ()
    for how in ("continue", "after"):
        handed = inherited_from(play.session.bench, how, "s0").as_builtins()
        later = Play(*steps, rate=5.0, inherited=handed)
        for _ in range(20):
            later(token(dice))
        again(later)
        no_ohms_without_a_proof(later)
    return play.session.end_reason if play.session.finished else ""


@pytest.mark.parametrize("part", some_of(range(4), 4))
def test_whatever_is_said_and_shown(part: int) -> None:
    """Of 100 sessions of chance nearly all come to their end, and each keeps the rules."""
    ended = [play_one(seed) for seed in range(25 * part, 25 * part + 25)]
    assert ended.count("done") >= 23


@pytest.mark.slow
@pytest.mark.parametrize("part", range(10))
def test_whatever_is_said_and_shown_often(part: int) -> None:
    """3000 of them."""
    ended = [play_one(seed) for seed in range(1000 + 300 * part, 1300 + 300 * part)]
    assert ended.count("done") >= 285
