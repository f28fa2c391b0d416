"""exercise: closures counted, silent presses never guessed, before and after cleaning."""

from __future__ import annotations

from typing import Any

import pytest
from bench_play import Play

from metercap.records import VerdictKind
from metercap.steps import ExerciseStep, Item

PRESS = "0.3*3 OL*3 "
"""A good press of a normally open switch, and its release, at 5 conversions/s."""
SILENT = "OL*12 "
"""A press that shows nothing, and its release: each phase lasts 4 T + 1 s = 1.8 s, then 3 conversions open."""


def switch(**more: Any) -> ExerciseStep:
    """Return an exercise of S1 with five presses."""
    return ExerciseStep(**({"id": "cover", "items": (Item("S1"),), "presses": 5} | more))


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
    """Nothing closed after them, so the tips may have slipped: unsure, unless the operator says fail."""
    play = exercised(PRESS * 4 + SILENT)
    verdict = play.verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.UNSURE, 4, 4)
    assert "not counted" in verdict.reason


def test_fail_decides_a_silent_press() -> None:
    """The operator felt it."""
    play = exercised(PRESS * 3 + "OL*10 :fail OL*3 " + PRESS)
    verdict = play.verdicts["S1"]
    assert (verdict.k, verdict.runs) == (4, 5)
    assert "by the operator's word" in verdict.reason


def test_again_says_that_the_probes_had_slipped() -> None:
    """Silent presses since the last closure are forgotten, and it begins with the next closure."""
    play = exercised(PRESS * 2 + SILENT + ":again OL*3 " + PRESS * 3)
    verdict = play.verdicts["S1"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 5, 5)


def test_a_high_contact_resistance_is_a_miss() -> None:
    """Closed, but far above `max`."""
    play = exercised(PRESS * 2 + "40.0*10 OL*4 " + PRESS * 2)
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
    play = Play(switch(form="nc"), rate=5.0)("0.3*3 " + "OL*3 0.3*3 " * 2 + "0.3*14 " + "OL*3 0.3*3 " * 2)
    verdict = play.verdicts["S1"]
    assert (verdict.k, verdict.runs) == (4, 5)
    assert "did not open" in verdict.reason


def test_a_dropout_while_held_is_seen() -> None:
    """Open for a conversion, then closed again before the release was asked for."""
    play = exercised("0.3*3 OL*3 0.3 OL 0.3*2 OL*3 " + PRESS * 3)
    assert "dropouts while held" in play.verdicts["S1"].reason


def test_the_next_step_needs_a_certain_lift() -> None:
    """The tips were on the switch: what they touch next may still be it."""
    from bench_play import fuses

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
