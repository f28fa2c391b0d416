"""What a session takes over: everything decided when it is continued, as found and counts when it is taken up later."""

from __future__ import annotations

import msgspec

from metercap.evidence import evidence
from metercap.plankeys import ExerciseStep, Item, TrialsStep, TuneStep
from metercap.records import VerdictKind
from metercap.session.inherit import inherited_from, recorded_only
from tests.steps.bench_play import Play, check, confirm, fuses, safe, volts, zero


def bridge() -> TuneStep:
    """Return a tune step of RV1 toward 1.5 kΩ."""
    return TuneStep(id="b", items=(Item("RV1"),), target=1500.0, tolerance_share=0.01, unit="ohm")


def continued(before: Play, *steps: object, how: str = "continue") -> Play:
    """Return the session that goes on with `before`."""
    handed = inherited_from(before.session.bench, how, before.record.id).as_builtins()  # type: ignore[arg-type]
    return Play(*steps, rate=5.0, inherited=handed)  # type: ignore[arg-type]


def test_a_continued_sweep_asks_only_for_what_is_open() -> None:
    """F1 passed and F2 was absent; F3 was never decided."""
    before = Play(fuses(3), rate=5.0)("OL*6 0.2*3 OL*6 :absent OL*3")
    play = continued(before, fuses(3))
    assert play.prompts == ["probe F3"]
    assert play.ticks == ["F1 pass", "F2 absent"]
    assert all(verdict.reason.startswith("from session s1") for verdict in play.verdicts.values())
    play("OL*6 0.2*3")
    assert play.session.finished


def test_unsure_is_asked_again() -> None:
    """A verdict that decided nothing is not kept."""
    before = Play(fuses(2), rate=5.0)("OL*6 :skip OL*6 0.2*3 OL*6 :skip")
    assert before.verdicts["F1"].verdict is VerdictKind.UNSURE
    assert continued(before, fuses(2)).prompts == ["probe F1"]


def test_the_proof_of_no_voltage_and_the_lead_null_are_asked_again() -> None:
    """Time has passed: someone may have plugged it in, or changed the leads."""
    before = Play(zero(), fuses(2), rate=5.0)("OL*6 0.2*4 OL*6 0.2*3")
    play = continued(before, zero(), fuses(2))
    assert play.prompts == ["short leads"]
    assert continued(before, safe("C12"), fuses(2)).prompts == ["probe dead"]


def proved(*more: object) -> Play:
    """Return a session that proved C12 dead, nulled the leads, and found F1 absent; then `more` steps."""
    play = Play(safe("C12"), zero(), fuses(1), *more, rate=5.0)  # type: ignore[arg-type]
    return play(DEAD + "OL*6 0.2*4 OL*6 :absent")


DEAD = "1.52V*6 0.00V*30 :yes 0.00V*6 0.00Vac*30 :yes 0.00Vac*6 0.00V*30 1.52V*6 "


def test_nothing_in_ohms_is_left_so_neither_proof_nor_null_is_asked_for_again() -> None:
    """The powered rail alone is open: unplugging the unit to prove it dead once more would serve nothing."""
    before = proved(volts("TP1", power="on"))
    assert before.verdicts["dead"].verdict is VerdictKind.PASS
    play = continued(before, safe("C12"), zero(), fuses(1), volts("TP1", power="on"))
    assert play.prompts == ["probe TP1"]
    assert play.verdicts["dead"].reason.startswith("from session s1")


def test_ohms_after_a_powered_step_need_proofs_and_null() -> None:
    """A coil after the rail is still open: the null is asked for, and so is the proof before it, and the later one."""
    again = msgspec.structs.replace(safe("C12"), id="dead again")
    later = (volts("TP1", power="on"), again, check("K1"))
    play = continued(proved(*later), safe("C12"), zero(), fuses(1), *later)
    assert play.prompts == ["probe dead"]
    assert list(play.verdicts) == ["F1"]


