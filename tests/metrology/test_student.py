"""Student's t against the GUM's table and scipy."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from metercap.errors import MetercapError
from metercap.metrology.student import K2_CONFIDENCE, t_cdf, t_factor, t_quantile


@pytest.mark.parametrize(
    ("dof", "t95"),
    [(1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01), (math.inf, 1.960)],
)
def test_gum_table_g2(dof: float, t95: float) -> None:
    """JCGM 100:2008, Table G.2: t95 by degrees of freedom."""
    assert t_factor(0.95, dof) == pytest.approx(t95, abs=0.0051)


@pytest.mark.parametrize(("n", "factor"), [(3, 2.484), (4, 1.591), (5, 1.242), (6, 1.049), (10, 0.715), (20, 0.468)])
def test_t_over_root_n(n: int, factor: float) -> None:
    """t95/√n for n readings, computed once with scipy."""
    assert t_factor(0.95, n - 1) / math.sqrt(n) == pytest.approx(factor, abs=0.00051)


def test_k_of_2_is_its_own_confidence() -> None:
    """JCGM 100:2008, Table G.1: k = 2 covers 95.45 % of a normal distribution."""
    assert pytest.approx(0.9545, abs=5e-5) == K2_CONFIDENCE
    assert t_factor(K2_CONFIDENCE, math.inf) == pytest.approx(2.0, abs=1e-14)


def test_cdf_agrees_with_scipy() -> None:
    """scipy.stats.t.cdf, relative 1e-9, for fractional and very many degrees of freedom."""
    rng = random.Random(6)
    for turn in range(800):
        dof = 10.0 ** rng.uniform(-1, 6)
        t = rng.gauss(0.0, 1.0) * (1.0, 6.0)[turn % 2]
        assert t_cdf(t, dof) == pytest.approx(stats.t.cdf(t, dof), rel=1e-9, abs=0.0)


def test_quantile_agrees_with_scipy() -> None:
    """scipy.stats.t.ppf, relative 1e-9."""
    rng = random.Random(7)
    for turn in range(800):
        dof = 10.0 ** rng.uniform(-1, 6)
        p = rng.random() if turn % 2 else 10.0 ** rng.uniform(-9, 0)
        assert t_quantile(p, dof) == pytest.approx(stats.t.ppf(p, dof), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("dof", [2e7, 1e12, math.inf])
def test_many_degrees_of_freedom_are_nearly_normal(dof: float) -> None:
    """Beyond 1e7 the expansion about the normal holds: scipy's t, or its normal at infinity."""
    reference = stats.norm if math.isinf(dof) else stats.t(dof)
    assert t_quantile(0.999, dof) == pytest.approx(reference.ppf(0.999), rel=1e-9, abs=0.0)
    assert t_cdf(-3.0, dof) == pytest.approx(reference.cdf(-3.0), rel=1e-9, abs=0.0)


@given(st.floats(min_value=1e-6, max_value=1 - 1e-6), st.floats(min_value=0.3, max_value=1e6))
def test_quantile_inverts_and_mirrors(p: float, dof: float) -> None:
    """The cumulative value at the quantile is p, and the quantile of 1 − p is its mirror image."""
    t = t_quantile(p, dof)
    assert t_cdf(t, dof) == pytest.approx(p, rel=1e-9, abs=0.0)
    assert t_quantile(1.0 - p, dof) == pytest.approx(-t, rel=1e-9, abs=1e-12)


def test_middle_and_far_ends() -> None:
    """The median is 0; beyond the largest float nothing is left."""
    assert t_quantile(0.5, 3.0) == 0.0
    assert t_cdf(1e200, 3.0) == 1.0
    assert t_cdf(-1e200, 3.0) == 0.0
    assert t_cdf(0.0, 3.0) == 0.5


def test_refuses_what_is_outside() -> None:
    """No degrees of freedom, no distribution."""
    with pytest.raises(MetercapError):
        t_quantile(0.9, 0.0)
    with pytest.raises(MetercapError):
        t_cdf(1.0, -1.0)
    with pytest.raises(MetercapError):
        t_factor(1.0, 3.0)
