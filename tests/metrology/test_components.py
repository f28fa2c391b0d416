"""Single uncertainty components against the GUM's examples and makers' specification arithmetic."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.errors import MetercapError
from metercap.metrology.components import (
    Component,
    accuracy_component,
    accuracy_half_width,
    certificate,
    contact_spread,
    correlated_sum,
    rectangular,
    resolution_component,
    triangular,
    type_a,
)

parts = st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=8)


def test_gum_4_3_7_voltmeter_specification() -> None:
    """JCGM 100:2008, 4.3.7 example 2: ±(14e-6 of reading + 2e-6 of the 1 V range) at 0.928571 V is 15 µV, u 8.7 µV."""
    volts = 0.928571
    half_width = accuracy_half_width(volts, 2e-6, 14e-4, 1)
    assert half_width * 1e6 == pytest.approx(15, abs=0.05)
    assert accuracy_component("meter", volts, 2e-6, 14e-4, 1).u * 1e6 == pytest.approx(8.7, abs=0.05)


@pytest.mark.parametrize(
    ("reading", "percent", "counts", "digit", "half_width", "low", "high"),
    [
        (120.0, 1.0, 3, 0.1, 1.5, 118.5, 121.5),
        (100.0, 1.0, 2, 0.1, 1.2, 98.8, 101.2),
        (100.0, 0.8, 2, 0.1, 1.0, 99.0, 101.0),
        (2.0, 0.08, 2, 0.001, 0.0036, 1.9964, 2.0036),
        (2.0, 0.5, 3, 0.001, 0.013, 1.987, 2.013),
    ],
)
def test_specification_arithmetic(
    reading: float, percent: float, counts: float, digit: float, half_width: float, low: float, high: float
) -> None:
    """Multimeter makers' public notes on reading a specification: ±(percent + counts) as volts and as an interval."""
    got = accuracy_half_width(reading, digit, percent, counts)
    assert got == pytest.approx(half_width, rel=1e-12)
    assert (reading - got, reading + got) == pytest.approx((low, high), rel=1e-12)
    assert accuracy_half_width(-reading, digit, percent, counts) == got


def test_gum_4_3_4_certificate() -> None:
    """JCGM 100:2008, 4.3.4: 10.000742 Ω ± 129 µΩ at 99 % is u = 50 µΩ."""
    assert certificate("standard", 129.0, confidence=0.99).u == pytest.approx(50, abs=0.5)
    assert certificate("standard", 129.0, k=2.58).u == pytest.approx(50, abs=0.05)


def test_gum_4_4_5_and_4_4_6() -> None:
    """JCGM 100:2008, 4.4.5 and 4.4.6: half-width 4 is u 2.3 when rectangular and 1.6 when triangular."""
    assert rectangular("temperature", 4.0).u == pytest.approx(2.3, abs=0.05)
    assert triangular("temperature", 4.0).u == pytest.approx(1.6, abs=0.05)


def test_gum_f_2_2_1_resolution() -> None:
    """JCGM 100:2008, F.2.2.1: a display step δ has u = 0.29 δ."""
    assert resolution_component("display", 1.0).u == pytest.approx(0.29, abs=0.005)


def test_gum_5_2_2_correlated_sum() -> None:
    """JCGM 100:2008, 5.2.2: ten resistors of 100 mΩ against one standard are 1 Ω together, not 0.32 Ω."""
    assert correlated_sum([0.1] * 10, 1.0) == pytest.approx(1.0, rel=1e-14)
    assert correlated_sum([0.1] * 10, 0.0) == pytest.approx(0.32, abs=0.005)
    ones = [[1.0] * 10] * 10
    assert correlated_sum([0.1] * 10, ones) == pytest.approx(1.0, rel=1e-14)


def test_type_a_is_for_independent_observations() -> None:
    """s/√n with n − 1 degrees of freedom."""
    component = type_a("days", [1.0, 2.0, 3.0, 4.0])
    assert component.u == pytest.approx(math.sqrt(5 / 3) / 2)
    assert component.dof == 3


def test_spread_of_contacts_is_undivided() -> None:
    """Two contacts give s with one degree of freedom; one contact shows nothing."""
    assert contact_spread([2187.0, 2189.0]).u == pytest.approx(math.sqrt(2))
    assert contact_spread([2187.0, 2189.0]).dof == 1.0
    assert contact_spread([2187.0]).u == contact_spread([]).u == 0.0


@given(parts)
def test_correlated_sum_lies_between_the_extremes(u: list[float]) -> None:
    """Uncorrelated parts add in quadrature, fully correlated ones as numbers, signs and all."""
    assert correlated_sum(u, 1) == pytest.approx(abs(math.fsum(u)), rel=1e-9, abs=1e-4)
    assert correlated_sum(u, 0) == pytest.approx(math.sqrt(math.fsum(x * x for x in u)), rel=1e-12)


def test_notes_say_where_u_comes_from() -> None:
    """A table row can be read without the code."""
    assert accuracy_component("a", 2187.0, 1.0, 0.8, 3).note == "±(0.8 % + 3 counts) = ±20.496"
    assert certificate("c", 129.0, k=2).note == "U = 129, k = 2"
    assert rectangular("r", 4.0).note == "±4"


def test_refusals() -> None:
    """Negative and infinite uncertainties, missing factors and impossible correlations are errors."""
    for refused in (
        lambda: Component("x", -1.0),
        lambda: Component("x", math.nan),
        lambda: Component("x", 1.0, dof=0.0),
        lambda: rectangular("x", -1.0),
        lambda: certificate("x", 1.0),
        lambda: certificate("x", 1.0, k=2.0, confidence=0.95),
        lambda: certificate("x", 1.0, k=0.0),
        lambda: certificate("x", 1.0, confidence=1.0),
        lambda: type_a("x", [1.0]),
        lambda: correlated_sum([1.0, 2.0], 1.5),
        lambda: correlated_sum([1.0, 2.0], [[1.0]]),
        lambda: accuracy_half_width(math.nan, 1.0, 1.0, 1.0),
    ):
        with pytest.raises(MetercapError):
            refused()
    assert correlated_sum([], 1.0) == 0.0