def test_half_a_proof_is_none() -> None:
    """A point was found dead, then the session broke off: the whole proof is asked for again."""
    before = Play(safe("C12"), fuses(1), rate=5.0)("1.52V*6 0.00V*30 :yes 0.00V*6")
    assert before.verdicts["C12"].verdict is VerdictKind.PASS
    play = continued(before, safe("C12"), fuses(1))
    assert play.ticks == []
    assert play.prompts == ["probe dead"]


def test_the_last_null_alone_still_sees_what_the_leads_did() -> None:
    """Only the null at the end is open: the first one is not asked again, and the drift since it is seen."""
    steps = (zero(), fuses(1), zero(id="leads after"))
    before = Play(*steps, rate=5.0)("OL*6 0.2*4 OL*8 1.9*3 OL*8")
    assert before.verdicts["F1"].verdict is VerdictKind.PASS
    play = continued(before, *steps)
    assert play.prompts == ["short leads after"]
    play("OL*8 0.9*4")
    assert play.session.finished
    assert play.verdicts["F1"].verdict is VerdictKind.UNSURE
    assert "drifted by 0.7 Ω" in play.verdicts["F1"].reason


def test_times_of_the_other_session_are_not_taken_over() -> None:
    """Readings of the other file are not in this one: `from_s` and the contacts would name others."""
    before = Play(fuses(2), rate=5.0)("OL*6 0.2*3")
    assert before.verdicts["F1"].from_s is not None
    taken = continued(before, fuses(2)).verdicts["F1"]
    assert (taken.t_s, taken.from_s, taken.contacts) == (0.0, None, msgspec.UNSET)
    assert (taken.value, taken.n) == (before.verdicts["F1"].value, before.verdicts["F1"].n)


def test_trials_go_on_from_their_counts() -> None:
    """Broken off before the fix, or after it: neither the starts nor the fix are asked for again; a proof stands."""
    step = TrialsStep(id="starts", runs=5)
    before = ":pass :fail :pass "
    assert "run 4 of 5: 1 failed" in continued(Play(step, rate=5.0)(before), step).said
    fixed = before + ":fail :pass :fixed=relay :pass :pass "
    play = continued(Play(step, rate=5.0)(fixed), step)
    assert "2 passed after the fix" in play.said
    proved = Play(step, rate=5.0)(fixed + ":pass " * 27)
    assert proved.verdicts["starts"].verdict is VerdictKind.PASS
    assert continued(proved, step).session.finished


def test_an_unsure_of_no_step_is_kept() -> None:
    """An unplanned item is in no plan: nobody would ask for it again, so what is known of it stands."""
    before = Play(fuses(1), rate=5.0)("OL*6 :probe=R77 :absent")
    bench = before.session.bench
    verdict = msgspec.structs.replace(before.verdicts["R77"], verdict=VerdictKind.UNSURE)
    bench.verdicts["unplanned", "R77"] = verdict
    assert [v.item for v in inherited_from(bench, "continue", "s1").verdicts] == ["R77"]


def counted(script: str) -> Play:
    """Return a sweep of three with its count check, after `script`, gone on with."""
    return continued(Play(fuses(3, count_check=True), rate=5.0)(script), fuses(3, count_check=True))


TICK = "OL*6 0.2*3 "


def test_a_count_check_that_was_not_answered_comes_first() -> None:
    """With all ticked, with the tips still on, or in the middle of the sweep; answered, it is not asked again."""
    for script, item in ((TICK * 3 + "OL*6", "F3"), (TICK * 3, "F3"), (TICK * 2 + "OL*6", "F2")):
        play = counted(script)
        assert play.prompts == [f"answer {item}"]
    assert counted(TICK * 3 + "OL*6 :yes").session.finished
    assert counted(TICK + "OL*6 :absent :absent :yes").session.finished


