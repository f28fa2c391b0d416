"""Displayed decimals become the nearest float."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import ValueText
from metercap.quantity import decimal_si
from tests.effort import examples


@settings(derandomize=True, database=None, max_examples=examples(300))
@given(st.integers(-(10**9), 10**9), st.integers(0, 9), st.integers(-12, 9))
def test_nearest_float_of_the_displayed_decimal(counts: int, places: int, exponent: int) -> None:
    """The result is the float nearest to the exact rational, checked against Python's own rational arithmetic."""
    sign, digits = "-" * (counts < 0), str(abs(counts)).zfill(places + 1)
    text = sign + (f"{digits[:-places]}.{digits[-places:]}" if places else digits)
    exact = Fraction(counts) * Fraction(10) ** (exponent - places)
    assert decimal_si(text, exponent) == float(exact)


def test_counts_times_resolution_differs() -> None:
    """The reason for decimal text: counts × resolution misses the displayed number in the last bit (IEEE 754)."""
    assert decimal_si("0.3", 0) == 0.3
    assert 3 * 0.1 != 0.3


def test_negative_zero_keeps_its_sign() -> None:
    """A display that shows -0.000 keeps its sign, so that the frame can be written again."""
    assert str(decimal_si("-0.000", 3)) == "-0.0"


def test_response_number_with_exponent() -> None:
    """IEEE 488.2 NR3 numbers carry their own exponent: 2.73E+2 is 273 (8.7.4)."""
    assert decimal_si("+2.73E+2", 0) == 273.0


@pytest.mark.parametrize("text", ["", " ", "OL", "nan", "inf", "1_0", "٣", "0x1", "1.2.3", "- 5", "1e9999", "1\n"])
def test_what_is_no_decimal_is_refused(text: str) -> None:
    """Python reads some of these as numbers; a display shows none of them."""
    with pytest.raises(ValueText, match="not a decimal number"):
        decimal_si(text, 0)


def test_beyond_the_floats_is_refused() -> None:
    """No infinity comes out of a finite text."""
    with pytest.raises(ValueText, match="too large"):
        decimal_si("1e400", 0)
