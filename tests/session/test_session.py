"""A session: words that work everywhere, interludes, from step to step, the end."""

from __future__ import annotations

import pytest

from metercap.plankeys import Item, TuneStep
from metercap.quantity import Quantity
from metercap.records import Note, Operator, Prompt, encode
from metercap.session import Session
from tests.steps.bench_play import Play, check, confirm, fuses, opening, safe, volts, zero

GOOD = "9 0.2*2 OL*4 "
SOURCE = "1.52V*3 "
LIFT = "0.00V*3 "
DEAD = "+2 :yes 0.00V*2 "


# --- from step to step


def test_steps_come_in_the_plans_order() -> None:
    """Each step begins when the one before has ended, at the same event."""
    play = Play(confirm(), fuses(1), confirm(id="cover on"))
    play(":yes OL*3 9 0.2*2 :yes")
    assert play.ticks == ["battery out pass", "F1 pass", "cover on pass"]
    assert play.session.finished
    assert play.session.end_reason == "done"


def test_only_the_steps_that_were_asked_for() -> None:
    """`--steps` runs some of the plan, in the plan's order."""
    play = Play(confirm(), fuses(1), confirm(id="cover on"), options={"steps": ["cover on", "battery out"]})
    assert play(":yes :yes").ticks == ["battery out pass", "cover on pass"]
    assert play.session.finished


def test_nothing_comes_after_the_end() -> None:
    """A finished session takes whatever comes, and says nothing."""
    play = Play(confirm())(":yes")
    assert play.session.finished
    assert play.session.deadline_s is None
    assert play.since("0.2*4 :no ^lost +99 :probe=X1") == []


def test_quit_ends_at_once() -> None:
    """`quit` ends the session; what is open stays open."""
    play = Play(fuses(3))("OL*3 " + GOOD + ":quit")
    assert play.session.finished
    assert play.session.end_reason == "quit"
    assert play.ticks == ["F1 pass"]
    assert play.since("OL*3 9 0.2*9 +99") == []


def test_cautions_of_every_step() -> None:
    """A step's cautions come before its first prompt, and after the last verdict's cue."""
    play = Play(confirm(), fuses(1, cautions=("the unit is off", "wear a strap")))(":yes")
    kinds = [type(outcome) for outcome in play.out]
    assert kinds[-3:] == [Note, Note, Prompt]
    assert play.notes == ["the unit is off", "wear a strap"]


def test_what_the_link_should_measure() -> None:
    """`wanted` is the open step's first quantity and `wanted_range` its limit, for links that can set them."""
    play = Play(confirm(), safe("C12"), fuses(1))
    assert play.session.wanted is None
    play(":yes")
    assert play.session.wanted is Quantity.VOLTAGE_DC
    play(SOURCE + LIFT + DEAD)
    assert play.session.wanted is Quantity.VOLTAGE_AC
    play("0.00Vac +2 :yes 0.00Vac*2 0.00V " + SOURCE)
    assert (play.session.wanted, play.session.wanted_range) == (Quantity.RESISTANCE, 2.0)
    play(":skip_step")
    assert play.session.wanted is None


# --- words everywhere


def test_note_is_written_down() -> None:
    """`note TEXT` becomes a note, at any time, also while a block stands."""
    play = Play(fuses(1))(":note=F7_looks_burnt ^lost :note=cable_is_loose")
    assert play.notes == ["F7 looks burnt", "cable is loose"]


@pytest.mark.parametrize(
    ("script", "shown"),
    [("", "no value yet"), ("OL*3", "over-range"), ("OL*3 5.3", "5.3"), ("2.187k", "2.187 k")],
)
@pytest.mark.parametrize("tag", ["", "B"])
def test_say_tells_the_last_value_and_where_we_are(script: str, shown: str, tag: str) -> None:
    """`say` speaks the last value and the place, with the unit's tag where there is one."""
    play = Play(fuses(2), tag=tag)(script + " :say")
    assert shown in play.notes[-1]
    assert "F1" in play.notes[-1]
    assert play.notes[-1].startswith("B, ") == bool(tag)


