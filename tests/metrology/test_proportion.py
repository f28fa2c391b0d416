"""Intervals and tests of proportions against NIST, Newcombe, Fisher, scipy and statsmodels."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from fractions import Fraction
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from metercap.errors import MetercapError
from metercap.metrology.proportion import (
    Interval,
    attempt_confidence,
    clopper_pearson,
    fisher_exact,
    history_confidence,
    passes_to_show_change,
    success_run,
    wilson,
)
from tests.effort import examples

small = st.integers(0, 12)


def test_nist_7_2_4_2() -> None:
    """NIST/SEMATECH e-Handbook 7.2.4.2: 4 defective of 20, exact 90 % interval 0.071354…0.401029."""
    interval = clopper_pearson(4, 20, 0.90)
    assert (interval.low, interval.high) == pytest.approx((0.071354, 0.401029), abs=1e-5)


def test_nist_7_2_4_1() -> None:
    """NIST/SEMATECH e-Handbook 7.2.4.1, its formula on the same 4 of 20 at 90 %: 0.0931…0.3784."""
    interval = wilson(4, 20, 0.90)
    assert (interval.low, interval.high) == pytest.approx((0.0931, 0.3784), abs=5e-5)


@pytest.mark.parametrize(
    ("k", "n", "score", "exact"),
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_newcombe_table_1(k: int, n: int, score: tuple[float, float], exact: tuple[float, float]) -> None:
    """Newcombe, Stat. Med. 17 (1998) 857, Table I: Wilson's score and Clopper–Pearson intervals at 95 %."""
    got_score, got_exact = wilson(k, n), clopper_pearson(k, n)
    assert (got_score.low, got_score.high) == pytest.approx(score, abs=5.1e-5)
    assert (got_exact.low, got_exact.high) == pytest.approx(exact, abs=5.1e-5)


def test_agreement_with_statsmodels() -> None:
    """statsmodels.proportion_confint, 'beta' and 'wilson', to the six digits that are kept."""
    rng = random.Random(17)
    for _ in range(300):
        n = rng.randint(1, 3000)
        k = rng.randint(0, n)
        confidence = rng.choice([0.8, 0.9, 0.95, 0.99, 0.999])
        for ours, method in ((clopper_pearson, "beta"), (wilson, "wilson")):
            interval = ours(k, n, confidence)
            low, high = proportion_confint(k, n, alpha=1 - confidence, method=method)
            assert interval.low == pytest.approx(low, rel=6e-6, abs=1e-12)
            assert interval.high == pytest.approx(high, rel=6e-6, abs=1e-12)


@settings(max_examples=examples(40))
@given(st.integers(1, 60), st.data(), st.sampled_from([0.8, 0.9, 0.95]))
def test_exact_interval_covers(n: int, data: st.DataObject, confidence: float) -> None:
    """Counted over every outcome, the Clopper–Pearson interval holds the true rate at least as often as it says."""
    p = data.draw(st.floats(0.001, 0.999))
    covered = math.fsum(
        math.comb(n, k) * p**k * (1 - p) ** (n - k)
        for k in range(n + 1)
        if clopper_pearson(k, n, confidence).low <= p <= clopper_pearson(k, n, confidence).high
    )
    assert covered >= confidence - 1e-4  # the limits are rounded to six digits


@given(st.integers(0, 100), st.integers(0, 100))
def test_intervals_mirror(k: int, misses: int) -> None:
    """Counting misses instead of hits mirrors every interval."""
    n = k + misses
    for ours in (clopper_pearson, wilson):
        hit, miss = ours(k, n), ours(misses, n)
        assert (hit.low, hit.high) == pytest.approx((1 - miss.high, 1 - miss.low), abs=2e-6)
        assert 0.0 <= hit.low <= hit.high <= 1.0


@pytest.mark.parametrize(
    ("confidence", "runs"),
    [
        (0.90, {0.80: 11, 0.90: 22, 0.95: 45, 0.99: 230}),
        (0.95, {0.80: 14, 0.90: 29, 0.95: 59, 0.99: 299, 0.999: 2995}),
    ],
)
def test_success_run(confidence: float, runs: dict[float, int]) -> None:
    """n = ⌈ln(1 − C)/ln R⌉, from tables of zero-failure tests; 99 % at 95 % is 299, not the 298 of some tables."""
    assert {reliability: success_run(reliability, confidence) for reliability in runs} == runs


@given(st.integers(1, 99), st.integers(1, 99))
def test_success_run_is_the_least(reliability: int, confidence: int) -> None:
    """In whole numbers: Rⁿ ≤ 1 − C at n, and not yet at n − 1."""
    n = success_run(reliability / 100, confidence / 100)
    r, risk = Fraction(reliability, 100), 1 - Fraction(confidence, 100)
    assert r**n <= risk
    assert n == 1 or r ** (n - 1) > risk


def test_success_run_meets_a_whole_number() -> None:
    """Where Rⁿ is 1 − C itself, n passes are enough; the quotient of two floats' logarithms ends a last bit above n."""
    for reliability, confidence, n in ((0.1, 0.9, 1), (0.1, 0.99, 2), (0.8, 0.36, 2), (0.9, 0.271, 3), (0.5, 0.5, 1)):
        assert success_run(reliability, confidence) == n
    assert math.ceil(math.log(1 - 0.271) / math.log(0.9)) == 4


