"""Walking items: order, words, patience, slips, blocks, the second look. Rules 3 to 10."""

from __future__ import annotations

import pytest

from metercap.plankeys import Item, SweepStep
from metercap.records import Contact, Cue, Lift
from tests.steps.bench_play import Play, check, fuses, volts

GOOD = "9 0.2*2 OL*4 "


# --- the way of one item


def test_one_item_from_prompt_to_tick() -> None:
    """Prompt, contact with its cue, verdict, its cue, the next prompt, and `go` with the certain lift."""
    play = Play(fuses(2))
    assert play.prompts == ["probe F1"]
    assert play.since("OL*3") == []
    assert play.since("9") == ["contact F1", "cue contact F1"]
    assert play.since("0.2") == []
    assert play.since("0.2") == ["verdict pass F1", "cue pass F1", "prompt probe F2"]
    assert play.since("0.2") == []
    assert play.since("OL") == ["lift of a slip F1"]
    assert play.since("OL*3") == ["cue go F2"]
    assert play.since("9 0.2*2")[-2:] == ["verdict pass F2", "cue pass F2"]
    assert play.session.finished


def test_range_walk_counts_as_contact() -> None:
    """Readings that walk through ranges after contact are contact, and break nothing."""
    play = Play(fuses(1))("OL*3 0.00M 0.0k 0.20k 9.0 0.2*2")
    assert play.ticks == ["F1 pass"]
    assert [type(outcome) for outcome in play.out if isinstance(outcome, Contact | Lift)] == [Contact]


def test_contact_that_ends_before_its_tick_cues_again() -> None:
    """A contact too short for a verdict cues `again`, once, and the same item may be touched at once."""
    play = Play(fuses(1))
    assert play.since("OL*3 9 0.2 OL") == ["contact F1", "cue contact F1", "lift F1", "cue again F1"]
    assert play.since("9 0.2*2")[-2:] == ["verdict pass F1", "cue pass F1"]


def test_a_walk_that_hides_behind_over_range_is_no_contact_that_ended() -> None:
    """Rule 2: a blend with air in the top range, then over-range while the meter walks down: no `again`, and the same
    touch gives the tick. By hand: 5/6 of a conversion on the fuse in a 40 MΩ range reads 13 MΩ."""
    play = Play(fuses(1))("OL!auto*3 12.74M!auto OL!auto*5 0.2!auto*3")
    assert play.cues == ["contact F1", "contact F1", "pass F1"]
    smooth = Play(fuses(1))("OL!auto*3 12.74M!auto 6.37M!auto OL!auto*5 0.2!auto*3")
    assert smooth.cues == ["contact F1", "contact F1", "pass F1"]  # a display that keeps half of what it showed
    known = Play(fuses(2))("OL!auto*3 0.00M!auto 0.000M!auto 0.2!auto*2 OL!auto*6 0.00M!auto OL!auto")
    assert known.cues[-1] == "again F2"  # this meter shows its walk, so the tips are off
    shown = Play(fuses(1))("OL!auto*3 12.74M!auto 0.000M!auto OL!auto")
    assert shown.cues[-1] == "again F1"  # it showed its walk, so over-range is the tips in the air
    fixed = Play(fuses(1))("OL*3 12.74M OL")
    assert fixed.cues[-1] == "again F1"


def test_a_hand_that_slips_to_the_next_item_is_given_time_to_obey_again() -> None:
    """Ten conversions a second: no tick rests on what comes within 0.8 s of `again`, since the hand may be leaving."""
    play = Play(fuses(2), rate=10.0)("OL*10 9 0.2 OL 9 0.2*4 OL")
    assert play.cues[-3:] == ["again F1", "contact F1", "again F1"]
    assert play("9 0.2*7").ticks == []
    assert play("0.2").ticks == ["F1 pass"]


def test_two_broken_contacts_do_not_add_up() -> None:
    """One whole conversion in each of two contacts are not two in one."""
    assert Play(fuses(1))("OL*3 " + "9 0.2 OL " * 10).ticks == []


