"""trials: what repeated starts prove, and what they do not."""

from __future__ import annotations

import pytest

from metercap.plankeys import TrialsStep
from metercap.records import Operator, VerdictKind, at
from metercap.session.inherit import inherited_from
from tests.steps.bench_play import Play


def trials(**more: object) -> TrialsStep:
    """Return a trials step of 20 runs before a fix."""
    return TrialsStep(**({"id": "starts"} | more))  # type: ignore[arg-type]


def after_a_fix(passes: int) -> Play:
    """Return a play with 8 failures in 20 before a fix, and so many passes after it."""
    return Play(trials())(":fail " * 8 + ":pass " * 12 + ":fixed=new_connector " + ":pass " * passes)


def test_failures_before_a_fix_are_the_verdict_until_there_is_one() -> None:
    """8 of 20 failed: fail, with the exact interval of the passes."""
    play = Play(trials())(":fail " * 8 + ":pass " * 12)
    verdict = play.verdicts["starts"]
    assert (verdict.verdict, verdict.k, verdict.runs) == (VerdictKind.FAIL, 12, 20)
    assert not play.session.finished
    assert play.prompts[-1] == "confirm starts"
    assert "8 of 20 starts failed: mend it, then say fixed" in play.said


@pytest.mark.parametrize(
    ("passes", "says"),
    [(1, "no proof yet: 1 passed"), (7, "1 more for changed, 22 more in a row"), (8, "better, not proved: 8 passed")],
)
def test_changed_needs_eight_passes_in_a_row(passes: int, says: str) -> None:
    """Fisher's one-sided p for 8/20 against 0/m: 7 passes give 0.0567, 8 give 0.0405 (scipy)."""
    stats = pytest.importorskip("scipy.stats")
    play = after_a_fix(passes)
    assert says in play.said
    p = stats.fisher_exact([[12, 8], [passes, 0]], alternative="less").pvalue
    assert bool(p <= 0.05) is says.startswith("better")


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
    """And going on needs a new fix, against which all earlier runs count as before."""
    play = after_a_fix(5)(":fail")
    verdict = play.verdicts["starts"]
    assert verdict.verdict is VerdictKind.FAIL
    assert verdict.reason.startswith("not fixed: failed at run 6 after the fix")
    for word in (":pass", ":yes", ":fail"):
        play(word)
        assert "means nothing here" in play.notes[-1]
    play(":fixed=resoldered_J2 " + ":pass " * 36)
    assert play.verdicts["starts"].verdict is VerdictKind.PASS
    assert "9 of 26 failed" in play.verdicts["starts"].reason


def test_a_remark_is_no_fix() -> None:
    """Only `fixed` is: a note at the bench says what was seen, and the runs go on as they were."""
    play = Play(trials())(":fail " * 8 + ":pass " * 12 + ":note=smells_of_flux")
    assert play.prompts[-1] == "confirm starts"
    play(":pass")
    assert "means nothing here" in play.notes[-1]
    running = Play(trials())(":fail " * 8 + ":note=smells_of_flux " + ":pass " * 12)
    assert (running.verdicts["starts"].k, running.verdicts["starts"].runs) == (12, 20)
    assert running.verdicts["starts"].verdict is VerdictKind.FAIL


def test_a_fix_without_a_failure_is_nothing_to_hold_it_against() -> None:
    """It is said, and the runs go on as those before a fix."""
    play = Play(trials())(":pass " * 3 + ":fixed=new_relay")
    assert "nothing to hold a fix against" in play.notes[-1]
    play(":fail")
    assert play.said.startswith("run 5 of 20: 1 failed so far")


@pytest.mark.parametrize(
    ("attempts", "needed", "percent"),
    # R = 0.9: least n with 0.9^n ≤ 0.05/2^(m−1): ln(0.05)/ln(0.9) = 28.4, each halving adds 6.58; and
    # (1 − 0.9^29)(1 − 0.9^36)(1 − 0.9^42) by hand: 0.9529 · 0.97747 · 0.98803
    [(2, 36, "93.1"), (3, 42, "92")],
)
def test_every_attempt_is_counted_in_what_is_claimed(attempts: int, needed: int, percent: str) -> None:
    """Each further attempt needs more passes, and the confidence said is that of all attempts together."""
    play = after_a_fix(1)
    for attempt in range(1, attempts):
        play(f":fail :fixed=try_{attempt + 1} :pass")
    play(":pass " * (needed - 2))
    assert not play.session.finished
    assert "1 more in a row for reliable" in play.said
    play(":pass")
    verdict = play.verdicts["starts"]
    assert (verdict.verdict, verdict.k) == (VerdictKind.PASS, needed)
    assert f"0.9 at {percent} %, all {attempts} attempts counted" in verdict.reason


def test_a_fix_given_up_half_way_is_an_attempt_too() -> None:
    """Something else was mended before the run was over: what passed so far belongs to the state before."""
    play = after_a_fix(5)(":fixed=new_relay " + ":pass " * 29)
    assert not play.session.finished
    play(":pass " * 7)
    assert "8 of 25 failed" in play.verdicts["starts"].reason
    assert "all 2 attempts counted" in play.verdicts["starts"].reason


