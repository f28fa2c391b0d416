"""exercise: closures counted, silent presses never guessed, before and after cleaning."""

from __future__ import annotations

from typing import Any

import pytest

from metercap.plankeys import ExerciseStep, Item
from metercap.records import VerdictKind
from tests.steps.bench_play import Play

PRESS = "0.3*3 OL*3 "
"""A good press of a normally open switch, and its release, at 5 conversions/s."""
SILENT = "OL*22 "
"""A press that shows nothing, and its release: 4 T + 2 s = 2.8 s for the press, 1.5 s for letting go unseen."""


def switch(**more: Any) -> ExerciseStep:
    """Return an exercise of S1 with five presses."""
    keys: dict[str, Any] = {"id": "cover", "items": (Item("S1"),), "presses": 5}
    return ExerciseStep(**(keys | more))


def exercised(script: str, **more: Any) -> Play:
    """Return a play of a script after a moment in air."""
    return Play(switch(**more), rate=5.0)("OL*3 " + script)


def test_good_closures_pass_with_an_interval() -> None:
    """Five of five: exact 95 % interval from 0.478 (scipy.stats.binomtest) to 1."""
    play = exercised(PRESS * 5)
    verdict = play.verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)
    exact = pytest.importorskip("scipy.stats").binomtest(5, 5).proportion_ci(0.95, method="exact")
    assert (verdict.low, verdict.high) == pytest.approx((exact.low, exact.high), abs=1e-5)
    assert play.session.finished


def test_the_tool_paces_press_and_release() -> None:
    """A prompt for each half, after three conversions of the one before."""
    play = exercised(PRESS * 2)
    assert play.prompts == ["probe S1", "release S1", "press S1", "release S1", "press S1"]


def test_a_silent_press_between_closures_is_a_miss() -> None:
    """It is decided by the closure after it."""
    play = exercised(PRESS * 2 + SILENT)
    assert play.machine._presses.counted == (2, 2)
    play(PRESS * 2)
    verdict = play.verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.FAIL, 4, 5)
    assert "1 of 5 presses missed" in verdict.reason
    assert "silent between closures" in verdict.reason


def test_silent_presses_at_the_end_are_not_guessed() -> None:
    """Nothing closed after it, so the tips may have slipped: the tool asks, and without a word there is no verdict."""
    play = exercised(PRESS * 4 + SILENT)
    assert play.prompts[-1] == "answer S1"
    play("OL*100 +600")
    assert not play.verdicts
    verdict = play(":yes").verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.FAIL, 4, 5)
    assert "silent, by the operator's word" in verdict.reason


@pytest.mark.parametrize("after", [5, 18])
def test_fail_decides_a_silent_press(after: int) -> None:
    """The operator felt it: said during the press or after it, it counts that press, and once."""
    play = exercised(PRESS * 3 + f"OL*{after} :fail OL*{22 - after} " + PRESS)
    verdict = play.verdicts["S1"]
    assert (verdict.k, verdict.runs) == (4, 5)
    assert "by the operator's word" in verdict.reason


def test_presses_before_the_first_closure_count() -> None:
    """Two presses showed nothing, the third closed; "two silent, then 5 of 5, pass" was what became of it."""
    play = exercised(PRESS + ":missed=2 " + PRESS * 2)
    verdict = play.verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.FAIL, 3, 5)
    assert "2 of 5 presses missed" in verdict.reason
    assert [press.good for press in play.machine._presses.all] == [False, False, True, True, True]


def test_missed_before_anything_has_closed() -> None:
    """It is said while the tool waits for the first closure."""
    play = exercised("OL*20 :missed=2 " + PRESS * 3)
    assert (play.verdicts["S1"].k, play.verdicts["S1"].runs) == (3, 5)


@pytest.mark.parametrize("text", ["", "two", "-1", "1e9", "٣", "9999"])
def test_missed_without_a_number_counts_nothing(text: str) -> None:
    """Words of a journal that was made up may hold anything."""
    play = exercised(f"OL*20 :missed={text} " + PRESS * 5)
    assert (play.verdicts["S1"].k, play.verdicts["S1"].runs) == (5, 5)


def test_yes_proves_the_tips_where_the_switch_has_never_closed() -> None:
    """From there presses are paced, and silent ones count as soon as one closes."""
    play = exercised("OL*20 :yes")
    assert play.prompts == ["probe S1", "press S1"]
    play("OL " + SILENT * 2 + PRESS * 3)
    verdict = play.verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.FAIL, 3, 5)
    assert "silent before the first closure" in verdict.reason


