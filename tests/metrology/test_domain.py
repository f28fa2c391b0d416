"""Rounding to six digits, and what the room's formulas refuse."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.errors import MetercapError
from metercap.metrology.domain import need, need_confidence, need_finite, need_uncertainty, round6


@pytest.mark.parametrize(
    ("x", "expected"),
    [(1.23456789, 1.23457), (-0.000123456499, -0.000123456), (2187.0, 2187.0), (99999950.0, 1e8), (0.0, 0.0)],
)
def test_six_digits(x: float, expected: float) -> None:
    """Six significant digits are kept and the float is exactly the decimal's."""
    assert round6(x) == expected


def test_zero_has_no_sign() -> None:
    """Minus zero would print and compare by bits as another number, so it becomes zero."""
    assert math.copysign(1.0, round6(-0.0)) == 1.0


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e300, max_value=1e300))
def test_rounding_is_idempotent_and_close(x: float) -> None:
    """Rounding twice changes nothing, and once changes less than half a unit in the sixth digit."""
    once = round6(x)
    assert round6(once) == once
    assert abs(once - x) <= 5.000001e-6 * abs(x)


@given(st.floats(min_value=1e-12, max_value=1e12), st.integers(-4, 4))
def test_last_bits_do_not_show(x: float, bits: int) -> None:
    """A result a few last bits off rounds alike, unless it sat on the very edge between two decimals."""
    other = x
    for _ in range(abs(bits)):
        other = math.nextafter(other, math.inf if bits > 0 else 0.0)
    if round6(x) != round6(other):
        seventh = f"{x:.17e}".split("e")[0].replace(".", "")[6:16]
        assert seventh[:6] in ("500000", "499999")


@pytest.mark.parametrize("confidence", [0.0, 1.0, -0.1, 1.5, math.nan])
def test_confidence_is_between_0_and_1(confidence: float) -> None:
    """What is no confidence is refused, a NaN too."""
    with pytest.raises(MetercapError, match="somewhere"):
        need_confidence(confidence, "somewhere")


@pytest.mark.parametrize("u", [-1e-9, math.inf, math.nan])
def test_uncertainty_is_finite_and_not_negative(u: float) -> None:
    """What is no uncertainty is refused."""
    with pytest.raises(MetercapError, match="somewhere"):
        need_uncertainty(u, "somewhere")


@pytest.mark.parametrize("x", [math.inf, -math.inf, math.nan])
def test_values_are_finite(x: float) -> None:
    """Over-range and not-a-number are no values."""
    with pytest.raises(MetercapError, match="somewhere"):
        need_finite(x, "somewhere")


def test_refusal_says_what_where_and_what_next() -> None:
    """The three parts of an error are there."""
    with pytest.raises(MetercapError) as caught:
        need(False, "formula", "it needs more")
    assert (caught.value.what, caught.value.where) == ("it needs more", "formula")
    assert caught.value.hint