def test_a_later_session_goes_on_with_the_attempts() -> None:
    """What was tried, and the passes of a run that was left, are handed on with the fix."""
    left = after_a_fix(1)(":fail :fixed=new_relay " + ":pass " * 30)
    handed = {"starts/starts": left.session.bench.before["starts", "starts"]}
    play = Play(trials(), inherited={"how": "after", "session": "s0", "before": handed})(":pass " * 5)
    assert "1 more in a row for reliable" in play.said
    assert "all 2 attempts counted" in play(":pass").verdicts["starts"].reason


def test_a_unit_that_never_failed_is_reliable_or_unsure() -> None:
    """20 passes of 20 are no 0.90 at 95 %; 29 are."""
    assert Play(trials())(":pass " * 20).verdicts["starts"].verdict is VerdictKind.UNSURE
    assert Play(trials(runs=29))(":pass " * 29).verdicts["starts"].verdict is VerdictKind.PASS


def test_the_cold_time_is_waited_for() -> None:
    """A wait prompt after each start, until off_s is over."""
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
    """--after: eight of twenty failed last week. What was mended since has to be said, then runs are after the fix."""
    earlier = {"how": "after", "session": "s0", "before": {"starts/starts": {"k": 12, "runs": 20}}}
    play = Play(trials(), inherited=earlier)
    assert play.prompts == ["confirm starts"]
    play(":pass")
    assert "means nothing here" in play.notes[-1]
    play(":fixed=new_relay " + ":pass " * 29)
    assert "before the fix 8 of 20 failed" in play.verdicts["starts"].reason


@pytest.mark.parametrize("answer", ["no", "skip"])
def test_a_failure_stands_though_the_program_was_ended_while_it_asked_for_the_fix(answer: str) -> None:
    """Its question comes again, and whatever is said to it, three of twenty failed: the verdict was lost once."""
    first = Play(TrialsStep(id="starts", runs=20))(":fail " * 3 + ":pass " * 17)
    assert first.verdicts["starts"].verdict is VerdictKind.FAIL
    given = inherited_from(first.session.bench, "continue", first.record.id).as_builtins()
    again = Play(TrialsStep(id="starts", runs=20), inherited=given)(f":{answer}")
    assert again.session.finished
    stands = again.verdicts["starts"]
    assert (stands.verdict, stands.k, stands.runs) == (VerdictKind.FAIL, 17, 20)


def test_runs_that_an_interrupted_session_left_go_on() -> None:
    """--continue: seven of twenty were run, two failed; the eighth comes next."""
    earlier = {"how": "continue", "session": "s0", "before": {"starts/starts": {"k": 5, "runs": 7, "fix": ""}}}
    assert Play(trials(), inherited=earlier).said.startswith("run 8 of 20: 2 failed so far")


def said_by(play: Play, word: str, source: str, after_s: float) -> Play:
    """Return the play after a word of a key, a pedal or a line, so long after what came last."""
    play.t_s += after_s
    play.feed(Operator(at(play.t_s), word, "", source))
    return play


@pytest.mark.parametrize("word", ["pass", "fail"])
def test_a_start_that_has_not_happened_is_not_counted(word: str) -> None:
    """The unit is off and cools for 30 s: 29 times `pass` in 12 s made "reliable" of a single start."""
    play = Play(trials(runs=29, off_s=30.0))(":pass")
    for _ in range(28):
        play(f"+0.4 :{word}")
    assert not play.verdicts
    assert play.notes[-1] == "not started yet: 18.8 s to go"
    assert play.prompts[-1] == "wait starts"
    play("+18.9")
    assert play.said == "run 2 of 29: 0 failed so far; start it, cover closed; pass or fail?"


def test_the_cold_time_is_not_cut_short_by_a_word() -> None:
    """A start of a unit that is still warm is not the start that the plan asks for."""
    play = Play(trials(off_s=5.0))(":pass +2 :yes")
    assert play.prompts[-1] == "wait starts"
    assert play.notes[-1] == "not started yet: 3.0 s to go"
    assert play("+3.1").prompts[-1] == "answer starts"


def test_yes_and_no_say_neither_pass_nor_fail() -> None:
    """To "pass or fail?" they are no answer: "yes" may mean that it was started, "no" that it has not been yet."""
    play = Play(trials())(":yes :no")
    assert play.notes[-1] == "say pass or fail: yes and no count nothing here"
    assert play.said.startswith("run 1 of 20: 0 failed so far")


@pytest.mark.parametrize(("source", "after_s", "runs"), [("pedal", 0.6, 2), ("key", 0.6, 2), ("pedal", 1.1, 3)])
def test_a_pedal_pressed_twice_counts_once(source: str, after_s: float, runs: int) -> None:
    """No unit is switched off, started and seen to work in a second."""
    play = Play(trials())
    said_by(play, "pass", source, 5.0)
    said_by(play, "pass", source, after_s)
    assert play.said.startswith(f"run {runs} of 20")


def test_lines_are_taken_as_they_come() -> None:
    """A script, or a list read out afterwards, has its own time."""
    play = Play(trials())
    said_by(said_by(play, "pass", "line", 5.0), "pass", "line", 0.1)
    assert play.said.startswith("run 3 of 20")