def test_an_item_never_probed_gets_no_verdict() -> None:
    """Hours of silence, and of slips on the item before, give the next one no verdict."""
    play = Play(fuses(2))("OL*3 9 0.2*3 OL*2 0.2*5 OL*2 0.2*5 OL*20 +3600 OL*20")
    assert play.ticks == ["F1 pass"]
    assert not play.session.finished


# --- slips (rule 4)


@pytest.mark.parametrize("rate", [2.0, 3.0, 5.0, 10.0])
def test_slip_is_recorded_as_the_ticked_item_and_reminded(rate: float) -> None:
    """Contact before the lift is certain is the same one: it is the ticked item's, and cues `lift` after two."""
    play = Play(fuses(2), rate=rate)("OL*12 9 0.2*2")
    assert play.since("OL 0.2") == ["lift of a slip F1", "slip F1"]
    assert play.since("0.2") == ["cue lift F2", "note"]
    play("0.2*30")
    assert play.ticks == ["F1 pass"]
    assert play.cues.count("lift F2") == 1
    # n = ⌈0.5 s · rate⌉ + 2, one more while T is not measured; the first comes with the lift itself or T after it.
    n = {2.0: 4, 3.0: 5, 5.0: 6, 10.0: 8}[rate]
    assert play.notes[-1] == f"this contact does not count: lift, stay off {n / rate:.1f} s until go, then F2"


def test_held_after_the_tick_is_reminded() -> None:
    """Contact unbroken since the tick cues `lift` after two conversions and at least 1 s."""
    play = Play(fuses(2))("OL*3 9 0.2*2")
    assert play.since("0.2") == []
    assert play.since("0.2") == ["cue lift F2"]
    assert play.ticks == ["F1 pass"]


@pytest.mark.parametrize("word", ["open", "skip", "absent", "back", "at=F2", "again"])
def test_contact_soon_after_a_word_is_not_credited(word: str) -> None:
    """In the first 0.8 s after a word the hand may not have moved: cue `lift`, never a tick."""
    play = Play(fuses(3), rate=10.0)(f"OL*20 :{word} OL*5")
    before = len(play.ticks)
    play("0.2*30")
    assert len(play.ticks) == before
    assert [cue for cue in play.cues if cue.startswith("lift")] == [f"lift {play.machine.item}"]
    assert len(play("OL*10 9 0.2*2").ticks) == before + 1


@pytest.mark.parametrize("word", ["open", "skip", "absent", "at=F2", "again"])
def test_contact_on_at_a_word_is_not_credited(word: str) -> None:
    """Tips that touch when a word opens another item belong to the last one, however long they stay."""
    play = Play(fuses(3))(f"OL*3 9 5.0*2 :{word}")
    before = len(play.ticks)
    assert len(play("0.2*30").ticks) == before


def test_longer_recontact_of_the_plan() -> None:
    """A plan with a longer recontact_s asks for a longer lift."""
    play = Play(fuses(2, recontact_s=2.0))("OL*6 9 0.2*2 OL*5 0.2*9")
    assert play.ticks == ["F1 pass"]
    # n = ⌈2 s / 0.5 s⌉ + 2 = 6 open conversions, and one more while T is the profile's word only.
    assert play("OL*6 9 0.2*2").ticks == ["F1 pass"]
    assert play("OL*7 9 0.2*2").ticks == ["F1 pass", "F2 pass"]


@pytest.mark.parametrize("between", [":skip", "0.3!hold*3 0.3", "^lost 0.3"])
def test_lift_names_the_item_that_its_contact_was_on(between: str) -> None:
    """A contact on F2 that a word or a block took the credit from is lifted off F2."""
    play = Play(fuses(3))("OL*3 " + GOOD + f"9 0.3 {between} OL")
    touches = [outcome for outcome in play.out if isinstance(outcome, Contact | Lift)]
    assert [touch.item for touch in touches] == ["F1", "F1", "F2", "F2"]


# --- patience (rule 5)


def test_waiting_is_cued_once() -> None:
    """No contact for patience_s: one cue; the item stays open for ever."""
    play = Play(fuses(2))("OL*19")
    assert play.cues == []
    assert play.since("OL*2") == ["cue waiting F1"]
    assert play.since("OL*100 +900") == []
    assert play.machine.item == "F1"


