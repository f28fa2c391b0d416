"""The normal distribution against tables and scipy."""

from __future__ import annotations

import math
import random

import pytest
from scipy import stats

from metercap.errors import MetercapError
from metercap.metrology.normal import normal_between, normal_cdf, normal_quantile


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_jcgm_106_table_1(p: float, z: float) -> None:
    """JCGM 106:2012, Table 1: z for a one-sided conformance probability."""
    assert normal_quantile(p) == pytest.approx(z, abs=0.0051)


def test_cdf_agrees_with_scipy_deep_into_the_tail() -> None:
    """scipy.stats.norm.cdf, relative 1e-12 from −37 to 9."""
    rng = random.Random(1)
    for _ in range(500):
        z = rng.uniform(-37.0, 9.0)
        assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-12, abs=0.0)


def test_quantile_agrees_with_scipy() -> None:
    """scipy.stats.norm.ppf, relative 1e-12."""
    rng = random.Random(2)
    for _ in range(500):
        p = 10.0 ** rng.uniform(-30.0, -0.31)
        assert normal_quantile(p) == pytest.approx(stats.norm.ppf(p), rel=1e-12, abs=0.0)


def test_far_interval_keeps_its_digits() -> None:
    """scipy.stats.norm.sf gives the upper tail, where a difference of two cumulative values near 1 would be 0."""
    assert normal_between(9.0, 10.0) == pytest.approx(stats.norm.sf(9.0) - stats.norm.sf(10.0), rel=1e-10, abs=0.0)
    assert normal_between(-10.0, -9.0) == pytest.approx(normal_between(9.0, 10.0), rel=1e-14, abs=0.0)
    assert normal_between(-math.inf, math.inf) == 1.0
    assert normal_between(1.0, 1.0) == 0.0


def test_refuses_what_has_no_answer() -> None:
    """A quantile of 0 or 1 is infinite, and an interval has an order."""
    for p in (0.0, 1.0, math.nan):
        with pytest.raises(MetercapError):
            normal_quantile(p)
    with pytest.raises(MetercapError):
        normal_between(1.0, 0.0)
