"""Comparisons with a reference, and expectations from good units."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from metercap.errors import MetercapError
from metercap.metrology.compare import chance_flags, compare, expected_value, quadrature
from metercap.metrology.series import mad, median

values = st.floats(-1e6, 1e6)
uncertainties = st.floats(1e-3, 1e3)


def test_e_n_of_two_laboratories() -> None:
    """ISO 13528:2022, 9.7, with numbers of our own: (100.6 − 100.0)/√(0.5² + 0.4²) = 0.937, no signal."""
    comparison = compare(100.6, 100.0, quadrature(0.5, 0.4))
    assert comparison.e_n == pytest.approx(0.937, abs=5e-4)
    assert comparison.difference == 0.6
    assert not comparison.signal


def test_one_itself_is_a_signal() -> None:
    """ISO 13528:2022, 9.7: |E_n| ≥ 1 is a signal, on either side."""
    assert compare(100.5, 100.0, 0.5).signal
    assert compare(99.5, 100.0, 0.5).signal
    assert not compare(100.49, 100.0, 0.5).signal
    # 0.3 − 0.1 is 0.19999999999999998 in binary floats; as displayed it is the whole of U.
    assert compare(0.3, 0.1, 0.2).signal


def test_ratio_of_nothing() -> None:
    """A reference of 0 has a difference and no ratio."""
    assert compare(1.0, 0.0, 0.5).ratio is None
    assert compare(2200.0, 2000.0, 50.0).ratio == 1.1


@given(values, values, uncertainties)
def test_comparison_is_antisymmetric(x: float, reference: float, u: float) -> None:
    """Exchanging unit and reference turns the sign of difference and E_n, and keeps the signal."""
    one, other = compare(x, reference, u), compare(reference, x, u)
    assert (one.difference, one.e_n, one.signal) == (-other.difference, -other.e_n, other.signal)


def test_chance_flags() -> None:
    """JCGM 100:2008, Table G.1: 4.55 % lie beyond k = 2, so 40 items give about 1.8 flags by chance."""
    assert chance_flags(40) == pytest.approx(40 * 0.0455, abs=1e-3)
    assert chance_flags(0) == 0.0
    assert chance_flags(100, k=1.959964) == pytest.approx(5.0, abs=1e-4)


def test_chance_flags_happen() -> None:
    """Differences of equal units, normal with u = U/2, are flagged as often as foretold."""
    rng = np.random.default_rng(15)
    flags = sum(compare(100.0 + float(d), 100.0, 2.0).signal for d in rng.normal(0, 1, 8_000))
    assert flags == pytest.approx(chance_flags(8_000), abs=4 * math.sqrt(8_000 * 0.0455))


def test_one_good_unit_gives_its_uncertainty() -> None:
    """One unit says nothing of spread."""
    expected = expected_value([1500.0], 12.0)
    assert (expected.centre, expected.low, expected.high) == (1500.0, 1488.0, 1512.0)
    assert (expected.method, expected.floored) == ("uncertainty", True)


def test_prediction_interval_by_its_formula() -> None:
    """mean ± t·s·√(1 + 1/n), with scipy's t, for 2 to 7 good units."""
    rng = random.Random(16)
    for n in range(2, 8):
        units = [rng.gauss(1500, 5) for _ in range(n)]
        expected = expected_value(units, 0.0)
        half = stats.t.ppf(0.975, n - 1) * np.std(units, ddof=1) * math.sqrt(1 + 1 / n)
        assert expected.half_width == pytest.approx(half, rel=1e-5)
        assert expected.centre == pytest.approx(np.mean(units), rel=1e-12)
        assert (expected.method, expected.floored, expected.n) == ("prediction", False, n)


def test_median_and_mad_from_eight_on() -> None:
    """One bad unit among eight good ones hardly moves the interval."""
    good = [1500.0, 1501.0, 1499.0, 1502.0, 1498.0, 1500.5, 1499.5, 1501.5]
    clean, spoilt = expected_value(good, 0.1), expected_value([*good, 9000.0], 0.1)
    assert clean.method == spoilt.method == "median and MAD"
    assert clean.centre == median(good)
    assert abs(spoilt.centre - clean.centre) < 1.0
    assert spoilt.half_width < 2 * clean.half_width
    factor = stats.t.ppf(0.975, 0.37 * 7) * math.sqrt(1 + math.pi / 16)
    assert clean.half_width == pytest.approx(factor * mad(good), rel=1e-5)


@pytest.mark.parametrize("n", [2, 3, 7, 8, 9, 15, 30])
def test_expected_value_covers(n: int) -> None:
    """A further normal unit falls in the 95 % interval as often as that, or up to 98.5 %, within 4 standard errors."""
    rng = np.random.default_rng(100 + n)
    inside = 0
    for _ in range(2000):
        *units, new = (float(x) for x in np.round(rng.normal(1500, 5, n + 1), 1))
        expected = expected_value(units, 0.05)
        inside += expected.low <= new <= expected.high
    assert 0.95 - 4 * math.sqrt(0.95 * 0.05 / 2000) <= inside / 2000 <= 0.985


@given(st.lists(st.floats(-1e4, 1e4).map(lambda x: round(x, 3)), min_size=1, max_size=12), uncertainties)
def test_never_narrower_than_u(units: list[float], u: float) -> None:
    """U floors the half-width, also where good units agree better than the meter can tell."""
    expected = expected_value(units, u)
    assert expected.half_width >= u * (1 - 6e-6)
    assert expected.low <= expected.centre <= expected.high
    assert expected.floored == (expected.half_width <= u * (1 + 6e-6)) or expected.half_width == pytest.approx(u)


def test_equal_units() -> None:
    """No spread at all: ± U, and it says so."""
    for n in (2, 8):
        expected = expected_value([2.5] * n, 0.1)
        assert (expected.low, expected.high, expected.floored) == (2.4, 2.6, True)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: compare(1.0, 1.0, 0.0),
        lambda: compare(math.nan, 1.0, 0.1),
        lambda: expected_value([], 0.1),
        lambda: expected_value([math.inf], 0.1),
        lambda: expected_value([1.0], -0.1),
        lambda: expected_value([1.0], 0.1, confidence=1.0),
        lambda: chance_flags(-1),
        lambda: quadrature(0.1, -0.1),
    ],
)
def test_refusals(refused: Callable[[], object]) -> None:
    """No uncertainty, no ranking; no good unit, no expectation."""
    with pytest.raises(MetercapError):
        refused()


def test_nothing_in_quadrature() -> None:
    """No uncertainty at all is none."""
    assert quadrature() == 0.0
