"""trials: what repeated starts prove, and what they do not."""

from __future__ import annotations

import pytest
from bench_play import Play

from metercap.records import VerdictKind
from metercap.steps import TrialsStep


def trials(**more: object) -> TrialsStep:
    """Return a trials step of 20 runs before a fix."""
    return TrialsStep(**({"id": "starts"} | more))  # type: ignore[arg-type]


def after_a_fix(passes: int) -> Play:
    """Return a play with 8 failures in 20 before a fix, and so many passes after it."""
    return Play(trials())(":fail " * 8 + ":pass " * 12 + ":note=new_connector " + ":pass " * passes)


def test_failures_before_a_fix_are_the_verdict_until_one_is_noted() -> None:
    """8 of 20 failed: fail, with the exact interval of the passes."""
    play = Play(trials())(":fail " * 8 + ":pass " * 12)
    verdict = play.verdicts["starts"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.FAIL, 12, 20)
    assert not play.session.finished
    assert play.prompts[-1] == "confirm starts"


@pytest.mark.parametrize(("passes", "says"), [(1, "7 more for changed"), (7, "1 more for changed"), (8, "changed, 21")])
def test_changed_needs_eight_passes_in_a_row(passes: int, says: str) -> None:
    """Fisher's one-sided p for 8/20 against 0/m: 7 passes give 0.0567, 8 give 0.0405 (scipy)."""
    stats = pytest.importorskip("scipy.stats")
    play = after_a_fix(passes)
    assert says in play.said
    p = stats.fisher_exact([[12, 8], [passes, 0]], alternative="less").pvalue
    assert bool(p <= 0.05) is says.startswith("changed, ")


def test_one_pass_is_reported_as_no_proof() -> None:
    """Ending there leaves unsure."""
    play = after_a_fix(1)(":skip")
    verdict = play.verdicts["starts"]
    assert verdict.verdict is VerdictKind.UNSURE
    assert verdict.reason.startswith("no proof: 1 starts after the fix, 7 more for changed, 28 more for 0.9 at 95 %")


def test_changed_alone_is_better_not_proved() -> None:
    """8 passes: changed, but not reliable."""
    verdict = after_a_fix(8)(":skip").verdicts["starts"]
    assert verdict.verdict is VerdictKind.UNSURE
    assert "better, not proved: changed, but 21 more starts" in verdict.reason


def test_reliable_needs_twenty_nine_in_a_row() -> None:
    """Success run: n = ⌈ln 0.05 / ln 0.90⌉ = 29 (published table of success runs, C = 0.95, R = 0.90)."""
    assert not after_a_fix(28).session.finished
    play = after_a_fix(29)
    verdict = play.verdicts["starts"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.PASS, 29, 29)
    assert verdict.reason.startswith("changed and reliable")
    assert play.session.finished


def test_a_failure_after_the_fix_ends_the_run_as_not_fixed() -> None:
    """And going on needs a new fix noted, against which all earlier runs count as before."""
    play = after_a_fix(5)(":fail")
    verdict = play.verdicts["starts"]
    assert verdict.verdict is VerdictKind.FAIL
    assert verdict.reason.startswith("not fixed: failed at run 6 after the fix")
    play(":pass")
    assert "means nothing here" in play.notes[-1]
    play(":note=resoldered_J2 " + ":pass " * 29)
    assert play.verdicts["starts"].verdict is VerdictKind.PASS
    assert "9 of 26 failed" in play.verdicts["starts"].reason


def test_a_unit_that_never_failed_is_reliable_or_unsure() -> None:
    """20 passes of 20 are no 0.90 at 95 %; 29 are."""
    assert Play(trials())(":pass " * 20).verdicts["starts"].verdict is VerdictKind.UNSURE
    assert Play(trials(runs=29))(":pass " * 29).verdicts["starts"].verdict is VerdictKind.PASS


def test_the_cold_time_is_waited_for() -> None:
    """A wait prompt after each start, until off_s is over or the operator says yes."""
    play = Play(trials(off_s=5.0))(":pass")
    assert play.prompts[-1] == "wait starts"
    play("+4.9")
    assert play.prompts[-1] == "wait starts"
    play("+0.2")
    assert play.prompts[-1] == "answer starts"


def test_back_takes_a_start_back() -> None:
    """A pedal pressed twice is mended by `back`."""
    play = Play(trials(runs=3))(":fail :back :pass :pass :pass")
    assert play.verdicts["starts"].k == 3


def test_counts_before_a_fix_come_from_an_earlier_session() -> None:
    """--after: eight of twenty failed last week, so the runs now are runs after the fix."""
    earlier = {"how": "after", "session": "s0", "before": {"starts/starts": {"k": 12, "runs": 20}}}
    play = Play(trials(), inherited=earlier)(":pass " * 29)
    assert "before the fix 8 of 20 failed" in play.verdicts["starts"].reason
