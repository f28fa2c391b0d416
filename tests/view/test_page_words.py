"""Words that a page may say: none where safety may rest on the answer, none that needs more than a touch.

What is of safety is the design's own list (section 17: no safety prompt is answered on a page; section 15).
"""

from __future__ import annotations

import pytest
from msgspec import structs

from metercap.asks import Asks
from metercap.contact import Block
from metercap.records import CueKind, Do, Prompt, Verdict, VerdictKind
from metercap.session.facts import PastLimit
from metercap.view import Spot, Stage, Unit, View
from metercap.view.words import by_page, meaningful, refused

CONFIRM = Stage("look", "confirm")
SWEEP = Stage("fuses", "sweep", spots=(Spot("F1"), Spot("F2")))
SAFE = Stage("dead", "safe", spots=(Spot("C12"), Spot("dead")))


PROVED = Stage(
    "dead", "safe", spots=(Spot("C12"), Spot("dead", verdict=Verdict(1.0, "dead", "dead", VerdictKind.PASS)))
)


def asking(stage: Stage, do: Do, *others: Stage, item: str = "F1", **more: object) -> View:
    """A view that asks something in a step."""
    prompt = Prompt(1.0, stage.id, item, do, "?", **more)  # type: ignore[arg-type]
    path = (stage, *others)
    return View(
        t_s=1.0, unit=Unit("B", "B"), path=path, step=stage.id, kind=stage.kind, item=item, asked=prompt, prompts=7
    )


COUNT = asking(SWEEP, Do.ANSWER, asks=Asks.COUNT)
PROBE = asking(SWEEP, Do.PROBE)
SEATED = asking(CONFIRM, Do.CONFIRM, asks=Asks.DONE)


@pytest.mark.parametrize(
    ("view", "words"),
    [
        (COUNT, ("yes", "no", "back")),
        (PROBE, ("open", "skip", "absent", "back", "again")),
        (SEATED, ("yes", "no", "fail", "skip")),
        (asking(CONFIRM, Do.CONFIRM, PROVED, asks=Asks.DONE), ("yes", "no", "fail", "skip")),
        (asking(Stage("rv", "tune"), Do.TURN), ("undo", "skip")),
        # A cell's yes says that both tips are on it: only who holds them knows.
        (asking(Stage("backup", "cell", spots=(Spot("BT1"),)), Do.PROBE, item="BT1"), ("skip", "absent", "back")),
        (asking(Stage("s", "exercise"), Do.PRESS), ("fail", "again", "skip", "absent")),
    ],
)
def test_a_touch_says_what_the_prompt_asks_for(view: View, words: tuple[str, ...]) -> None:
    assert by_page(view) == words


@pytest.mark.parametrize(
    "view",
    [
        pytest.param(asking(SAFE, Do.ANSWER, item="C12", asks=Asks.POINT), id="a point that must be dead"),
        pytest.param(asking(SAFE, Do.PROBE, item="C12"), id="any moment of the proof"),
        pytest.param(asking(Stage("leads", "zero"), Do.SHORT, item="leads"), id="the leads"),
        pytest.param(asking(SWEEP, Do.ANSWER, asks=Asks.SINCE), id="nothing connected since"),
        pytest.param(asking(SWEEP, Do.ANSWER, asks=Asks.PROVE), id="not proved dead"),
        pytest.param(asking(SWEEP, Do.ANSWER, asks=Asks.VOLTS), id="a voltage"),
        pytest.param(asking(SWEEP, Do.ANSWER, asks=Asks.UNDO), id="back past a limit"),
        pytest.param(asking(SWEEP, Do.ANSWER, asks=Asks.GO_ON), id="on in spite of it"),
        pytest.param(asking(SWEEP, Do.DIAL), id="the jacks"),
        pytest.param(asking(CONFIRM, Do.CONFIRM, asks=Asks.DONE, power="on"), id="power on"),
        pytest.param(asking(CONFIRM, Do.CONFIRM, SAFE, asks=Asks.DONE), id="disconnected, before the proof"),
        pytest.param(asking(Stage("off", "confirm", cautions=("x",)), Do.CONFIRM, asks=Asks.DONE), id="with a caution"),
        pytest.param(structs.replace(COUNT, past=(PastLimit("RV1"),)), id="a trimmer past its limit"),
        pytest.param(structs.replace(PROBE, block=Block("hold", Do.DIAL, "HOLD off")), id="what stops ticking"),
        pytest.param(structs.replace(PROBE, call=CueKind.STOP), id="stop"),
        pytest.param(structs.replace(PROBE, arrived=True), id="which unit it is"),
    ],
)
def test_what_safety_may_rest_on_is_answered_at_the_bench(view: View) -> None:
    assert by_page(view) == ()
    assert refused(view, "yes", 7) == "'yes' is not answered on a page: say it at the bench"


def test_a_word_for_another_prompt_is_no_answer() -> None:
    """Someone touched a button as the question changed: it was for the one before."""
    assert refused(COUNT, "yes", 7) is None
    for number in (6, 8, -1):
        assert refused(COUNT, "yes", number) == "'yes' from a page was for a prompt that is gone: not taken"


def test_no_button_ends_or_waives_or_writes() -> None:
    """Quit ends everybody's session, the rest needs a text."""
    for word in ("quit", "waive", "note", "accept", "take", "target", "to", "at", "fixed", "missed", "name", "probe"):
        assert refused(PROBE, word, 7) is not None
    assert "quit" in meaningful(PROBE)