@pytest.mark.parametrize(
    ("table", "alternative", "p"),
    [
        (((4, 0), (0, 4)), "greater", 1 / 70),
        (((3, 1), (1, 3)), "greater", 17 / 70),
        (((3, 1), (1, 3)), "two-sided", 34 / 70),
        (((2, 10), (15, 3)), "less", 0.0004652),
        (((2, 10), (15, 3)), "two-sided", 0.0005367),
    ],
    ids=["tea, all right", "tea, three right", "tea, two-sided", "convictions, less", "convictions, two-sided"],
)
def test_fisher_examples(
    table: tuple[tuple[int, int], tuple[int, int]], alternative: Literal["two-sided", "less", "greater"], p: float
) -> None:
    """Fisher, The Design of Experiments: tea tasting; and the convictions of twins (both in R's documentation)."""
    assert fisher_exact(table, alternative) == pytest.approx(p, rel=1e-4, abs=0.0)


@given(small, small, small, small)
def test_fisher_agrees_with_scipy(a: int, b: int, c: int, d: int) -> None:
    """scipy.stats.fisher_exact, all three alternatives."""
    for alternative in ("two-sided", "less", "greater"):
        expected = stats.fisher_exact([[a, b], [c, d]], alternative=alternative).pvalue
        got = fisher_exact(((a, b), (c, d)), alternative)
        assert got == pytest.approx(expected, rel=1e-9, abs=0.0)


def test_changed_after_eight_passes() -> None:
    """8 failures in 20 starts before: Fisher's one-sided p is 0.057 after 7 passes and 0.041 after 8: 8 are needed."""
    assert passes_to_show_change(8, 20) == 8
    assert stats.fisher_exact([[8, 12], [0, 7]], alternative="greater").pvalue > 0.05
    assert stats.fisher_exact([[8, 12], [0, 8]], alternative="greater").pvalue <= 0.05
    assert success_run(0.90, 0.95) == 29


@given(st.integers(1, 25), st.integers(0, 25), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_passes_are_the_least(failures: int, passes: int, confidence: float) -> None:
    """One pass fewer would not show a change, by the general test."""
    runs = failures + passes
    m = passes_to_show_change(failures, runs, confidence)
    assert m is not None
    risk = 1 - Fraction(str(confidence))
    assert Fraction(fisher_exact(((failures, passes), (0, m)), "greater")) <= risk + Fraction(1, 10**15)
    if m > 1:
        assert fisher_exact(((failures, passes), (0, m - 1)), "greater") > float(risk) * (1 - 1e-12)


@pytest.mark.parametrize("attempts", [1, 2, 4])
def test_what_a_history_proves_is_how_often_luck_fails_it(attempts: int) -> None:
    """Units that start with 0.9 exactly, mended in vain: so often, and no more, does an attempt succeed by chance.

    Counted with starts drawn one by one, which knows nothing of the formula (Šidák 1967, from memory).
    """
    draw = random.Random(29)
    needed = [success_run(0.9, attempt_confidence(0.95, m)) for m in range(1, attempts + 1)]
    histories = 4000
    lucky = sum(any(all(draw.random() < 0.9 for _ in range(n)) for n in needed) for _ in range(histories))
    risk = 1.0 - history_confidence(0.9, needed)
    assert lucky / histories == pytest.approx(risk, abs=4.0 * math.sqrt(risk / histories))
    assert risk < 0.10


def test_further_attempts_spend_half_the_risk_of_the_one_before() -> None:
    """95 %, 97.5 %, 98.75 %, …; by hand 29, 36, 42, 49 passes at 0.9, since a halving takes ln 2 / ln(1/0.9) = 6.58."""
    assert [attempt_confidence(0.95, m) for m in (1, 2, 3)] == pytest.approx([0.95, 0.975, 0.9875], rel=1e-12)
    assert [success_run(0.9, attempt_confidence(0.95, m)) for m in (1, 2, 3, 4)] == [29, 36, 42, 49]
    assert history_confidence(0.9, [29]) == pytest.approx(1 - 0.9**29, rel=1e-5)
    assert history_confidence(0.9, []) == 1.0


def test_no_failure_before_proves_nothing_after() -> None:
    """A fault never seen cannot be shown to be gone."""
    assert passes_to_show_change(0, 20) is None
    assert passes_to_show_change(1, 20) == 380
    assert passes_to_show_change(20, 20) == 1


def test_nothing_tried() -> None:
    """0 of 0 says nothing at all."""
    assert clopper_pearson(0, 0) == wilson(0, 0) == Interval(0.0, 1.0)
    assert fisher_exact(((0, 0), (0, 0))) == 1.0


@pytest.mark.parametrize(
    "refused",
    [
        lambda: clopper_pearson(5, 4),
        lambda: clopper_pearson(-1, 4),
        lambda: wilson(1, 4, 1.0),
        lambda: success_run(1.0, 0.95),
        lambda: success_run(0.9, 0.0),
        lambda: fisher_exact(((1, -1), (1, 1))),
        lambda: fisher_exact(((1, 1), (1, 1)), "other"),  # type: ignore[arg-type]
        lambda: passes_to_show_change(3, 2),
        lambda: attempt_confidence(0.95, 0),
        lambda: history_confidence(0.9, [0]),
    ],
)
def test_refusals(refused: Callable[[], object]) -> None:
    """Counts that cannot be and confidences that are none are errors."""
    with pytest.raises(MetercapError):
        refused()
