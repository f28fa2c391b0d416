"""The incomplete beta function and its inverse against scipy and closed forms."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from metercap.errors import MetercapError
from metercap.metrology.beta import beta_quantile, beta_tails, incomplete_beta, log_beta

sizes = st.floats(min_value=0.05, max_value=1e5)


def test_log_beta_agrees_with_scipy() -> None:
    """scipy.special.betaln over small, mixed and large arguments; relative 1e-9 is scipy's own limit there."""
    rng = random.Random(3)
    for _ in range(1000):
        a, b = 10.0 ** rng.uniform(-2, 5), 10.0 ** rng.uniform(-2, 5)
        assert log_beta(a, b) == pytest.approx(special.betaln(a, b), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("a", "b"), [(3, 40), (12, 15), (200, 3000), (9, 11), (10, 10)])
def test_log_beta_of_whole_numbers_is_exact(a: int, b: int) -> None:
    """B(a, b) = (a − 1)!(b − 1)!/(a + b − 1)!, here in whole numbers (Abramowitz and Stegun 6.2.2)."""
    inverse = math.comb(a + b - 2, a - 1) * (a + b - 1)
    assert log_beta(a, b) == pytest.approx(-math.log(inverse), rel=3e-15, abs=0.0)


def test_incomplete_beta_agrees_with_scipy() -> None:
    """scipy.special.betainc, relative 1e-11, where mass is and where it is not."""
    rng = random.Random(4)
    for turn in range(1500):
        a, b = 10.0 ** rng.uniform(-1.5, 5), 10.0 ** rng.uniform(-1.5, 5)
        x = rng.betavariate(a, b) if turn % 3 else rng.random()
        expected = float(special.betainc(a, b, x))
        if expected > 1e-200:
            assert incomplete_beta(a, b, x) == pytest.approx(expected, rel=1e-11, abs=0.0)


def test_quantile_agrees_with_scipy() -> None:
    """scipy.special.betaincinv, relative 1e-10, down to quantiles of 1e-290."""
    rng = random.Random(5)
    for turn in range(1000):
        a, b = 10.0 ** rng.uniform(-1.5, 5), 10.0 ** rng.uniform(-1.5, 5)
        p = rng.random() if turn % 2 else 10.0 ** rng.uniform(-12, 0)
        expected = float(special.betaincinv(a, b, p))
        if expected > 1e-290:
            assert beta_quantile(a, b, p) == pytest.approx(expected, rel=1e-10, abs=0.0)


@pytest.mark.parametrize("n", [1, 2, 7, 40])
def test_binomial_sum(n: int) -> None:
    """I_x(k, n − k + 1) is the chance of k or more successes in n (Abramowitz and Stegun 26.5.24)."""
    x = 0.3
    for k in range(1, n + 1):
        tail = math.fsum(math.comb(n, j) * x**j * (1 - x) ** (n - j) for j in range(k, n + 1))
        assert incomplete_beta(k, n - k + 1, x) == pytest.approx(tail, rel=1e-12, abs=0.0)


@given(sizes, sizes, st.floats(min_value=0.0, max_value=1.0))
def test_reflection(a: float, b: float, x: float) -> None:
    """I_x(a, b) + I_{1−x}(b, a) = 1 (Abramowitz and Stegun 26.5.2), and both tails are given."""
    y = 1.0 - x
    lower, upper = beta_tails(a, b, x, y)
    assert 0.0 <= lower <= 1.0
    assert lower + upper == pytest.approx(1.0, abs=1e-12)
    assert beta_tails(b, a, y, x)[0] == pytest.approx(upper, abs=1e-9)


@given(sizes, sizes, st.floats(min_value=1e-9, max_value=1.0 - 1e-9))
def test_quantile_inverts(a: float, b: float, p: float) -> None:
    """I at the quantile of p is p, as nearly as the floats about the quantile allow."""
    x = beta_quantile(a, b, p)
    assert 0.0 <= x <= 1.0
    below = incomplete_beta(a, b, max(0.0, x * (1 - 1e-12) - 1e-300))
    above = incomplete_beta(a, b, min(1.0, x * (1 + 1e-12) + 1e-15))
    assert below - 1e-10 <= p <= above + 1e-10


def test_ends() -> None:
    """At the ends there is nothing to sum."""
    assert incomplete_beta(2.0, 3.0, 0.0) == 0.0
    assert incomplete_beta(2.0, 3.0, 1.0) == 1.0
    assert beta_quantile(2.0, 3.0, 0.0) == 0.0
    assert beta_quantile(2.0, 3.0, 1.0) == 1.0
    assert beta_quantile(0.01, 1.0, 1e-12) == 0.0  # 1e-1200 is below every float


@pytest.mark.parametrize("bad", [(0.0, 1.0, 0.5), (1.0, -1.0, 0.5), (1.0, 1.0, 1.1), (1.0, 1.0, math.nan)])
def test_refuses_what_is_outside(bad: tuple[float, float, float]) -> None:
    """Outside the domain there is an error, not a NaN."""
    with pytest.raises(MetercapError):
        incomplete_beta(*bad)
    with pytest.raises(MetercapError):
        beta_quantile(*bad)
    with pytest.raises(MetercapError):
        log_beta(-1.0, 2.0)
