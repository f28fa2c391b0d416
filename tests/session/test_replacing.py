"""`replaced [NAME]` in every kind of step: the part enters the list, and what it is at is measured anew."""

from __future__ import annotations

import pytest

from metercap.plankeys import CellStep, ExerciseStep, Item, TrialsStep, TuneStep, WiggleStep
from metercap.records import PART_NOTE, Note, Operator, at
from metercap.session.inherit import inherited_from
from metercap.session.taken import Left, taken_over
from tests.session.recorded import again
from tests.steps.bench_play import Play, confirm, fuses, safe, zero

FIRST = "OL*3 "
GOOD = "9 0.2*2 OL*5 "
AFTER = confirm(id="after")
TWO = TuneStep(id="lamp", items=(Item("RV1"), Item("RV2")), target=100.0, tolerance=2.0, unit="ohm")
ONE = TuneStep(id="bridge", items=(Item("RV1"),), target=100.0, tolerance=2.0, unit="ohm")


def parts(play: Play) -> list[str]:
    """Return the list of parts."""
    return [note.removeprefix(PART_NOTE) for note in play.notes if note.startswith(PART_NOTE)]


def test_a_fuse_is_measured_again_and_its_verdict_says_so() -> None:
    """F1 is open, a new one is put in: named while F2 is asked for, and what it is called."""
    play = Play(fuses(2), AFTER)(FIRST + ":open :replaced=F1")
    assert play.prompts[-1] == "probe F1"
    assert parts(play) == ["F1 (fuses)"]
    assert [note.outdated for note in play.out if isinstance(note, Note)][-1] == ("fuses", "F1")
    play("OL*3 " + GOOD)
    assert play.verdicts["F1"].verdict == "pass"
    assert play.verdicts["F1"].reason.startswith("replaced, F1")
    assert play.prompts[-1] == "probe F2"
    again(play)


def test_other_text_is_what_the_part_is_called() -> None:
    """At the item in hand."""
    play = Play(fuses(2), AFTER)(FIRST + "9 5.0*4 OL*5 :replaced=slow_2_A")
    assert parts(play) == ["F1 (fuses): slow 2 A"]
    play("OL*3 " + GOOD)
    assert play.verdicts["F1"].reason.startswith("replaced, slow 2 A")
    assert play.ticks == ["F1 pass"], "the contact before it was of the old one"


def test_an_item_of_another_step_is_gone_to() -> None:
    """The cell is in, while fuses are swept: it is measured, and the fuses come back."""
    cell = CellStep(id="backup", items=(Item("BT1"),))
    play = Play(cell, fuses(2), AFTER)("0.00V*4 1.500V*4 :no OL*9 :replaced=BT1")
    assert play.session.bench.step == "backup"
    assert parts(play) == ["BT1 (backup)"]
    play("0.00V*9 3.200V*4")
    assert (play.verdicts["BT1"].as_found, play.verdicts["BT1"].as_left) == (1.5, 3.2)
    assert play.verdicts["BT1"].reason.count("replaced, BT1") == 1
    assert play.session.bench.step == "fuses"


def test_a_name_in_two_other_steps_is_asked_back() -> None:
    """Neither is gone to."""
    play = Play(AFTER, fuses(2), fuses(2, id="more"))(":replaced=F1")
    assert "more than one step" in play.notes[-1]
    assert parts(play) == []
    assert parts(play(":replaced=more/F1")) == ["F1 (more)"]


@pytest.mark.parametrize(
    "step",
    [confirm(id="here"), TrialsStep(id="here", runs=3), zero(id="here"), safe("C12")],
    ids=["confirm", "trials", "zero", "safe"],
)
def test_where_no_part_is_measured_it_is_listed_by_its_name(step: object) -> None:
    """Without a name nobody would know what is new; and no such remark counts as a fix."""
    play = Play(step, AFTER)(":replaced")  # type: ignore[arg-type]
    assert "needs a name" in play.notes[-1]
    here = play.machine.state
    play(":replaced=relay_K2")
    assert parts(play) == [f"{play.machine.step.id} ({play.machine.step.id}): relay K2"]
    assert play.machine.state == here


def test_a_check_list_is_asked_about_anew_at_that_item() -> None:
    """K1 was confirmed; it is replaced, so it is asked about again."""
    play = Play(confirm(id="relays", items=(Item("K1"), Item("K2"))), AFTER)(":yes :replaced=K1")
    assert parts(play) == ["K1 (relays)"]
    assert play.prompts[-1] == "confirm K1"


def test_a_switch_that_failed_is_exercised_again() -> None:
    """All silent: failed; a new one is in: a new round, and the failed one is before it."""
    step = ExerciseStep(id="cover", items=(Item("S1"),), presses=3)
    play = Play(step, AFTER)("OL*3 :yes OL*80 :yes :replaced=new_cover_switch")
    assert (play.machine.state, parts(play)) == ("ready", ["S1 (cover): new cover switch"])
    assert play.session.bench.before["cover", "S1"]["rounds"] == [[0, 3]]
    again(play)