def test_a_dead_switch_is_asked_about_once_and_fails_by_words() -> None:
    """Three silent presses raise the question; the rest of them does not, until something has to be decided."""
    play = exercised(":yes OL " + SILENT * 3, presses=8)
    assert play.prompts[-1] == "answer S1"
    assert "pressing it, tips on?" in play.said and "3 presses showed nothing" in play.said
    play(":yes")
    assert play.prompts[-1] == "press S1"
    play(SILENT * 4)
    assert play.prompts.count("answer S1") == 1
    play(SILENT + ":yes")
    assert (play.verdicts["S1"].verdict, play.verdicts["S1"].k, play.verdicts["S1"].runs) == (VerdictKind.FAIL, 0, 8)


def test_a_closure_answers_whether_anybody_is_pressing() -> None:
    """Somebody is: the silent presses were misses."""
    play = exercised(PRESS + SILENT * 3, presses=6)
    assert play.prompts[-1] == "answer S1"
    play(PRESS)
    assert play.prompts[-1] == "press S1"
    play(PRESS)
    assert (play.verdicts["S1"].k, play.verdicts["S1"].runs) == (3, 6)


def test_missed_answers_how_many_were_pressed() -> None:
    """The tool paced three, and one was made: two of them are nothing."""
    play = exercised(PRESS + SILENT * 3 + ":missed=1 OL*3 " + PRESS * 3)
    assert (play.verdicts["S1"].k, play.verdicts["S1"].runs) == (4, 5)


@pytest.mark.parametrize("form", ["no", "nc"])
@pytest.mark.parametrize("begun", [False, True])
def test_nobody_there_gets_no_verdict(form: str, begun: bool) -> None:
    """Tips in the air, or left on the switch after a few presses: an hour later nothing has been judged."""
    rest = {"no": "OL", "nc": "0.3"}[form]
    start = {"no": PRESS * 2, "nc": "0.3*3 " + "OL*3 0.3*3 " * 2}[form] if begun else ""
    play = Play(switch(form=form), rate=5.0)(f"{rest}*3 " if begun else "OL*3")
    play(start + f"{rest}*300 +1800 {rest}*300 +1800" if begun else "OL*300 +1800 OL*300")
    assert not play.verdicts
    assert len(play.prompts) < 20


def test_what_goes_on_at_its_deadline_is_waited_for() -> None:
    """A closure that begins 2.6 s after its prompt and is two conversions old when time is up counts all the same."""
    late = "OL*12 0.3*3 OL*3 "
    verdict = exercised(PRESS + late * 4).verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)


def test_a_late_release_spoils_nothing() -> None:
    """The switch was held for 8 s: a waiting cue, and the press counts."""
    play = exercised(PRESS + "0.3*40 OL*3 " + PRESS * 3)
    assert "waiting S1" in play.cues
    assert (play.verdicts["S1"].verdict, play.verdicts["S1"].k) == (VerdictKind.PASS, 5)


def test_a_contact_that_never_opens_fails_by_the_operators_word() -> None:
    """Released, and still closed: what the hand knows the meter cannot."""
    play = exercised(PRESS + "0.3*40 :fail")
    assert (play.verdicts["S1"].k, play.verdicts["S1"].runs) == (1, 2)
    assert "did not open, by the operator's word" in play.verdicts["S1"].reason


def test_a_press_after_its_time_is_no_miss() -> None:
    """It closed while the release was asked for already: late by its prompt, and a closure all the same."""
    play = exercised(PRESS + "OL*16 0.3*4 OL*4 " + PRESS * 3)
    assert (play.verdicts["S1"].verdict, play.verdicts["S1"].k, play.verdicts["S1"].runs) == (VerdictKind.PASS, 5, 5)


def test_a_late_press_let_go_at_the_release_prompt_is_asked_for_again() -> None:
    """Two conversions of closure after the time was up: neither silent nor a closure."""
    play = exercised(PRESS + "OL*16 0.3*2 OL*5 " + PRESS * 4)
    assert (play.verdicts["S1"].verdict, play.verdicts["S1"].k, play.verdicts["S1"].runs) == (VerdictKind.PASS, 5, 5)


