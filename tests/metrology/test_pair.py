"""Two values of one meter, or of two: what their difference is worth."""

from __future__ import annotations

import math

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from metercap.meter import Accuracy, MeterProfile
from metercap.metrology.budget import LeadNull, reading_budget
from metercap.metrology.compare import compare
from metercap.metrology.pair import FULL, Measured, measured, pair_budget, unlike
from metercap.quantity import Quantity

OHM = Quantity.RESISTANCE
METER = MeterProfile(name="bench", family="text", accuracy=(Accuracy(OHM, percent=0.8, counts=3.0),))
UNKNOWN = MeterProfile(name="bench", family="text")


def of(
    displayed: float, resolution: float = 0.1, lead: LeadNull | None = None, meter: MeterProfile = METER
) -> Measured:
    """A value measured once, its leads taken off where there is a null."""
    budget = reading_budget(displayed, resolution, OHM, meter, lead=lead)
    value = displayed - (0.0 if lead is None else lead.value)
    return measured(value, budget.expanded, resolution, OHM, budget)


def test_same_meter_by_hand() -> None:
    """u²(Δ) = (g·Δ)²/3 + 2(c·res)²/3 + 2·res²/12 + u₁² + u₂² (JCGM 100, 5.2), worked by hand for 160.4 and 150.4 Ω."""
    budget = pair_budget(of(160.4), of(150.4), METER)
    by_hand = math.sqrt((0.008 * 10.0) ** 2 / 3 + 2 * 0.3**2 / 3 + 2 * 0.1**2 / 12 + 0.1**2 + 0.1**2)
    assert budget.u == pytest.approx(by_hand, rel=1e-6)
    assert budget.expanded == pytest.approx(2.0 * by_hand, rel=1e-5)
    assert budget.reason == ""


def test_two_meters_take_both_uncertainties() -> None:
    """E_n of 100.6 ± 0.5 and 100.0 ± 0.4 is 0.937 (ISO 13528:2022, 9.7, numbers of our own, checked with `pt13528`)."""
    budget = pair_budget(Measured(100.6, 0.5), Measured(100.0, 0.4), METER, "another meter")
    assert compare(100.6, 100.0, budget.expanded).e_n == pytest.approx(0.937, abs=5e-4)
    assert budget.reason == f"{FULL}: another meter"


def test_gain_cancels_as_in_a_library_of_correlated_numbers() -> None:
    """`uncertainties` (linear propagation with correlations): one shared gain, all else apart, both leads nulled."""
    one, two = of(160.4, lead=LeadNull(0.2, 0.06)), of(150.4, lead=LeadNull(0.3, 0.05))
    gain = ufloat(1.0, 0.008 / math.sqrt(3.0))
    # Each value: the counts of the meter's last digit, the display's step, its own scatter and its own null.
    parts = [ufloat(0.0, math.sqrt(0.3**2 / 3 + 0.1**2 / 12 + 0.1**2 + null**2)) for null in (0.06, 0.05)]
    difference = (160.2 * gain + parts[0]) - (150.1 * gain + parts[1])
    assert pair_budget(one, two, METER).u == pytest.approx(difference.std_dev, rel=1e-6)


def test_one_meter_is_sharper() -> None:
    """Close values of one meter differ with far less doubt than their full uncertainties say; U of 160 Ω is 1.6 Ω."""
    one, two = of(160.4), of(158.9)
    like, full = pair_budget(one, two, METER), pair_budget(one, two, METER, "another day")
    assert like.expanded < 0.4 * full.expanded
    assert compare(160.4, 158.9, like.expanded).signal
    assert not compare(160.4, 158.9, full.expanded).signal


@pytest.mark.parametrize(
    ("other", "why"),
    [
        (Measured(150.0, 1.0, 0.1, OHM), "scatter not known"),
        (Measured(150.0, 1.0, 0.1, Quantity.CONTINUITY, 0.1), "another function"),
        (Measured(150.0, 1.0, None, None, 0.1), "another function"),
        (Measured(150.0, 1.0, 1.0, OHM, 0.1), "another range"),
        (Measured(150.0, 1.0, 0.1, OHM, 0.1, None, 0.05), "leads taken off in one only"),
    ],
)
def test_why_the_gain_does_not_cancel(other: Measured, why: str) -> None:
    """Every condition of the same-meter difference that is missing is named, and both U are taken."""
    assert unlike(of(160.4), other) == why
    budget = pair_budget(of(160.4), other, METER)
    assert budget.reason == f"{FULL}: {why}"
    assert budget.expanded == pytest.approx(math.hypot(of(160.4).expanded, 1.0), rel=1e-5)


def test_unknown_accuracy_never_hides_scatter() -> None:
    """Without an accuracy row two resolutions are stated, √2 of one; known scatter of a count each is more."""
    one, two = of(0.3, meter=UNKNOWN), of(0.1, meter=UNKNOWN)
    budget = pair_budget(one, two, UNKNOWN)
    assert budget.expanded == pytest.approx(2.0 * math.sqrt(2 * 0.1**2 / 12 + 2 * 0.1**2), rel=1e-5)
    assert budget.reason == "accuracy unknown"
    apart = pair_budget(one, two, UNKNOWN, "another day")
    assert apart.expanded == pytest.approx(2.0 * math.sqrt(2 * 0.1**2 / 12 + 2 * 0.1**2), rel=1e-5)


def test_a_value_survives_its_file() -> None:
    """What a comparison needs goes through JSON; unknown parts are left out."""
    one = of(160.4, lead=LeadNull(0.2, 0.06, 2.0))
    text = msgspec.json.encode(one)
    assert msgspec.json.decode(text, type=Measured) == one
    assert b'"U":' in text
    assert msgspec.json.encode(Measured(1.0, 0.1)) == b'{"value":1.0,"U":0.1}'
    assert one.null is not None and one.null.dof == 2.0
    assert one.own is not None and one.own.dof == math.inf


@given(st.floats(0.0, 3000.0), st.floats(0.0, 3000.0))
def test_the_order_does_not_matter(x: float, y: float) -> None:
    """U(Δ) of first − second is that of second − first, and never more than the full one by more than a rounding."""
    one, two = of(round(x, 1)), of(round(y, 1))
    assert pair_budget(one, two, METER).expanded == pair_budget(two, one, METER).expanded
    full = pair_budget(one, two, METER, "another day").expanded
    assert pair_budget(one, two, METER).expanded <= full * 1.00001