def test_a_switch_replaced_in_the_middle_keeps_the_old_ones_presses_apart() -> None:
    """One closure was counted: that round is the old switch's."""
    step = ExerciseStep(id="cover", items=(Item("S1"),), presses=3)
    play = Play(step, AFTER)("OL*3 0.3*3 OL*3 :replaced")
    assert play.machine.progress == (0, 0, 3)
    assert play.session.bench.before["cover", "S1"]["rounds"] == [[1, 1]]


def test_fixed_at_the_question_to_clean_says_what_was_done() -> None:
    """As yes does, with the words."""
    step = ExerciseStep(id="cover", items=(Item("S1"),), presses=3)
    play = Play(step, AFTER)("OL*3 :yes OL*80 :yes :fixed=contact_bent_back")
    assert play.machine.state == "ready"
    assert "S1: fixed: contact bent back" in play.notes


def test_a_cable_is_watched_again() -> None:
    """From its first contact."""
    step = WiggleStep(id="cable", items=(Item("J3"),), watch_s=10.0)
    play = Play(step, AFTER)("OL*3 0.3*9 :replaced")
    assert (play.machine.state, parts(play)) == ("open", ["J3 (cable)"])


def test_a_trimmer_is_turned_again_and_as_found_stays_the_old_ones() -> None:
    """Read, then replaced while it is turned."""
    play = Play(ONE, AFTER)("OL*4 120.0*4 110.0 :replaced=10-turn")
    assert play.session.bench.as_found["bridge", "RV1"].value == 120.0
    assert parts(play) == ["RV1 (bridge): 10-turn"]
    play("OL*6 500.0*3 100.0*20")
    assert play.verdicts["RV1"].as_found == 120.0
    assert "replaced, 10-turn" in play.verdicts["RV1"].reason


def test_a_trimmer_replaced_before_it_was_read_has_no_value_as_found() -> None:
    """What the new one reads is none."""
    play = Play(TWO, AFTER)("OL*4 :replaced OL*4 90.0*3")
    assert play.session.bench.unread == {("lamp", "RV1"): "it was replaced"}
    assert list(play.session.bench.as_found) == [("lamp", "RV2")]


def test_a_trimmer_read_as_left_is_turned_again() -> None:
    """A new one is where the carrier left it."""
    play = Play(TWO, AFTER)("OL*4 100.0*3 OL*5 100.0*3 OL*5 100.0*16 OL*5 100.0*16 OL*5 100.0 :replaced")
    assert play.prompts[-1] == "probe RV1"
    assert play.machine.state == "turn"


def test_a_late_key_lists_no_part() -> None:
    """It came with a new prompt."""
    play = Play(fuses(2), AFTER)(FIRST + "9 0.2*2")
    play.feed(Operator(at(play.t_s + 0.1), "replaced", "", "key"))
    assert parts(play) == []
    assert "came with a new prompt" in play.notes[-1]


def test_a_part_replaced_while_the_count_check_asks_about_it_is_measured_anew() -> None:
    """F1 was ticked alone and the question about it stands; a new F1 is in: what was read is the old one's."""
    play = Play(fuses(1, count_check=True), AFTER)(FIRST + GOOD)
    assert play.said.startswith("count check: was the last tick on F1?")
    play(":replaced=F1")
    assert (play.prompts[-1], parts(play)) == ("probe F1", ["F1 (fuses)"])
    play("OL*3 " + GOOD)
    assert play.verdicts["F1"].reason.startswith("replaced, F1")
    again(play)


@pytest.mark.parametrize("how", ["job", "continue"])
def test_a_part_that_was_replaced_and_not_measured_is_asked_for_in_the_next_session(how: str) -> None:
    """The old one's verdict is not handed on."""
    steps = (fuses(2, count_check=True), AFTER)
    before = Play(*steps)(FIRST + GOOD + GOOD + ":replaced=F1 :quit")
    session, standing = before.session, before.session.bench.verdicts
    if how == "job":
        handed = taken_over(Left(session, "s1", standing, -before.t_s, here=True), steps, {}, None)
    else:
        handed = inherited_from(session.bench, "continue", "s1")
    later = Play(*steps, inherited=handed.as_builtins())
    assert [verdict.item for verdict in handed.verdicts] == ["F2"]
    later("OL*4 :yes")
    assert later.prompts[-1] == "probe F1"


def test_what_is_no_item_takes_no_verdict_away() -> None:
    """A relay is replaced while starts are tried again: how they went before is not about that relay's contacts."""
    play = Play(TrialsStep(id="starts", runs=3), AFTER)("+1 :fail +1 :replaced=relay_K2")
    assert play.session.bench.outdated == {}