def test_waiting_is_cued_once_for_an_item() -> None:
    """A broken contact after the reminder does not bring a second one; a new item has its own."""
    play = Play(fuses(2))("OL*21 9 OL*60")
    assert play.cues.count("waiting F1") == 1
    assert play(":skip OL*25").cues.count("waiting F2") == 1


def test_waiting_needs_no_readings() -> None:
    """The deadline itself is the event: it comes with no reading at all."""
    assert Play(fuses(2))("+9.9").cues == []
    assert Play(fuses(2))("+10").cues == ["waiting F1"]


def test_patience_of_the_plan_and_of_every_item() -> None:
    """Each item has its own reminder, with the plan's patience."""
    play = Play(fuses(2, patience_s=3.0))("+3 :skip +3 +30")
    assert play.cues == ["waiting F1", "skip F1", "waiting F2"]


def test_again_is_said_again_while_the_tips_stay_on() -> None:
    """7 Ω held on a 2 Ω fuse: who missed the tone is told once more each patience_s, until the tips are lifted."""
    play = Play(fuses(2, patience_s=3.0))("OL*8 7*3")
    assert play.cues[-1] == "again F1"
    said_s = play.of(Cue)[-1].t_s
    play("7*20")
    at_s = [cue.t_s for cue in play.of(Cue) if (cue.cue, cue.item) == ("again", "F1")]
    assert at_s == [said_s, said_s + 3.0, said_s + 6.0, said_s + 9.0]
    lifted = play("OL*8").cues.count("again F1")
    assert play("OL*2").cues.count("again F1") == lifted
    assert play("7*3").ticks == ["F1 fail"]


def test_contact_restarts_patience() -> None:
    """Patience counts from the last contact."""
    play = Play(fuses(1))("OL*10 9 OL*18")
    assert "waiting F1" not in play.cues
    assert play.since("OL*4") == ["cue waiting F1"]


def test_held_tips_are_no_silence() -> None:
    """Tips that stay on the last item are in contact: `lift` is cued, and not that nothing touches."""
    play = Play(fuses(2))("OL*3 9 0.2*2 " + "0.2 0.3 " * 20)
    assert play.cues[-1] == "lift F2"
    assert play("OL*18").cues[-1] == "go F2"
    assert play("OL*4").cues[-1] == "waiting F2"


# --- words


def test_open_fails() -> None:
    """`open` is the operator's verdict on a path that reads over-range."""
    play = Play(fuses(2))("OL*6 :open")
    assert play.ticks == ["F1 fail"]
    assert "word" in play.verdicts["F1"].reason
    assert (play.verdicts["F1"].value, play.verdicts["F1"].max) == (None, 2.0)


def test_open_against_what_the_meter_shows_is_unsure() -> None:
    """Said to be open while the meter shows a value: unsure, with the value."""
    play = Play(fuses(2))("OL*3 9 5.0*3 :open")
    assert play.ticks == ["F1 unsure"]
    assert "5.0" in play.verdicts["F1"].reason


def test_absent() -> None:
    """`absent` is a verdict of its own."""
    assert Play(fuses(1))(":absent").ticks == ["F1 absent"]


def test_skip_twice() -> None:
    """The first skip writes no verdict; the second look comes after the last item; a skip there is unsure."""
    play = Play(fuses(3))("OL*3 :skip")
    assert play.ticks == []
    assert play.cues[-1] == "skip F1"
    play("OL*2 " + GOOD + GOOD)
    assert play.ticks == ["F2 pass", "F3 pass"]
    assert play.prompts[-1] == "probe F1"
    assert "second look" in play.said
    play(":skip")
    assert play.ticks[-1] == "F1 unsure"
    assert play.session.finished