def test_no_to_what_the_other_session_ticked() -> None:
    """Its verdicts become unsure here, and are swept again."""
    play = counted(TICK * 2 + "OL*6")(":no :yes")
    assert play.ticks[2:] == ["F1 unsure", "F2 unsure"]
    assert play.prompts[-1] == "probe F1"
    play(TICK * 3 + "OL*6 :yes")
    assert play.session.finished
    assert {verdict.verdict for verdict in play.verdicts.values()} == {VerdictKind.PASS}


def test_what_is_owed_is_handed_on_twice() -> None:
    """A second session that never came to the sweep hands the question on to the third."""
    first = Play(fuses(3, count_check=True), rate=5.0)(TICK * 3 + "OL*6")
    handed = inherited_from(first.session.bench, "continue", "s1").as_builtins()
    second = Play(confirm(), rate=5.0, inherited=handed)
    assert continued(second, fuses(3, count_check=True)).prompts == ["answer F3"]


def test_an_older_file_is_not_derived_again() -> None:
    """Its rules were others: its own verdicts are what stands and what is compared."""
    play = Play(fuses(1), rate=5.0)("OL*6 0.2*3")
    told = msgspec.structs.replace(play.verdicts["F1"], value=0.3)
    first = msgspec.structs.replace(play.record, schema=1)
    known = evidence(iter([first, *play.events, told]))
    assert known.judged["fuses", "F1"].value == 0.3
    assert known.verdicts["fuses", "F1"] == told


def test_old_verdicts_hand_on_what_they_say() -> None:
    """Of an older file only the verdicts are known: as found and counts are taken from them."""
    before = Play(bridge(), rate=5.0)("OL*6 1.700k*5 1.600k*3 1.500k*30")
    standing = before.session.bench.verdicts
    found = recorded_only("s1", standing).as_found["b/RV1"]
    assert (found.value, found.resolution) == (1700.0, 1.0)


def test_a_whole_session_that_is_continued_ends_at_once() -> None:
    """Nothing is open, so nothing is asked."""
    before = Play(fuses(1), rate=5.0)("OL*6 0.2*3")
    assert continued(before, fuses(1)).session.finished


def test_as_found_survives_an_interruption_and_a_later_session() -> None:
    """The trimmer was turned when the session broke off; what it was found at is not read again."""
    before = Play(bridge(), rate=5.0)("OL*6 1.700k*5 1.600k*3")
    for how in ("continue", "after"):
        play = continued(before, bridge(), how=how)("OL*6 1.600k*3 1.500k*30")
        assert play.verdicts["RV1"].as_found == 1700.0


def test_after_takes_no_verdict_over() -> None:
    """Another day, another measurement."""
    before = Play(fuses(2), rate=5.0)("OL*6 0.2*3 OL*6 0.2*3")
    play = continued(before, fuses(2), how="after")
    assert play.prompts == ["probe F1"]
    assert play.ticks == []


def test_what_is_inherited_goes_through_json() -> None:
    """The first record carries it; the session built from that record is the same."""
    before = Play(fuses(2), bridge(), rate=5.0)("OL*6 0.2*3 OL*6 0.2*3 OL*6 1.700k*5")
    handed = inherited_from(before.session.bench, "continue", "s1")
    assert type(handed).of(handed.as_builtins()) == handed


def test_what_was_not_read_as_found_never_is_and_what_stands_past_its_limit_is_said_first() -> None:
    """It was moving already: no later session takes what it reads now for as found. Its alarm is the first word."""
    step = msgspec.structs.replace(bridge(), never_below=1200.0)
    before = Play(step, rate=5.0)("OL*6 2.000k 1.980k 1.940k 1.900k 1.860k 1.700k 1.500k 1.300k 1.150k*5 :quit")
    for how in ("continue", "after"):
        play = continued(before, step, how=how)
        assert play.cues[0] == "hazard RV1"
        assert play.notes[0] == "RV1 stands past its limit: 1.150 kΩ, below 1.2 kΩ"
        play("OL*6 1.150k*5 1.300k 1.500k*30")
        verdict = play.verdicts["RV1"]
        assert (verdict.verdict, verdict.as_found) == (VerdictKind.PASS, None)
        assert play.session.bench.standing == {}


