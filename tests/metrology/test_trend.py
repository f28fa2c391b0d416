"""The trend test against brute force and scipy."""

from __future__ import annotations

import itertools
import math
import random

import pytest
import scipy.stats

from metercap.metrology.trend import trend


def permutation_p(values: list[float]) -> float:
    """Two-sided chance of so large an |S| over every order of the values."""

    def score(order: tuple[float, ...]) -> int:
        return sum((b > a) - (b < a) for a, b in itertools.combinations(order, 2))

    here = abs(score(tuple(values)))
    scores = [abs(score(order)) for order in itertools.permutations(values)]
    return sum(one >= here for one in scores) / len(scores)


@pytest.mark.parametrize(
    "values",
    [
        [3.0, 1.0, 2.0, 5.0, 4.0, 7.0],
        [0.0, 0.0, 1.0, 0.0, 1.0, 1.0, 1.0],
        [1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 4.0],
        [2.0, 1.0, 2.0, 3.0, 1.0],
        [1.0, 2.0, 3.0],
        [1.0, 0.0, 0.0],
    ],
)
def test_trend_counts_every_order(values: list[float]) -> None:
    """The exact p of the trend test is the share of all orders, counted one by one."""
    assert trend(values).p == pytest.approx(permutation_p(values), rel=1e-5, abs=0.0)


def test_trend_agrees_with_scipy() -> None:
    """scipy.stats.kendalltau (exact, no ties) and mannwhitneyu (exact) give the same p."""
    rng = random.Random(10)
    for _ in range(60):
        n = rng.randint(4, 30)
        values = [float(x) for x in rng.sample(range(1000), n)]
        expected = scipy.stats.kendalltau(range(n), values, method="exact").pvalue
        assert trend(values).p == pytest.approx(expected, rel=1e-5, abs=0.0)
        marks = [float(rng.random() < 0.4) for _ in range(n)]
        hits, misses = [i for i, m in enumerate(marks) if m], [i for i, m in enumerate(marks) if not m]
        if hits and misses:
            expected = scipy.stats.mannwhitneyu(hits, misses, method="exact").pvalue
            assert trend(marks).p == pytest.approx(expected, rel=1e-5, abs=0.0)


def test_trend_of_many_values_is_nearly_exact() -> None:
    """Past 60 values: the normal form by its formula, with scipy's S; scipy's own lacks the continuity term."""
    rng = random.Random(11)
    values = [rng.uniform(0, 20) + 0.05 * i for i in range(90)]
    got, n = trend(values), len(values)
    assert len(set(values)) == n
    variance = n * (n - 1) * (2 * n + 5) / 18
    plain = scipy.stats.kendalltau(range(n), values, method="asymptotic").pvalue
    assert 2 * scipy.stats.norm.sf(abs(got.s) / math.sqrt(variance)) == pytest.approx(plain, rel=1e-9, abs=0.0)
    corrected = 2 * scipy.stats.norm.sf((abs(got.s) - 1) / math.sqrt(variance))
    assert got.p == pytest.approx(corrected, rel=6e-6, abs=0.0)


def test_ties_past_sixty_values() -> None:
    """With ties the variance shrinks as scipy's does (tau-b), continuity apart."""
    rng = random.Random(19)
    values = [float(rng.randint(0, 4)) for _ in range(80)]
    got = trend(values)
    plain = scipy.stats.kendalltau(range(80), values, method="asymptotic").pvalue
    z = scipy.stats.norm.isf(plain / 2)
    assert got.p == pytest.approx(2 * scipy.stats.norm.sf(z * (abs(got.s) - 1) / abs(got.s)), rel=6e-6, abs=0.0)


def test_trend_names_its_direction() -> None:
    """Rising, falling, or nothing to say."""
    assert trend([1.0, 2.0, 3.0, 4.0, 5.0]).direction == "rising"
    assert trend([5.0, 4.0, 3.0]).direction == "falling"
    assert (trend([2.0, 2.0, 2.0]).direction, trend([2.0, 2.0, 2.0]).p) == ("none", 1.0)
    assert (trend([]).s, trend([]).p) == (0, 1.0)
    assert trend([1.0, 2.0]).p == 1.0
