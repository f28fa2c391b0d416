"""Trends over dates, against scipy."""

from __future__ import annotations

import datetime
import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from metercap.history.counts import Dates
from metercap.history.drift import drift, slope

POINTS = st.lists(st.tuples(st.integers(0, 40), st.integers(-50, 50)), min_size=2, max_size=25)


@given(POINTS)
def test_slope_is_theil_and_sens(points: list[tuple[int, int]]) -> None:
    """As `scipy.stats.theilslopes` has it, equal dates included."""
    if len({x for x, _ in points}) < 2:
        assert slope(points) == 0.0
        return
    xs, ys = zip(*points, strict=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # of scipy's own interval, where there are few
        assert slope(points) == pytest.approx(float(stats.theilslopes(ys, xs).slope), abs=1e-12)


def dates(*values: float, every_days: int = 30) -> Dates:
    """Return one value every so many days."""
    out, first = Dates(), datetime.date(2026, 1, 1)
    for n, value in enumerate(values):
        out.add(str(first + datetime.timedelta(n * every_days)), value)
    return out


def test_a_rise_is_told() -> None:
    """Eight months, each 1 ohm more: 1 ohm in 30 days is 12.175 in 365.25; Kendall's exact chance is 2/8! by scipy."""
    found = drift(dates(*(160.0 + n for n in range(8))))
    assert found is not None
    assert (found.by, found.dates, found.per_year, found.told) == ("day", 8, 12.175, True)
    assert found.p == pytest.approx(float(stats.kendalltau(range(8), range(8), method="exact").pvalue), rel=1e-5)
    assert found.relative == pytest.approx(12.175 / 163.5, rel=1e-5)


def test_no_rise_is_told_of_noise() -> None:
    """Up and down is no trend; five dates in order are too few to say."""
    assert not drift(dates(160.0, 161.0, 160.0, 161.0, 160.0, 161.0, 160.5, 160.5)).told
    assert drift(dates(160.0, 161.0, 162.0, 163.0, 164.0)) is None


def test_one_wild_date_moves_nothing() -> None:
    """A median of a broken unit on one day of twelve leaves slope and verdict."""
    values = [160.0 + n for n in range(12)]
    values[4] = 9000.0
    found = drift(dates(*values))
    assert found is not None
    assert found.told
    assert found.per_year == pytest.approx(12.175, rel=0.05)


def test_a_step_that_moves_no_median_slope_is_not_told() -> None:
    """Forty dates of 160 Ω, then ten of 161: no chance by Mann and Kendall, and Sen's slope is 0: nothing to tell."""
    values = [160.0] * 40 + [161.0] * 10
    found = drift(dates(*values))
    assert found is not None
    assert float(stats.theilslopes(values).slope) == 0.0
    assert (found.p < 0.01, found.per_year, found.told) == (True, 0.0, False)