def test_a_blip_at_the_release_hides_no_miss() -> None:
    """A worn contact touches for a moment on its way up: that makes no press, nor takes one away."""
    play = exercised(PRESS + "OL*16 0.3 OL*6 " + PRESS * 3)
    assert (play.verdicts["S1"].k, play.verdicts["S1"].runs) == (4, 5)


def test_a_meter_that_stalls_makes_no_silent_press() -> None:
    """No conversion came while it should close: what the contact did then is not known, so it is waited for."""
    play = exercised(PRESS + "+4")
    assert play.prompts[-1] == "press S1"
    play("0.3*3 OL*3 " + PRESS * 3)
    assert (play.verdicts["S1"].verdict, play.verdicts["S1"].k, play.verdicts["S1"].runs) == (VerdictKind.PASS, 5, 5)


def test_a_closure_that_lets_go_by_itself_is_a_miss() -> None:
    """Held, and open again after two conversions: three is what a closure lasts."""
    verdict = exercised(PRESS + "OL 0.3*2 OL*20 " + PRESS * 3).verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.FAIL, 4, 5)
    assert "too short a closure" in verdict.reason


def test_the_edge_of_a_closure_is_no_contact_resistance() -> None:
    """The conversion that the hand's edge fell into reads 1.8 Ω; between the edges there are 0.3 Ω (mean by hand)."""
    verdict = exercised("1.8 0.3*2 OL*3 " * 5).verdicts["S1"]
    assert (verdict.verdict, verdict.value) == (VerdictKind.PASS, 0.3)


@pytest.mark.parametrize(
    ("low", "ohm", "wide"), [("0.5", "0.9", False), ("0.5", "1.1", True), ("0.1", "0.9", False), ("0.8", "1.5", False)]
)
def test_a_contact_that_varies_by_more_than_twice_is_said_to(low: str, ohm: str, wide: bool) -> None:
    """Twice, of no less than five counts (0.5 Ω here): 0.9 Ω is not, beside 0.1 Ω either; 1.1 Ω is."""
    verdict = exercised(f"{low}*3 OL*3 " * 4 + f"{low} {ohm} {low} OL*3").verdicts["S1"]
    assert ("contact resistance from" in verdict.reason) is wide


def test_misses_that_grow_fewer_with_use_are_called_so() -> None:
    """Eight misses, then twelve closures: Kendall's S = 96, and no chance (Mann 1945); scipy's tau agrees."""
    play = exercised("OL*3 :missed=8 " + PRESS * 12, presses=20)
    reason = play.verdicts["S1"].reason
    assert "8 in the first 10, 0 in the last 10" in reason
    assert "fewer with use (p = " in reason
    stats = pytest.importorskip("scipy.stats")
    assert stats.kendalltau(range(20), [0] * 8 + [1] * 12).pvalue < 0.001


@pytest.mark.parametrize(("presses", "compared"), [(5, False), (6, True)])
def test_halves_of_fewer_than_three_presses_say_nothing(presses: int, compared: bool) -> None:
    """Of five presses each half has two: no early and late yet, and no trend; of six each has three."""
    reason = exercised(":missed=2 " + PRESS * (presses - 2), presses=presses).verdicts["S1"].reason
    assert ("2 in the first 3, 0 in the last 3" in reason) is compared
    assert ("in the first" in reason or "p = " in reason) is compared


def test_a_single_miss_in_the_middle_is_no_trend() -> None:
    """It is said, with its chance."""
    reason = exercised("OL*3 " + PRESS * 5 + ":missed=1 " + PRESS * 4, presses=10).verdicts["S1"].reason
    assert "no trend (p = " in reason


def test_progress_says_presses_done_and_closures_beside() -> None:
    """ "4 of 10" would read as how far it is."""
    play = exercised(PRESS + ":missed=2 " + PRESS)
    assert "(4 of 5 presses done, 2 closed)" in play.said


def test_again_says_that_the_probes_had_slipped() -> None:
    """Silent presses since the last closure do not count, which is said, and it begins with the next closure."""
    play = exercised(PRESS * 2 + SILENT + ":again OL*3 " + PRESS * 3)
    verdict = play.verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)
    assert "1 silent presses set aside" in verdict.reason


def test_a_high_contact_resistance_is_a_miss() -> None:
    """Closed, but far above `max`."""
    play = exercised(PRESS * 2 + "40.0*16 OL*4 " + PRESS * 2)
    assert "high contact resistance" in play.verdicts["S1"].reason
    assert play.verdicts["S1"].verdict is VerdictKind.FAIL


