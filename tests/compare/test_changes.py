"""What became of one unit: counts with Fisher's test, trimmers as found and as left."""

from __future__ import annotations

import msgspec
import pytest
from scipy import stats

from metercap.compare.changes import adjusted, counted
from metercap.plankeys import ExerciseStep, Item, TrialsStep, TuneStep
from tests.compare.two_units import GAP, reads, session

TRIALS = TrialsStep(id="starts", runs=20)
FAILED = ":pass " * 12 + ":fail " * 8
LATER = {"start_utc": "2026-03-02T09:00:00Z", "id": "later"}


def test_before_and_after_a_fix_in_one_session() -> None:
    """12 of 20 before and 29 of 29 after: Fisher's p as scipy has it, and Clopper and Pearson's interval."""
    row = next(counted([session("B", FAILED + ":fixed=new_relay " + ":pass " * 29, TRIALS)]))
    assert (row.before_k, row.before_runs, row.k, row.runs) == (12, 20, 29, 29)
    assert row.p == pytest.approx(stats.fisher_exact([[12, 8], [29, 0]], "less").pvalue, rel=1e-5)
    interval = stats.binomtest(29, 29).proportion_ci(0.95, "exact")
    assert (row.low, row.high) == pytest.approx((interval.low, interval.high), abs=1e-6)
    assert row.changed


def test_before_alone() -> None:
    """Without a fix there is nothing to compare with, and nothing is claimed."""
    row = next(counted([session("B", FAILED + ":no", TRIALS)]))
    assert (row.before_k, row.before_runs, row.k, row.runs, row.p, row.changed) == (None, None, 12, 20, None, None)


def test_before_and_after_in_two_sessions() -> None:
    """The last count of the earlier session is before; order is that of time. 8 passes show a change (CHECK of 5 %)."""
    before = session("B", FAILED + ":no", TRIALS)
    seven, eight = (session("B", ":pass " * n + ":skip", TRIALS, **LATER) for n in (7, 8))
    few, enough = next(counted([before, seven])), next(counted([before, eight]))
    assert (few.before_k, few.before_runs, few.k, few.runs) == (12, 20, 7, 7)
    # Fisher's one-sided p of 8 failures in 20 and none in n, by scipy, crosses 0.05 from 7 to 8
    assert few.p == pytest.approx(stats.fisher_exact([[12, 8], [7, 0]], "less").pvalue, rel=1e-5)
    assert (few.changed, enough.changed) == (False, True)


def test_a_session_that_took_over_knows_its_before() -> None:
    """A session that took up the unit after another has the counts before the fix with it."""
    inherited = {"how": "after", "session": "s0", "before": {"starts/starts": {"k": 12, "runs": 20}}}
    row = next(counted([session("B", ":fixed=new_relay " + ":pass " * 8 + ":skip", TRIALS, inherited=inherited)]))
    assert (row.before_k, row.before_runs, row.k, row.runs) == (12, 20, 8, 8)


def test_counts_taken_over_stand_even_where_the_new_ones_are_the_same() -> None:
    """Four of five as found last week and four of five now: both are said, and nothing has changed."""
    inherited = {"how": "after", "session": "s0", "before": {"cover/S1": {"k": 4, "runs": 5}}}
    switch = ExerciseStep(id="cover", items=(Item("S1"),), presses=5)
    presses = GAP + "0.3*4 OL*4 " * 2 + ":missed=1 " + "0.3*4 OL*4 " * 2 + ":no"
    row = next(counted([session("B", presses, switch, inherited=inherited)]))
    assert (row.before_k, row.before_runs, row.k, row.runs, row.changed) == (4, 5, 4, 5, False)


def test_a_later_fix_has_to_show_more_here_too() -> None:
    """4 of 8 before, then 8 of 8: p = 0.0385 (scipy) is a change after one fix; not where six fixes were tried."""
    kept = {"k": 4, "runs": 8, "fix": "new relay", "after": 0}
    for tries, changed in (([], True), ([29] * 5, False)):
        inherited = {"how": "after", "session": "s0", "before": {"starts/starts": {**kept, "tries": tries}}}
        row = next(counted([session("B", ":pass " * 8 + ":skip", TRIALS, inherited=inherited)]))
        assert row.p == pytest.approx(stats.fisher_exact([[4, 4], [8, 0]], "less").pvalue, rel=1e-5)
        assert row.changed is changed


def test_starts_that_go_on_have_nothing_before_them() -> None:
    """An interrupted session left 7 of 20 starts, two of them failed: they are part of the twenty, not before them."""
    kept = {"starts/starts": {"k": 5, "runs": 7, "fix": "", "after": 0, "tries": []}}
    inherited = {"how": "continue", "session": "s0", "before": kept}
    row = next(counted([session("B", ":pass " * 13 + ":no", TRIALS, inherited=inherited)]))
    assert (row.before_k, row.k, row.runs) == (None, 18, 20)


def test_presses_that_go_on_have_nothing_before_them() -> None:
    """An interrupted session left three presses, one missed: they are the first of the five, and as found is one count.

    Taken up by a third session, the failed round is told again: it is still the only one.
    """
    left = {"cover/S1": {"open": [[True, ""], [False, "silent"], [True, ""]], "aside": 0, "dropouts": 0}}
    inherited = {"how": "continue", "session": "s0", "before": left}
    switch = ExerciseStep(id="cover", items=(Item("S1"),), presses=5)
    first = session("B", GAP + "0.3*4 OL*4 " * 2, switch, inherited=inherited)
    row = next(counted([first]))
    assert (row.before_k, row.k, row.runs) == (None, 4, 5)
    asked = {"cover/S1": {"k": 4, "runs": 5, "rounds": [[4, 5]], "asks": "clean"}}
    told = [msgspec.structs.replace(one, t_s=0.0) for one in first.counted["cover", "S1"]]
    inherited = {"how": "continue", "session": "s1", "before": asked, "verdicts": msgspec.to_builtins(told)}
    row = next(counted([first, session("B", ":no", switch, inherited=inherited, **LATER)]))
    assert (row.before_k, row.k, row.runs) == (None, 4, 5)


def test_a_fix_that_failed_counts_as_before_the_next() -> None:
    """Runs after a fix that failed are runs before the next fix."""
    script = FAILED + ":fixed=cleaned :pass :fail :fixed=new_relay " + ":pass " * 36
    row = next(counted([session("B", script, TRIALS)]))
    assert (row.before_k, row.before_runs, row.k, row.runs) == (13, 22, 36, 36)


def test_trimmer_as_found_and_as_left() -> None:
    """As found stays what it was; as left, target and band are the verdict's own."""
    step = TuneStep(id="bridge", items=(Item("RV1"),), target=1500.0, tolerance=75.0, unit="ohm", rest_s=1.0)
    turning = " ".join(f"{ohm}" for ohm in range(1700, 1500, -20))
    row = next(adjusted(session("B", f"OL*6 1700*6 {turning} 1510*20 OL*6", step), "b"))
    assert (row.item, row.as_found, row.as_left, row.target, row.tolerance) == ("RV1", 1700.0, 1510.0, 1500.0, 75.0)
    assert (row.verdict, row.excursions, row.unit, row.file) == ("pass", 0, "ohm", "b")


def test_nothing_turned_gives_no_line() -> None:
    """Sessions without a trimmer or a count have nothing to tell here."""
    plain = session("B", reads("160.4", "161.0"))
    assert list(adjusted(plain, "b")) == []
    assert list(counted([plain])) == []