def test_second_look_keeps_the_order() -> None:
    """Skipped items come again in order, also those that were skipped after going back."""
    play = Play(fuses(4))("OL*3 :at=F3 :skip :skip :skip OL*2 " + GOOD)
    assert play.prompts[-1] == "probe F1"
    play(GOOD)
    assert play.prompts[-1] == "probe F2"
    play(GOOD + GOOD)
    assert play.session.finished
    assert play.ticks == ["F4 pass", "F1 pass", "F2 pass", "F3 pass"]


def test_second_look_asks_for_resistance() -> None:
    """Continuity shows over-range above its ceiling, so the second look wants the meter on ohms."""
    play = Play(fuses(2))("OLc*3 :skip OLc*3 9c 0.2c*2")
    assert play.ticks == ["F2 pass"]
    assert play.prompts[-1] == "dial F1"
    assert "ohms" in play.said
    assert "continuity" not in play.said
    play("OLc*5 9c 0.2c*9")
    assert play.ticks == ["F2 pass"]
    play("OL*5")
    assert play.prompts[-1] == "probe F1"
    assert play("9 0.2*2").ticks == ["F2 pass", "F1 pass"]


def test_first_look_takes_resistance_and_continuity() -> None:
    """With ohm limits and no quantity both count, also one after the other."""
    play = Play(fuses(2))("OLc*3 9c 0.2c*2 OL*5 9 0.2*2")
    assert play.ticks == ["F1 pass", "F2 pass"]


def test_back_reopens_the_last_item() -> None:
    """`back` asks for the last item again; its earlier verdict stays in the file until a new one replaces it."""
    play = Play(fuses(3))("OL*3 9 0.2*2 OL*4 :back")
    assert play.prompts[-1] == "probe F1"
    play("OL*2 9 5.0*4 OL*5 9 5.0*4")
    assert play.ticks == ["F1 pass", "F1 fail"]
    assert play.prompts[-1] == "probe F2"


def test_back_takes_a_skip_back() -> None:
    """`back` after `skip` asks for the skipped item, which then needs no second look."""
    play = Play(fuses(2))("OL*3 :skip :back OL*3 " + GOOD + GOOD)
    assert play.ticks == ["F1 pass", "F2 pass"]
    assert play.session.finished


def test_back_again_and_again() -> None:
    """`back` goes on back, and at the beginning stays there."""
    play = Play(fuses(3))("OL*3 " + GOOD + GOOD + ":back")
    assert play.prompts[-1] == "probe F2"
    assert play(":back").prompts[-1] == "probe F1"
    assert play(":back").prompts[-1] == "probe F1"


def test_at_opens_the_named_item() -> None:
    """`at ITEM` opens it, in any case of letters, and the walk goes on with what is open."""
    play = Play(fuses(3))("OL*3 :at=f3")
    assert play.prompts[-1] == "probe F3"
    play("OL*2 " + GOOD)
    assert play.prompts[-1] == "probe F1"


def test_at_an_unknown_item() -> None:
    """An item that is not there changes nothing, and the note says which there are."""
    play = Play(fuses(3))("OL*3 9 5.0")
    assert play.since(":at=F9") == ["note"]
    assert "F1" in play.notes[-1]
    assert "F3" in play.notes[-1]
    assert play.machine.state == "on"


def test_again_forgets_the_contacts() -> None:
    """`again` begins the item anew: a first contact above the limit no longer counts."""
    play = Play(fuses(1))("OL*3 9 5.0*4 :again OL*5 9 5.0*4")
    assert play.ticks == []
    assert play("OL*5 9 5.0*4").ticks == ["F1 fail"]


def test_skip_step_leaves_no_item_without_a_verdict() -> None:
    """Every item without a verdict becomes unsure, and the next step begins."""
    play = Play(fuses(3), check("R1"))("OL*3 " + GOOD + ":skip_step")
    assert play.ticks == ["F1 pass", "F2 unsure", "F3 unsure"]
    assert play.prompts[-1] == "probe R1"


@pytest.mark.parametrize("word", ["yes", "no", "pass", "fail", "undo", "jump"])
def test_words_that_mean_nothing(word: str) -> None:
    """A word that means nothing in an ohm sweep is said to, and changes nothing."""
    play = Play(fuses(2))("OL*3")
    assert play.since(f":{word}") == ["note"]
    assert word in play.notes[-1]
    assert play.machine.item == "F1"