@pytest.mark.parametrize("word", ["banana", "contact", "value", "go", "due", "ended", "YES", ""])
def test_no_other_word_is_taken(word: str) -> None:
    """Words outside the list, the inputs of readings among them, mean nothing and are said to."""
    play = Play(fuses(2))("OL*3")
    before = play.machine.state
    play.feed(Operator(play.t_s, word))
    assert len(play.notes) == 1
    assert play.machine.state == before


# --- interludes


def test_probe_measures_an_unplanned_item_and_goes_on() -> None:
    """`probe NAME` asks for it, records one settled value, and asks for the planned item again."""
    play = Play(fuses(2))("OL*3 :probe=R77")
    assert play.prompts[-1] == "probe R77"
    play("OL*3 9 47.3*3")
    given = play.verdicts["R77"]
    assert (given.step, given.value, given.verdict) == ("unplanned", 47.3, "pass")
    assert play.prompts[-1] == "probe F1"
    play("47.3*9")
    assert "F1" not in play.verdicts
    assert play("OL*5 " + GOOD).ticks == ["R77 pass", "F1 pass"]


@pytest.mark.parametrize("before", ["OL*3 9", "OL*3 9 0.2", "OL*3 9 5.0*4", "OL*3 9 5.0*4 OL*5 9", "OL*3 9 -5.0*3"])
def test_probe_during_a_contact(before: str) -> None:
    """An interlude during a contact takes the contact away: neither item is ticked by it."""
    play = Play(fuses(2))(before + " :probe=R77")
    assert play("0.2*9 ").ticks == []
    play("OL*5 9 47.3*3")
    assert play.ticks == ["R77 pass"]
    play("47.3 47.4 " * 4 + "OL*4 9 0.2 OL*4")
    assert play.ticks == ["R77 pass"]
    play(" +30 OL*2 9 0.2*2")
    assert play.ticks[:2] == ["R77 pass", "F1 pass"]


def test_first_contact_above_the_limit_survives_an_interlude() -> None:
    """A settled first contact was the planned item's, and still is after an interlude."""
    play = Play(fuses(2))("OL*3 9 5.0*4 OL*5 :probe=R77 OL*3 9 47.3*3 OL*5 9 5.0*4")
    assert play.ticks == ["R77 pass", "F1 fail"]


def test_interlude_keeps_the_steps_own_slip_time() -> None:
    """After an interlude the step's recontact_s holds again."""
    play = Play(fuses(2, recontact_s=3.0))("OL*3 :probe=R77 OL*3 9 47.3*3 OL*5 0.2*9")
    assert play.ticks == ["R77 pass"]


@pytest.mark.parametrize("word", ["skip", "absent", "open", "skip_step"])
def test_interlude_ended_by_a_word(word: str) -> None:
    """An interlude can be given up; the planned item comes back."""
    play = Play(fuses(2))(f"OL*3 :probe=R77 :{word}" + (" :skip" if word == "skip" else ""))
    assert play.prompts[-1] == "probe F1"
    assert play.verdicts["R77"].verdict in ("unsure", "absent", "fail")


def test_one_interlude_at_a_time() -> None:
    """A second `probe` during the first, or one without a name, is said to be none."""
    play = Play(fuses(2))("OL*3")
    assert play.since(":probe") == ["note"]
    play(":probe=R77")
    assert play.since(":probe=R78") == ["note"]
    assert play.machine.item == "R77"


def test_interlude_at_the_count_check() -> None:
    """After an interlude at the count check the question is asked again, for the same item."""
    play = Play(fuses(1, count_check=True))("OL*3 " + GOOD + ":probe=R77 OL*3 9 47.3*3 OL*4")
    assert play.prompts[-1] == "answer F1"
    assert play(":yes").session.finished


def test_interlude_before_any_reading_and_during_a_wait() -> None:
    """In a step of words the interlude measures what the meter shows; the wait goes on meanwhile."""
    play = Play(confirm(wait_s=10.0))
    assert play.since(":probe=TP1") == ["note"], "nothing was shown yet, so nobody knows what the dial is on"
    play = Play(confirm(wait_s=10.0))("0.00V*2 :yes 0.00V :probe=TP1 0.00V*5 1.00V 3.30V*3")
    assert (play.verdicts["TP1"].value, play.verdicts["TP1"].unit) == (3.3, "V")
    assert play.prompts[-1] == "wait battery out"
    assert play("+10").prompts[-1] == "confirm battery out"