# --- exercises


def switch(**more: object) -> ExerciseStep:
    """Return an exercise of S1 with five presses."""
    return ExerciseStep(**({"id": "cover", "items": (Item("S1"),), "presses": 5} | more))  # type: ignore[arg-type]


PRESS = "0.3*3 OL*3 "
SILENT = "OL*22 "


def test_a_silent_press_before_an_interruption_stays_in_the_count() -> None:
    """Three presses, the second silent; then five good ones: the first are as found, and 5 of 5 would be a lie."""
    before = Play(switch(), rate=5.0)("OL*3 " + PRESS + SILENT + PRESS)
    assert before.machine.progress == (2, 3, 5)
    play = continued(before, switch())
    assert play.machine.progress == (2, 3, 5)
    assert "S1: 3 presses of the session before are counted, 1 missed; hold" in play.said
    verdict = play("OL*3 " + PRESS * 5).verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.FAIL, 4, 5)
    assert "the first 3 counted before an interruption" in verdict.reason


def test_a_silent_press_that_was_undecided_waits_for_the_next_closure_or_a_word() -> None:
    """The next closure makes it a miss, as it would have; `again` says that the tips had slipped."""
    before = Play(switch(), rate=5.0)("OL*3 " + PRESS * 2 + SILENT)
    closed = continued(before, switch())("OL*3 " + PRESS * 2).verdicts["S1"]
    assert (closed.k, closed.runs) == (4, 5)
    slipped = continued(before, switch())(":again OL*3 " + PRESS * 3).verdicts["S1"]
    assert (slipped.verdict, slipped.k, slipped.runs) == (VerdictKind.PASS, 5, 5)
    assert "1 silent presses set aside" in slipped.reason


def test_dropouts_before_an_interruption_still_fail_the_switch() -> None:
    """What opened while held is no less so for the interruption."""
    before = Play(switch(), rate=5.0)("OL*3 0.3*3 OL*3 0.3 OL 0.3*2 OL*3")
    assert before.machine._seen.dropouts == 1
    verdict = continued(before, switch())("OL*3 " + PRESS * 5).verdicts["S1"]
    assert verdict.verdict is VerdictKind.FAIL
    assert "1 dropouts while held" in verdict.reason


def failed() -> Play:
    """Return a play in which S1 closed four times of five, and waits for the answer to "clean it?"."""
    return Play(zero(), switch(), fuses(1), rate=5.0)("OL*6 0.2*4 OL*6 " + PRESS * 2 + SILENT + PRESS * 2)


def test_an_exercise_left_at_the_question_to_clean_asks_it_again() -> None:
    """Its failure stands; leads are nulled again first, since it may be exercised once more."""
    before = failed()
    assert before.prompts[-1] == "answer S1"
    play = continued(before, zero(), switch(), fuses(1))
    assert play.prompts == ["short leads"]
    assert play.verdicts["S1"].verdict is VerdictKind.FAIL
    play("OL*6 0.2*4 OL*6")
    assert play.prompts[-1] == "answer S1"
    assert "S1 failed: clean it" in play.said
    verdict = play(":yes OL*3 " + PRESS * 5).verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)
    assert "as found 1 of 5 missed" in verdict.reason


def test_left_as_it_is_it_is_not_asked_about_again() -> None:
    """The answer `no` is an answer."""
    play = continued(failed()(":no"), zero(), switch(), fuses(1))("OL*6 0.2*4 OL*6")
    assert play.prompts[-1] == "probe F1"
    assert play.verdicts["S1"].verdict is VerdictKind.FAIL


def test_a_round_after_cleaning_goes_on_as_that_round() -> None:
    """Cleaned and pressed twice when it was interrupted: round two of two presses goes on, as found stays as found."""
    before = failed()(":yes OL*3 " + PRESS * 2)
    play = continued(before, zero(), switch(), fuses(1))("OL*6 0.2*4 OL*6")
    assert play.prompts[-1] == "probe S1"
    verdict = play("OL*3 " + PRESS * 3).verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)
    assert "as found 1 of 5 missed" in verdict.reason