# --- blocks (rule 7)


@pytest.mark.parametrize(
    ("block", "do"),
    [
        ("0.2!hold*6", "dial"),
        ("0.2!rel*6", "dial"),
        ("0.2!min*6", "dial"),
        ("0.2!max*6", "dial"),
        ("1.52V*6", "dial"),
        ("^silent", "wait"),
        ("^garbage", "wait"),
        ("^lost", "wait"),
        ("0.2!low_battery*6 :yes", "answer"),
    ],
)
@pytest.mark.parametrize("before", ["", "9 ", "9 0.2 "])
def test_block_stops_the_ticking(block: str, do: str, before: str) -> None:
    """A block prompts; nothing ticks; its end prompts the item again; a certain lift comes before the next contact."""
    play = Play(fuses(2))("OL*4 " + before + block)
    assert play.ticks == []
    assert play.prompts[:2] == ["probe F1", f"{do} F1"]
    play("0.2 0.3 " * 6)
    assert play.ticks == []
    assert play.prompts == ["probe F1", f"{do} F1", "probe F1"]
    play("OL*2 " + "0.2 0.3 " * 5)
    assert play.ticks == []
    assert play("OL*4").cues[-1] == "go F1"
    assert play("9 0.2*2").ticks == ["F1 pass"]


def test_link_up_is_not_yet_a_reading() -> None:
    """The record that the link is up does not end the block; its first reading does, and prompts the item."""
    play = Play(fuses(2))("OL*4 ^lost")
    assert play.since("^up") == []
    assert play.since("OL") == ["prompt probe F1"]


def test_low_battery_asks_once_and_flags_every_later_verdict() -> None:
    """Verdicts before are not flagged, every one after is; it is asked once."""
    play = Play(fuses(3))("OL*3 " + GOOD + "OL!low_battery*3 :yes OL!low_battery*4 9 0.2!low_battery*2 OL*5 " + GOOD)
    assert play.prompts.count("answer F2") == 1
    assert [("battery" in play.verdicts[item].reason) for item in ("F1", "F2", "F3")] == [False, True, True]


def test_low_battery_no_stays_blocked() -> None:
    """`no` does not go on."""
    play = Play(fuses(2))("OL!low_battery*3 :no OL!low_battery*4 9 0.2!low_battery*9")
    assert play.ticks == []


def test_yes_to_the_battery_is_no_answer_to_anything_else() -> None:
    """While the battery asks, `yes` is for it alone."""
    play = Play(fuses(1, count_check=True))("OL*3 9 0.2*2 OL!low_battery*3 :yes OL!low_battery*4")
    assert not play.session.finished
    assert play.prompts[-1] == "answer F1"
    assert play(":yes").session.finished


def test_words_work_while_a_block_stands() -> None:
    """A skip during a block moves on; the end of the block prompts the item that is open then."""
    play = Play(fuses(2))("OL*3 ^lost :skip")
    assert play.prompts == ["probe F1", "wait F1"]
    assert play("OL").prompts[-1] == "probe F2"


def test_unflagged_hold() -> None:
    """Nothing changes for 5 s after a `lift` cue: the display may be frozen; its next change ends that."""
    play = Play(fuses(2))("OL*3 9 0.2*2 0.2*2")
    assert play.cues[-1] == "lift F2"
    assert play.since("0.2*9") == []
    assert play.since("0.2*2") == ["prompt dial F2"]
    assert "HOLD" in play.said
    assert play.since("0.2*30") == []
    assert play.since("OL") == ["prompt probe F2", "lift of a slip F1"]
    assert play.since("OL*3") == ["cue go F2"]
    assert play("9 0.2*2").ticks == ["F1 pass", "F2 pass"]


def test_display_that_lives_is_not_frozen() -> None:
    """A held contact whose last digit moves is not a frozen display."""
    play = Play(fuses(2))("OL*3 9 0.2*2 " + "0.2 0.3 " * 20)
    assert "dial F2" not in play.prompts