def test_cleaning_is_asked_for_after_misses_and_compared() -> None:
    """Before 3 of 5, after 5 of 5: Fisher's p = 0.222 (scipy), so better, not proved."""
    play = exercised(PRESS + SILENT + PRESS + SILENT + PRESS)
    assert play.prompts[-1] == "answer S1"
    play(":yes OL*3 " + PRESS * 5)
    verdict = play.verdicts["S1"]
    p = pytest.importorskip("scipy.stats").fisher_exact([[3, 2], [5, 0]], alternative="less").pvalue
    assert f"p = {p:.3g}" in verdict.reason
    assert "better, not proved" in verdict.reason
    assert verdict.verdict is VerdictKind.PASS
    assert [v.k for v in play.of(type(verdict))] == [3, 5]
    assert "as found 2 of 5 missed" in verdict.reason


def test_cleaning_goes_on_until_it_is_clean_or_given_up() -> None:
    """Every round is kept, the first as found; what changed is against that, and each further try has to show more."""
    play = exercised(":missed=3 " + PRESS * 2)
    for missed in (2, 1):
        assert play.prompts[-1] == "answer S1"
        play(f":yes OL*3 :missed={missed} " + PRESS * (5 - missed))
    assert "S1 failed in round 3: clean it" in play.said
    assert "as found 3 of 5 missed, in round 2 2 of 5" in play.verdicts["S1"].reason
    play(":yes OL*3 " + PRESS * 5)
    verdict = play.verdicts["S1"]
    assert [v.k for v in play.of(type(verdict))] == [2, 3, 4, 5]
    assert verdict.verdict is VerdictKind.PASS
    assert "as found 3 of 5 missed, in round 2 2 of 5, in round 3 1 of 5" in verdict.reason
    assert play.session.bench.before["cover", "S1"] == {"k": 2, "runs": 5, "rounds": [[2, 5], [3, 5], [4, 5], [5, 5]]}


def test_a_third_cleaning_has_to_show_more_than_the_first() -> None:
    """4 of 8 as found, then 8 of 8: p = 0.0385 (scipy) is less than 5 % and more than the 1.25 % of a third try."""
    first = exercised(":missed=4 " + PRESS * 4 + ":yes OL*3 " + PRESS * 8, presses=8)
    assert "changed (p = 0.0385)" in first.verdicts["S1"].reason
    again = ":yes OL*3 :missed=1 " + PRESS * 7
    third = exercised(":missed=4 " + PRESS * 4 + again * 2 + ":yes OL*3 " + PRESS * 8, presses=8)
    assert "better, not proved (p = 0.0385)" in third.verdicts["S1"].reason


def test_a_later_session_holds_its_rounds_against_as_found() -> None:
    """--after: two of five missed last week; what is found today is a further round."""
    inherited = {"how": "after", "session": "s0", "before": {"cover/S1": {"k": 3, "runs": 5}}}
    play = Play(switch(), rate=5.0, inherited=inherited)("OL*3 " + PRESS * 5)
    assert "as found 2 of 5 missed" in play.verdicts["S1"].reason


def test_no_to_cleaning_leaves_the_verdict() -> None:
    """The step ends with what was found."""
    play = exercised(PRESS + SILENT + PRESS * 3 + ":no")
    assert play.session.finished
    assert play.verdicts["S1"].verdict is VerdictKind.FAIL