def test_interlude_in_a_safe_step() -> None:
    """In volts the interlude is in volts; the yes before it is not used after it."""
    play = Play(safe("C12"))(SOURCE + LIFT + "+2 :yes :probe=TP1 0.00V*3 :skip :skip 0.00V*9")
    assert play.ticks == ["TP1 unsure"]
    assert play.prompts[-1] == "answer C12"


def test_interlude_in_zero() -> None:
    """Half a null is no part of the one after the interlude."""
    play = Play(zero())("OL*3 9 0.20*2 :probe=R77 OL*5 9 47.3*3 OL*4 9 0.20*2")
    assert play.ticks == ["R77 pass"]
    assert play("0.20").ticks == ["R77 pass", "leads pass"]


def test_deadlines_of_what_waits_do_not_wake_the_interlude() -> None:
    """The patience of the item that waits is not the interlude's, and begins anew after it."""
    play = Play(fuses(2, patience_s=5.0))("OL*3 :probe=R77 +6")
    assert play.cues == []
    play("OL*3 9 47.3*2")
    assert play.since("+4") == []
    assert play.since("+2") == ["cue waiting F1"]


def test_quit_in_an_interlude() -> None:
    """`quit` ends the whole session."""
    play = Play(fuses(2))("OL*3 :probe=R77 :quit")
    assert play.session.finished
    assert play.session.end_reason == "quit"


# --- volts, then ohms, then volts


def test_every_change_of_quantity_asks_for_the_dial_once() -> None:
    """Between steps of different quantities one dial prompt, and the item's prompt when the meter is right."""
    play = Play(volts("TP1"), fuses(1), volts("TP2", id="again"))("0.00V*4 1.00V 3.30V*3 0.00V*6 3.30V*4")
    assert play.prompts == ["probe TP1", "dial F1"]
    play("OL*5 9 0.2*2")
    assert play.prompts == ["probe TP1", "dial F1", "probe F1", "dial TP2"]
    play("0.00V*5 1.00V 3.30V*3 0.00V*6 3.30V*4")
    assert play.ticks == ["TP1 pass", "F1 pass", "TP2 pass"]


def test_check_of_a_resistor_after_a_sweep_of_fuses() -> None:
    """From one ohm step to the next no dial, but a lift."""
    play = Play(fuses(1), check("R1", contacts=1))("OL*3 9 0.2*2 100.0*9")
    assert play.ticks == ["F1 pass"]
    assert play("OL*5 9 100.0*3 OL*5 9 100.0*3").ticks == ["F1 pass", "R1 pass"]


# --- odd events


def test_deadline_that_a_state_has_no_row_for_is_dropped() -> None:
    """A step that still has a deadline where nothing waits for it goes on; the deadline does not stand for ever."""
    play = Play(fuses(1, count_check=True))("OL*3 " + GOOD)
    assert play.machine.state == "ask"
    play.machine.deadline_s = 20.0
    assert play.since("+60") == []
    assert play.session.deadline_s is None
    assert play(":yes").session.finished


def test_question_of_a_tune_step_survives_a_block() -> None:
    """A block while a tune step asks something prompts, and its end asks again; no reminder comes meanwhile."""
    step = TuneStep(id="bridge", items=(Item("RV1"),), target=100.0, tolerance=1.0, unit="ohm")
    play = Play(step)("OL 100*3")
    assert play.prompts[-1] == "answer RV1"
    play("0.2c*3 OL +60")
    assert play.prompts[-1] == "answer RV1"
    assert "waiting RV1" not in play.cues


def test_not_an_event() -> None:
    """An outcome fed as an event is a defect of the caller."""
    session = Session(opening([fuses(1)], Play(fuses(1)).record.meter))
    session.start()
    with pytest.raises(TypeError):
        session.feed(Note(1.0, "x"))  # type: ignore[arg-type]


def test_every_record_can_be_written() -> None:
    """Whatever comes out has its JSON."""
    play = Play(zero(), safe("C12"), fuses(2), confirm())(
        f"OL*4 9 0.20*3 OL*5 0.00V*3 {SOURCE}{LIFT}{DEAD} :skip 0.00V {SOURCE}:waive=cold OL*5 {GOOD}:absent :yes"
    )
    assert play.session.finished
    for outcome in play.out:
        encode(outcome)
