"""Single uncertainty components against the GUM's examples and makers' specification arithmetic."""

from __future__ import annotations

import math

import pytest
from hypothesis import strategies as st

from metercap.errors import MetercapError
from metercap.metrology.components import (
    Component,
    accuracy_half_width,
    contact_spread,
    rectangular,
    resolution_component,
)

parts = st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=8)


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


def test_gum_4_4_5() -> None:
    """JCGM 100:2008, 4.4.5: half-width 4 is u 2.3 when rectangular."""
    assert rectangular("temperature", 4.0).u == pytest.approx(2.3, abs=0.05)


def test_gum_f_2_2_1_resolution() -> None:
    """JCGM 100:2008, F.2.2.1: a display step δ has u = 0.29 δ."""
    assert resolution_component("display", 1.0).u == pytest.approx(0.29, abs=0.005)


def test_spread_of_contacts_is_undivided() -> None:
    """Two contacts give s with one degree of freedom; one contact shows nothing."""
    assert contact_spread([2187.0, 2189.0]).u == pytest.approx(math.sqrt(2))
    assert contact_spread([2187.0, 2189.0]).dof == 1.0
    assert contact_spread([2187.0]).u == contact_spread([]).u == 0.0


def test_notes_say_where_u_comes_from() -> None:
    """A table row can be read without the code."""
    assert rectangular("r", 4.0).note == "±4"


def test_refusals() -> None:
    """Negative and infinite uncertainties are errors."""
    for refused in (
        lambda: Component("x", -1.0),
        lambda: Component("x", math.nan),
        lambda: Component("x", 1.0, dof=0.0),
        lambda: rectangular("x", -1.0),
        lambda: accuracy_half_width(math.nan, 1.0, 1.0, 1.0),
    ):
        with pytest.raises(MetercapError):
            refused()