def test_blocks_never_fail_an_item() -> None:
    """Every block one after the other gives no verdict."""
    play = Play(fuses(2))("OL*3 9 0.2!hold*3 0.2!rel*3 ^lost 0.2*3 1.0V*3 ^silent 0.2!max*4 0.2!low_battery*4 +60")
    assert play.ticks == []


def test_change_from_block_to_block_prompts_each() -> None:
    """Each new cause is said."""
    play = Play(fuses(2))("OL*3 0.2!hold*2 0.2V*2 0.2!rel*2 0.2*2")
    assert play.prompts == ["probe F1", "dial F1", "dial F1", "dial F1", "probe F1"]


# --- auto range (rule 10)


def test_auto_range_is_asked_about_once() -> None:
    """One `dial` prompt for the whole session, for no item, which does not replace the open one."""
    play = Play(fuses(2), fuses(1, id="more"), auto=True)
    play("OL*3 9 0.2*2 OL*8 9 0.2*2 OL*8 9 0.2*2")
    assert play.prompts.count("dial None") == 1
    assert play.prompts == ["probe F1", "dial None", "probe F2", "probe F1"]
    assert play.ticks == ["F1 pass", "F2 pass", "F1 pass"]


def test_fixed_range_is_not_asked_about() -> None:
    """No auto flag, no question."""
    assert "dial None" not in Play(fuses(2))("OL*3 " + GOOD + GOOD).prompts


def test_auto_range_that_hides_its_walk_needs_a_longer_lift() -> None:
    """Where nothing of the walk was seen: n = 4 conversions (one for T unmeasured) in a fixed range, 2n on auto."""
    fixed, auto = Play(fuses(2)), Play(fuses(2), auto=True)
    for play in (fixed, auto):
        play("OL*3 9.0 0.2*2 OL*3")
        assert "go F2" not in play.cues
    assert "go F2" in fixed("OL").cues
    assert "go F2" not in auto("OL*4").cues
    assert "go F2" in auto("OL").cues


def test_auto_range_that_shows_its_walk_costs_no_more_in_the_air() -> None:
    """A first finite value in the top range: nothing can hide behind over-range."""
    play = Play(fuses(2), auto=True)("OLM*3 0M 0k 9.0 0.2*2 OL OLk OLM")
    assert "go F2" not in play.cues
    assert "go F2" in play("OLM").cues


# --- volts (rule 8)


def test_live_rail_passes_by_contact() -> None:
    """A voltage away from zero shows contact; a settled value inside passes, touched twice as the first ones are."""
    play = Play(volts("TP1"))("0.00V*4 1.00V 3.30V*3")
    assert (play.ticks, play.cues[-1]) == ([], "again TP1")
    assert play("0.00V*6 1.00V 3.30V*3").ticks == ["TP1 pass"]


def test_about_zero_needs_a_yes() -> None:
    """Open tips read about zero: no verdict without the operator's yes, however long."""
    play = Play(volts("TP1"))("0.00V*60 0.02V*60")
    assert play.ticks == []
    assert play(":yes 0.02V*2").ticks == ["TP1 fail"]
    assert "yes" in play.verdicts["TP1"].reason


def test_yes_is_about_what_comes_after_it() -> None:
    """The tips touched the live rail just before the yes: what the meter showed of the air is no verdict."""
    play = Play(volts("TP1"))("0.00V*20 :yes 1.00V 3.30V*3 0.00V*6 1.00V 3.30V*3")
    assert play.ticks == ["TP1 pass"]


def test_yes_needs_two_conversions() -> None:
    """One conversion after the yes, sent five times, is not two."""
    assert Play(volts("TP1"))("0.00V*9 :yes 0.00V/5").ticks == []


def test_yes_on_a_voltage_does_not_make_the_air_a_dead_point() -> None:
    """The tips reach a live TP2 too early after TP1's tick: lift. A yes said there, and open tips after it, were TP2's
    pass about zero, at 12 V."""
    play = Play(volts("TP1", "TP2", min=-0.1, max=0.1), rate=5.0)("0.00V*9 :yes 0.00V*2")
    assert play.ticks == ["TP1 pass"]
    play("12.00V*3 :yes")
    assert "reads 12.00 V" in play.notes[-1] and "lift" in play.notes[-1]
    assert play("12.00V*2 0.00V*20").ticks == ["TP1 pass"]