def test_a_unit_taken_up_later_keeps_an_unfinished_round_as_found() -> None:
    """It may have been cleaned since: its presses are a round of their own, and those of today another."""
    before = Play(switch(), rate=5.0)("OL*3 " + PRESS + SILENT + PRESS)
    verdict = continued(before, switch(), how="after")("OL*3 " + PRESS * 5).verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)
    assert "as found 1 of 3 missed" in verdict.reason


def test_presses_set_aside_before_an_interruption_are_still_said() -> None:
    """The probes had slipped, by the operator's word; the word outlives the session."""
    before = Play(switch(), rate=5.0)("OL*3 " + PRESS * 2 + SILENT + ":again OL*3 " + PRESS)
    verdict = continued(before, switch())("OL*3 " + PRESS * 2).verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)
    assert "1 silent presses set aside" in verdict.reason


def test_a_switch_that_failed_is_exercised_anew_when_it_is_taken_up_later() -> None:
    """Whether it was left at the question or after its answer: a failed round counts once, and nothing is asked."""
    for before in (failed(), failed()(":no")):
        assert "open" not in before.session.bench.before["cover", "S1"]
        play = continued(before, switch(), how="after")
        assert play.prompts == ["probe S1"]
        reason = play("OL*3 " + PRESS * 5).verdicts["S1"].reason
        assert "as found 1 of 5 missed" in reason
        assert "in round 2" not in reason


def test_leads_are_nulled_again_for_a_switch_that_may_be_cleaned() -> None:
    """Nothing but the question is left; what follows a `yes` is measured in ohms."""
    before = Play(zero(), switch(), rate=5.0)("OL*6 0.2*4 OL*6 " + PRESS * 2 + SILENT + PRESS * 2)
    assert continued(before, zero(), switch()).prompts == ["short leads"]


def test_a_cold_time_that_was_interrupted_begins_anew() -> None:
    """Nobody knows whether the unit was off meanwhile: no start is asked for before it has been, for `off_s`."""
    step = TrialsStep(id="starts", runs=5, off_s=30.0)
    before = Play(step)(":pass +10")
    play = continued(before, step)
    assert play.prompts == ["wait starts"]
    assert play.machine.deadline_s == 30.0
    play("+29 :pass")
    assert play.notes[-1] == "not started yet: 1.0 s to go"
    assert play("+1 :pass").session.bench.before["starts", "starts"]["k"] == 2


def test_a_start_that_was_asked_for_is_asked_for_at_once() -> None:
    """The cold time was over when the session was interrupted; and one that is taken up later has none."""
    step = TrialsStep(id="starts", runs=5, off_s=30.0)
    assert continued(Play(step)(":pass +31"), step).prompts == ["answer starts"]
    assert continued(Play(step)(":pass +10"), step, how="after").prompts == ["answer starts"]


def test_a_cold_time_runs_on_while_another_step_is_at_hand() -> None:
    """It is called when it is over, and what is left of it is waited out."""
    step = TrialsStep(id="starts", runs=5, off_s=30.0)
    play = Play(step, confirm(id="after"))(":pass +10 :to=after +5 :to=starts")
    assert play.machine.deadline_s == 30.0
    assert play.prompts[-1] == "wait starts"
    over = Play(step, confirm(id="after"))(":pass +10 :to=after")
    assert "starts" in " ".join(over("+25").notes[-1:])
    assert over(":to=starts").prompts[-1] == "answer starts"


def test_a_cold_time_is_told_to_whoever_goes_elsewhere() -> None:
    """When it is over, while it lasts; a session of another unit of the job calls it then."""
    step = TrialsStep(id="starts", runs=5, off_s=30.0)
    play = Play(step)(":pass +10")
    assert play.session.waits == {"starts": 30.0}
    assert play("+21").session.waits == {}
