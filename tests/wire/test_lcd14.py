"""The segment display: every glyph by construction, every symbol, and what is no reading."""

from __future__ import annotations

import math

import pytest

from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.wire import decoder
from tests.wire import wire_drawing as drawing

LCD14 = find_meter("lcd14")


def read(frame: bytes) -> Reading | Garbage:
    """Return the one thing that a frame gives."""
    (item,) = decoder(LCD14).feed(frame, 1.0)
    return item


# Text on the display, symbols, then quantity, value and resolution in SI: the decimal a person would write down.
SHOWN = [
    ("2.187", "k ohm", "resistance", 2187.0, 1.0),
    ("0.000", "M ohm", "resistance", 0.0, 1000.0),
    ("000.3", "ohm", "resistance", 0.3, 0.1),
    ("  0.3", "ohm", "resistance", 0.3, 0.1),
    ("  .45", "ohm", "resistance", 0.45, 0.01),
    ("0047", "ohm", "resistance", 47.0, 1.0),
    ("047.1", "ohm beep", "continuity", 47.1, 0.1),
    ("-5.470", "V dc", "voltage_dc", -5.47, 0.001),
    ("230.1", "V ac", "voltage_ac", 230.1, 0.1),
    ("-001.2", "m V dc", "voltage_dc", -0.0012, 0.0001),
    ("123.4", "u A dc", "current_dc", 0.0001234, 1e-07),
    ("12.34", "m A ac", "current_ac", 0.01234, 1e-05),
    ("4.700", "u F", "capacitance", 4.7e-06, 1e-09),
    ("10.05", "n F", "capacitance", 1.005e-08, 1e-11),
    ("50.00", "Hz", "frequency", 50.0, 0.01),
    ("1.250", "M Hz", "frequency", 1250000.0, 1000.0),
    ("049.9", "%", "duty", 49.9, 0.1),
    ("0.632", "V diode", "diode", 0.632, 0.001),
    ("0.632", "V dc diode", "diode", 0.632, 0.001),
    ("-012.5", "degC", "temperature", -12.5, 0.1),
]


@pytest.mark.parametrize(("text", "symbols", "quantity", "value", "resolution"), SHOWN)
def test_a_display_reads_as_the_decimal_it_shows(
    text: str, symbols: str, quantity: str, value: float, resolution: float
) -> None:
    """Value and resolution are exactly the floats of the displayed decimal."""
    frame = drawing.frame(text, *symbols.split())
    reading = read(frame)
    assert isinstance(reading, Reading)
    assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)
    assert reading.unit == Quantity(quantity).unit
    assert reading.state is State.OK
    assert reading.raw == frame.hex()


def test_every_number_reads_back() -> None:
    """All four-digit numbers, each drawn from its segments, read as themselves."""
    meter = decoder(LCD14)
    for number in range(10_000):
        (reading,) = meter.feed(drawing.frame(f"{number:04d}", "ohm"), 1.0)
        assert isinstance(reading, Reading)
        assert reading.value == number


@pytest.mark.parametrize("text", [" 0L ", " 0.L ", "0L  ", "  0L", " .0L ", " 0L. ", "0.L  "])
def test_0_beside_l_is_over_range_whatever_the_point(text: str) -> None:
    """Over-range has no value."""
    frame = drawing.frame(text, "M", "ohm", "auto")
    reading = read(frame)
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value) == (State.OVER, None)


def test_over_range_tells_its_range() -> None:
    """The resolution of over-range is the weight of its last place: 0L with one decimal in MΩ is 100 kΩ."""
    reading = read(drawing.frame(" 0L. ", "M", "ohm"))
    assert isinstance(reading, Reading)
    assert reading.resolution == 1e5


@pytest.mark.parametrize(
    ("text", "symbols"), [("    ", "ohm"), ("  .  ", "k ohm"), ("-    ", "V dc"), ("    ", "k ohm")]
)
def test_a_display_without_digits_is_blank(text: str, symbols: str) -> None:
    """A blank display is a reading of state blank."""
    frame = drawing.frame(text, *symbols.split())
    reading = read(frame)
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value) == (State.BLANK, None)


def test_minus_zero_keeps_its_sign() -> None:
    """A display of -0.000 is the float -0.0."""
    frame = drawing.frame("-0.000", "V", "dc")
    reading = read(frame)
    assert isinstance(reading, Reading)
    assert reading.value is not None
    assert math.copysign(1.0, reading.value) == -1.0


def test_flags_come_in_the_fixed_order() -> None:
    """Every sign of the display that is no number is a flag, in the order that readings promise."""
    frame = drawing.frame("1.000", "k", "ohm", "low_battery", "link", "rel", "hold", "auto", "extra_1")
    reading = read(frame)
    assert isinstance(reading, Reading)
    assert reading.flags == ("auto", "hold", "rel", "low_battery", "link", "extra_1")


@pytest.mark.parametrize(
    ("text", "symbols", "why"),
    [
        ("1L23", "ohm", "L"),
        (" L  ", "ohm", "L"),
        ("10L ", "ohm", "L"),
        ("1 23", "ohm", "blank inside"),
        ("123 ", "ohm", "blank inside"),
        ("1234", "", "no unit"),
        ("1234", "k", "no quantity"),
        ("1234", "k M ohm", "no quantity"),
        ("1234", "ohm V", "no quantity"),
        ("1234", "V", "no quantity"),
        ("1234", "V ac dc", "no quantity"),
        ("1234", "k degC", "prefix"),
        ("1.2.34", "ohm", "more than one"),
    ],
)
def test_what_no_meter_shows_is_garbage(text: str, symbols: str, why: str) -> None:
    """Contradictions on the display are garbage with a reason, never a guessed reading."""
    frame = drawing.frame(text, *symbols.split())
    item = read(frame)
    assert isinstance(item, Garbage)
    assert why in item.why
    assert item.raw == frame.hex()


def test_a_point_stands_before_the_first_digit_but_not_before_a_blank() -> None:
    """ " .45" is 0.45 with two blanks; a blank after the point is damage."""
    assert isinstance(read(drawing.frame("  .45", "ohm")), Reading)
    assert isinstance(read(drawing.frame(" . 45", "ohm")), Garbage)


def test_half_a_digit_is_garbage() -> None:
    """Of the 128 patterns of seven segments only ten digits, L and blank are glyphs."""
    good = {frozenset(segments) for segments in drawing.LIT.values()}
    for bits in range(128):
        segments = [letter for n, letter in enumerate("abcdefg") if bits >> n & 1]
        item = read(drawing.frame("   0", "ohm", *(f"{letter}3" for letter in segments)))
        if frozenset(segments) not in good:
            assert isinstance(item, Garbage)
            assert item.why == "digit 3 shows no digit"