def test_a_live_point_is_not_absent() -> None:
    """Said while 12 V stand on the tips: nobody can be sure, and it was counted as good."""
    play = Play(volts("TP1", "TP2", min=-0.1, max=0.1), rate=5.0)("0.00V*9 :yes 0.00V*2 12.00V*3 :absent")
    assert play.ticks == ["TP1 pass", "TP2 unsure"]
    assert "absent while the meter showed 12.00 V" in play.verdicts["TP2"].reason
    assert Play(volts("TP1"))("0.00V*9 :absent").ticks == ["TP1 absent"]


def test_a_yes_before_a_voltage_is_not_about_the_air_after_it() -> None:
    """Said at once after the tick, then a live point too early: what the meter shows after the lift is no point."""
    play = Play(volts("TP1", "TP2", min=-0.1, max=0.1), rate=5.0)("0.00V*9 :yes 0.00V*2 :yes")
    assert play("12.00V*3 0.00V*20").ticks == ["TP1 pass"]


@pytest.mark.parametrize("between", ["0.00V!hold*2", "^lost", "0.2*2"])
def test_yes_does_not_outlive_a_block(between: str) -> None:
    """A yes before or during a block is not used after it."""
    assert Play(volts("TP1"))(f"0.00V*9 :yes {between} 0.00V*9").ticks == []
    assert Play(volts("TP1"))(f"0.00V*9 {between} :yes 0.00V*9").ticks == []


def test_yes_does_not_outlive_its_item() -> None:
    """A yes for one item is none for the next."""
    assert Play(volts())("0.00V*9 :yes :skip 0.00V*9").ticks == []


def test_over_range_in_volts_is_no_zero() -> None:
    """Over-range is more than the range holds: contact, and no verdict."""
    assert Play(volts("TP1"))("0.00V*9 OLV*9 :yes OLV*9").ticks == []


# --- order, names, prompts


def test_both_ways() -> None:
    """An item with both_ways is followed by its other polarity, red and black changed over."""
    step = SweepStep(
        id="diodes", max=2.0, unit="ohm", items=(Item("D1", both_ways=True, red="A", black="K"), Item("D2"))
    )
    play = Play(step)
    assert "red on A, black on K" in play.said
    play("OL*3 " + GOOD)
    assert play.prompts[-1] == "probe D1 reversed"
    assert "red on K, black on A" in play.said
    play(GOOD + GOOD + ":yes")
    assert play.ticks == ["D1 pass", "D1 reversed pass", "D2 pass"]


def test_tag_of_the_unit_is_in_every_item_prompt() -> None:
    """Where units change, each prompt says which one."""
    assert Play(fuses(1), tag="B").said.startswith("B: ")


def test_first_prompt_says_to_wait_for_the_tick() -> None:
    """The tool's tick, not the meter's beep."""
    assert "not the meter's beep" in Play(fuses(1)).said


def test_skip_step_takes_no_verdict_back() -> None:
    """`back` opens F1 again, and nothing is measured there: what it had stands; only F2 and F3 had none."""
    play = Play(fuses(3), check("R1"))("OL*3 " + GOOD + ":back :skip_step")
    assert play.ticks == ["F1 pass", "F2 unsure", "F3 unsure"]
    assert play.verdicts["F1"].verdict == "pass"


def test_skip_step_leaves_a_replaced_item_undecided() -> None:
    """What F1 read was read of the part that is out."""
    play = Play(fuses(2), check("R1"))("OL*3 " + GOOD + ":replaced=F1 :skip_step")
    assert (play.verdicts["F1"].verdict, play.verdicts["F2"].verdict) == ("unsure", "unsure")
    again = Play(fuses(2), check("R1"))("OL*3 " + GOOD + ":replaced=F1 OL*5 " + GOOD + ":back :skip_step")
    assert again.verdicts["F1"].verdict == "pass"
