"""Counts per displayed value: their middles and spreads against numpy, scipy and published sets; sums in any order."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from metercap.errors import MetercapError
from metercap.metrology.series import mad, mean, median, sd
from metercap.metrology.tally import Tally, merged

LISTS = st.lists(st.integers(-5000, 5000).map(lambda whole: whole / 100), min_size=1, max_size=60)


def state(tally: Tally) -> tuple[int, bool, dict[int, int]]:
    """Return all that a tally is."""
    return tally.power, tally.coarse, dict(sorted(tally.counts.items()))


@given(LISTS, st.sampled_from([0.0, 0.05, 0.25, 0.5, 0.9, 1.0]))
def test_like_numpy_and_scipy(values: list[float], share: float) -> None:
    """Median, quantiles (numpy's own default is the definition used here) and MAD of any values."""
    tally = Tally.of(values)
    assert tally.n == len(values)
    assert tally.median() == pytest.approx(float(np.median(values)), abs=1e-9)
    assert tally.quantile(share) == pytest.approx(float(np.quantile(values, share)), abs=1e-9)
    assert tally.mad() == pytest.approx(float(stats.median_abs_deviation(values, scale="normal")), rel=1e-6, abs=1e-9)
    assert tally.mean() == pytest.approx(float(np.mean(values)), abs=1e-9)
    if len(values) > 1:
        assert tally.sd() == pytest.approx(float(np.std(values, ddof=1)), rel=1e-9, abs=1e-9)


@given(LISTS)
def test_same_as_of_the_values_in_a_row(values: list[float]) -> None:
    """To the last bit what `series` makes of the values themselves."""
    tally = Tally.of(values)
    assert (tally.median(), tally.mad(), tally.mean()) == (median(values), mad(values), mean(values))
    if len(values) > 1:
        assert tally.sd() == sd(values)


def test_nist_numacc4() -> None:
    """NIST StRD NumAcc4 (1001 values, made by its recipe): certified mean 10000000.2, standard deviation 0.1."""
    tally = Tally.of([10000000.2, *itertools.chain.from_iterable([(10000000.1, 10000000.3)] * 500)])
    assert (tally.n, tally.mean(), tally.sd()) == (1001, 10000000.2, 0.1)


def test_nist_numacc2_and_3() -> None:
    """NIST StRD NumAcc2 and NumAcc3, by their recipes: certified means 1.2 and 1000000.2, standard deviation 0.1."""
    for base, certified in ((1.0, 1.2), (1000000.0, 1000000.2)):
        low, high, mid = (round(base + part, 1) for part in (0.1, 0.3, 0.2))
        tally = Tally.of([mid, *itertools.chain.from_iterable([(low, high)] * 500)])
        assert (tally.mean(), tally.sd()) == (certified, 0.1)


@given(LISTS, LISTS, LISTS, st.sampled_from([3, 8, 1000]))
def test_sums_are_exact_in_any_order(a: list[float], b: list[float], c: list[float], most: int) -> None:
    """(a + b) + c is c + (b + a) and the tally of all, whole, also where values are counted in cells."""
    one, two, three = (Tally.of(each, most) for each in (a, b, c))
    whole = Tally.of(a + b + c, most)
    assert state(merged([merged([one, two]), three])) == state(whole)
    assert state(merged([three, merged([two, one])])) == state(whole)
    assert state(one) == state(Tally.of(a, most)), "what is added up stays as it was"
    assert len(whole.counts) <= most


@given(LISTS, LISTS)
def test_a_part_taken_off(a: list[float], b: list[float]) -> None:
    """What is left without a part is the rest."""
    rest = merged([Tally.of(a), Tally.of(b)]).without(Tally.of(b))
    assert rest.values() == Tally.of(a).values()


def test_powers_do_not_depend_on_the_order() -> None:
    """Values of several ranges, zero and large ones: one state in every order."""
    values = [0.0, 1000.0, 0.125, 2e-9, 4.7e6, -3.0]
    states = [state(Tally.of(each)) for each in itertools.permutations(values)]
    assert all(each == states[0] for each in states)
    assert Tally.of(values).values()[0] == (-3.0, 1)


def test_bounded_whatever_the_number() -> None:
    """50 000 different values of ten digits take no more room than `most`; the middle is known to a cell."""
    rng = random.Random(7)
    values = [round(rng.gauss(160.0, 1.0), 8) for _ in range(50_000)]
    tally = Tally.of(values)
    assert tally.coarse
    assert len(tally.counts) <= 10_000
    assert tally.n == 50_000
    assert tally.median() == pytest.approx(float(np.median(values)), abs=10.0**tally.power)


def test_a_cell_stands_for_its_middle() -> None:
    """Three cells at most: 1.1, 1.2, 1.3, 2.4 become 1 … 2 and 2 … 3, whose middles are 1.5 and 2.5."""
    tally = Tally.of([1.1, 1.2, 1.3, 2.4], most=3)
    assert tally.values() == [(1.5, 3), (2.5, 1)]
    assert tally.median() == 1.5


def test_what_has_no_answer_is_refused() -> None:
    """No values, shares outside 0 … 1, and what no meter shows."""
    for ask in (Tally().median, Tally().mad, Tally().mean, Tally.of([1.0]).sd, lambda: Tally.of([1.0]).quantile(1.1)):
        with pytest.raises(MetercapError):
            ask()
    with pytest.raises(MetercapError):
        Tally.of([float("nan")])