def test_a_normally_closed_switch_opens_when_pressed() -> None:
    """Closed at rest, open while pressed, closed again: the closure after the release counts."""
    play = Play(switch(form="nc"), rate=5.0)("0.3*3 " + "OL*3 0.3*3 " * 5)
    verdict = play.verdicts["S1"]
    assert play.prompts[:3] == ["probe S1", "press S1", "release S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)


def test_a_normally_closed_switch_that_does_not_open_is_counted_once() -> None:
    """The press failed; its closing again adds nothing."""
    play = Play(switch(form="nc"), rate=5.0)("0.3*3 " + "OL*3 0.3*3 " * 2 + "0.3*22 " + "OL*3 0.3*3 " * 2)
    verdict = play.verdicts["S1"]
    assert (verdict.k, verdict.runs) == (4, 5)
    assert "did not open" in verdict.reason


def test_a_dropout_while_held_is_seen() -> None:
    """Open for a conversion, then closed again before the release was asked for."""
    play = exercised("0.3*3 OL*3 0.3 OL 0.3*2 OL*3 " + PRESS * 3)
    assert "dropouts while held" in play.verdicts["S1"].reason
    assert (play.verdicts["S1"].verdict, play.verdicts["S1"].k) == (VerdictKind.FAIL, 5)
    assert "clean it" in play.said


def test_the_next_step_needs_a_certain_lift() -> None:
    """The tips were on the switch: what they touch next may still be it."""
    from tests.steps.bench_play import fuses

    play = Play(switch(presses=1), fuses(1), rate=5.0)("OL*3 0.3*3 OL*3 0.2*8")
    assert "F1" not in play.verdicts
    play("OL*6 0.2*3")
    assert play.verdicts["F1"].verdict is VerdictKind.PASS


def test_a_count_coarser_than_the_limit_says_nothing() -> None:
    """0.00 MΩ on the way down is neither closed nor open, and a fixed range is asked for once."""
    play = Play(switch(presses=2), rate=5.0, auto=True)("OL*3 0.00M*5")
    assert play.machine._presses.counted == (0, 0)
    assert play.prompts == ["probe S1", "dial None"]
    play("0.3*3 OL*3 0.3*3 OL*3")
    assert play.verdicts["S1"].k == 2


def test_fail_before_the_first_closure_counts_a_miss_that_was_felt() -> None:
    """What the meter cannot tell from open air, the operator can."""
    play = exercised(":fail OL*3 " + PRESS * 4)
    assert (play.verdicts["S1"].k, play.verdicts["S1"].runs) == (4, 5)


def test_skip_step_takes_no_failure_back() -> None:
    """A switch that failed stays failed where cleaning is asked about; cleaned and not exercised again it is unsure."""
    failed = PRESS * 2 + SILENT + PRESS * 2
    assert exercised(failed + ":skip_step").verdicts["S1"].verdict is VerdictKind.FAIL
    assert exercised(failed + ":yes :skip_step").verdicts["S1"].verdict is VerdictKind.UNSURE


def closures(*ohms: float) -> str:
    """Return a press for each contact resistance, long enough for conversions that no edge fell into."""
    return "".join(f"{ohm:.1f}*5 OL*3 " for ohm in ohms)


def test_a_contact_that_gets_worse_with_use_is_said_with_its_p() -> None:
    """Six values, each above the one before: 2 of 6! orders are so extreme, p = 2/720 (Kendall 1948; by hand)."""
    rising = exercised(closures(0.1, 0.2, 0.3, 0.4, 0.5, 0.6), presses=6).verdicts["S1"]
    assert "contact resistance rising with use (p = 0.00278)" in rising.reason
    falling = exercised(closures(0.6, 0.5, 0.4, 0.3, 0.2, 0.1), presses=6).verdicts["S1"]
    assert "contact resistance falling with use (p = 0.00278)" in falling.reason


@pytest.mark.parametrize("ohms", [(0.1, 0.2, 0.3, 0.4), (0.3,) * 6, (0.1, 0.3, 0.2, 0.2, 0.3, 0.1)])
def test_what_may_be_chance_is_no_trend_of_the_contact(ohms: tuple[float, ...]) -> None:
    """Four in a row come by chance in 2 of 24 (p = 0.083); equal ones, and ups and downs, show none."""
    verdict = exercised(closures(*ohms), presses=len(ohms)).verdicts["S1"]
    assert "with use" not in verdict.reason


def test_the_trend_of_the_contact_is_of_this_round() -> None:
    """What it read before cleaning is no part of it: 0.1 before and 0.6 after would rise with p = 2/126 (by hand)."""
    first = closures(0.1, 0.1, 0.1) + SILENT + closures(0.1)
    play = exercised(first + ":yes OL*3 " + closures(*(0.6,) * 5), presses=5)
    assert play.verdicts["S1"].verdict is VerdictKind.PASS
    assert "with use" not in play.verdicts["S1"].reason


def test_missed_is_answered_with_what_is_counted_by_then() -> None:
    """One press closed, two more did not: 3 of 5 done, 1 closed; said at once, before the next press."""
    play = exercised(PRESS + ":missed=2 ")
    assert play.notes[-1] == "2 missed by the operator's word; cover: S1, 3 of 5 presses done, 1 closed"
