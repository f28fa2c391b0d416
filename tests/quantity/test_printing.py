"""Values print with the digits that were measured, and read back."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import ValueText
from metercap.quantity import counted, format_value, parse_value
from tests.effort import examples


@pytest.mark.parametrize(
    ("value", "unit", "resolution", "text"),
    [
        (2187.0, "ohm", 1.0, "2.187 kΩ"),
        (0.0, "ohm", 1000.0, "0.000 MΩ"),
        (0.0, "ohm", 0.1, "0.0 Ω"),
        (1e-272, "ohm", 1.0, "0.000 kΩ"),
        (-0.0, "V", 0.001, "0.000 V"),
        (-0.0004, "V", 0.001, "0.000 V"),
        (0.12, "ohm", 0.01, "0.12 Ω"),
        (999.96, "ohm", 0.1, "1.0000 kΩ"),
        (2000.0, "ohm", 1000.0, "2 kΩ"),
        (10.0, "ohm", 10.0, "0.01 kΩ"),
        (-5.47, "V", 0.01, "-5.47 V"),
        (0.1, "A", 0.001, "100 mA"),
        (1e-5, "F", 1e-6, "10 µF"),
        (32768.0, "Hz", 1.0, "32.768 kHz"),
        (25.3, "degC", 0.1, "25.3 °C"),
        (50.0, "%", 0.1, "50.0 %"),
        (1500.0, "", 1.0, "1500"),
        (120.0, "s", 60.0, "2 min"),
        (0.6, "s", 0.1, "0.6 s"),
        (0.0, "s", 1.0, "0 s"),
    ],
)
def test_the_digits_that_the_resolution_carries(value: float, unit: str, resolution: float, text: str) -> None:
    """The last digit printed weighs one resolution; prefixes by the SI Brochure (table 7, section 5.4: the space)."""
    assert format_value(value, unit, resolution) == text


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (2187.0, "ohm", "2.187 kΩ"),
        (0.0, "ohm", "0 Ω"),
        (100.0, "ohm", "100 Ω"),
        (9999.96, "ohm", "10 kΩ"),
        (4.7e-7, "F", "470 nF"),
        (1 / 3, "V", "333.3 mV"),
        (1e-15, "F", "0.001 pF"),
        (0.5, "s", "500 ms"),
        (90.0, "s", "90 s"),
        (120.0, "s", "2 min"),
        (12345.0, "s", "205.8 min"),
        (0.5, "%", "0.5 %"),
        (12345.0, "%", "12340 %"),  # half to even, as IEEE 754 rounds
        (1e300, "V", "1.000E+300 V"),
    ],
)
def test_four_significant_digits_without_resolution(value: float, unit: str, text: str) -> None:
    """Without a resolution at most four significant digits print, and no trailing zeros."""
    assert format_value(value, unit) == text


def test_a_resolution_of_zero_is_none() -> None:
    """A display that carries no digits has resolution 0, which says nothing about digits."""
    assert format_value(2187.4, "ohm", 0.0) == format_value(2187.4, "ohm") == "2.187 kΩ"


@settings(derandomize=True, database=None, max_examples=examples(1000))
@given(
    st.floats(-1e12, 1e12),
    st.sampled_from(["ohm", "V", "A", "F", "Hz", "%", "degC", "s", ""]),
    st.floats(1e-14, 1e6) | st.integers(-14, 12).map(lambda exponent: float(f"1e{exponent}")),
)
def test_printed_values_read_back(value: float, unit: str, resolution: float) -> None:
    """What is printed reads back in the same unit within half a resolution, or half a float's own last bit."""
    text = format_value(value, unit, resolution)
    back = parse_value(text, unit=unit)
    assert abs(back.value - value) <= resolution / 2 + 2 * math.ulp(value), text
    assert not text.startswith("-") or back.value < 0


@settings(derandomize=True, database=None, max_examples=examples(500))
@given(st.integers(-99_999, 99_999), st.integers(-9, 6), st.sampled_from(["ohm", "V", "A", "F", "Hz"]))
def test_displayed_values_read_back_exactly(counts: int, exponent: int, unit: str) -> None:
    """A display's value comes back bit for bit, with its resolution: no digit is invented and none is lost."""
    shown = parse_value(f"{counts}e{exponent} {unit}")
    back = parse_value(format_value(shown.value, unit, shown.resolution))
    assert back == shown


@settings(derandomize=True, database=None, max_examples=examples(500))
@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(["ohm", "s", "%", ""]))
def test_every_float_prints_short_and_within_four_digits(value: float, unit: str) -> None:
    """Any finite float prints in a bounded width, and reads back within half of its fourth digit."""
    text = format_value(value, unit)
    assert len(text) < 40
    if value == 0 or 1e-24 < abs(value) < 1e24:
        assert parse_value(text, unit=unit).value == pytest.approx(value, rel=5.1e-4)


@pytest.mark.parametrize(
    ("value", "resolution"), [(math.nan, None), (math.inf, 1.0), (1.0, math.nan), (1.0, -1.0), (1.0, math.inf)]
)
def test_what_is_no_number_is_refused(value: float, resolution: float | None) -> None:
    """Over-range is a state, never a number that prints."""
    with pytest.raises(ValueText):
        format_value(value, "ohm", resolution)


@pytest.mark.parametrize(
    ("n", "what", "words"),
    [
        (0, "item", "0 items"),
        (1, "item", "1 item"),
        (2, "good unit", "2 good units"),
        (1, "bench", "1 bench"),
        (3, "bench", "3 benches"),
    ],
)
def test_things_that_are_counted(n: int, what: str, words: str) -> None:
    """One of them alone has no s."""
    assert counted(n, what) == words
