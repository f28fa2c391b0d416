"""Free lines: what the shipped profile reads, and what re-encodes how."""

from __future__ import annotations

import time

import msgspec
import pytest

from metercap.errors import ProfileError
from metercap.profiles import find_meter
from metercap.reading import Garbage, Reading, State
from metercap.wire import decoder, encode, patterns

TEXT = find_meter("text")


def read(line: str) -> Reading | Garbage:
    """Return the one thing that a line gives."""
    (item,) = decoder(TEXT).feed(line.encode("utf-8"), 1.0)
    return item


USUAL = [
    ("2.187 kohm", "resistance", 2187.0, 1.0),
    ("0.2 ohm", "resistance", 0.2, 0.1),
    ("100 ohm", "resistance", 100.0, 1.0),
    ("12.5 Mohm", "resistance", 12.5e6, 1e5),
    ("0.000 ohm", "resistance", 0.0, 0.001),
    ("47.1 ohm cont", "continuity", 47.1, 0.1),
    ("-5.47 V DC", "voltage_dc", -5.47, 0.01),
    ("-0.00 V DC", "voltage_dc", 0.0, 0.01),
    ("230.1 V AC", "voltage_ac", 230.1, 0.1),
    ("12.5 mA DC", "current_dc", 0.0125, 0.0001),
    ("4.7 uF", "capacitance", 4.7e-06, 1e-07),
    ("50.00 Hz", "frequency", 50.0, 0.01),
    ("49.9 %", "duty", 49.9, 0.1),
    ("23.5 degC", "temperature", 23.5, 0.1),
    ("0.632 V diode", "diode", 0.632, 0.001),
]
OTHERS = [
    ("2.187 kΩ", "resistance", 2187.0, 1.0),
    ("2.187 k\u2126", "resistance", 2187.0, 1.0),
    ("2.187kOhm", "resistance", 2187.0, 1.0),
    ("2187 ohm", "resistance", 2187.0, 1.0),
    ("0.2187 kohm", "resistance", 218.7, 0.1),
    ("  +0002.187   Kohm  ", "resistance", 2187.0, 1.0),
    (".5 ohm", "resistance", 0.5, 0.1),
    ("5. ohm", "resistance", 5.0, 1.0),
    ("12 mohm", "resistance", 0.012, 0.001),
    ("1.500 V", "voltage_dc", 1.5, 0.001),
    ("632 mV diode", "diode", 0.632, 0.001),
    ("4.7 \u00b5F", "capacitance", 4.7e-06, 1e-07),
    ("4.7 \u03bcF", "capacitance", 4.7e-06, 1e-07),
    ("23.5 \u00b0C", "temperature", 23.5, 0.1),
]


@pytest.mark.parametrize(("line", "quantity", "value", "resolution"), USUAL)
def test_a_usual_line_is_rebuilt_from_value_and_quantity_alone(
    line: str, quantity: str, value: float, resolution: float
) -> None:
    """In the meter's own way of writing nothing but the reading's fields is needed: no layout flag."""
    reading = read(f"{line}\r\n")
    assert isinstance(reading, Reading)
    assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)
    assert reading.flags == ()
    assert encode(TEXT, reading) == f"{line}\r\n".encode()


@pytest.mark.parametrize(("line", "quantity", "value", "resolution"), OTHERS)
def test_any_other_line_carries_how_it_was_written(line: str, quantity: str, value: float, resolution: float) -> None:
    """Other spellings read the same; the flag holds all but the digits, which still come from the value."""
    for end in ("\n", "\r\n"):
        reading = read(line + end)
        assert isinstance(reading, Reading)
        assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)
        (flag,) = reading.flags
        assert flag.isascii()
        assert flag.isprintable()
        assert encode(TEXT, reading) == (line + end).encode()


@pytest.mark.parametrize("line", ["OL", "OL ohm", "OL Mohm", "ol", "-OL V DC", "OL V dc auto", "OLkohm"])
def test_ol_is_over_range(line: str) -> None:
    """OL is over-range without a value; a bare OL is the ohmmeter's."""
    reading = read(f"{line}\r\n")
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value, reading.resolution) == (State.OVER, None, 0.0)
    assert reading.quantity == ("voltage_dc" if "V" in line else "resistance")
    assert encode(TEXT, reading) == f"{line}\r\n".encode()


def test_dashes_are_blank() -> None:
    """Two dashes or more are a display that shows nothing."""
    reading = read("-- ohm\r\n")
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value) == (State.BLANK, None)
    assert encode(TEXT, reading) == b"-- ohm\r\n"


def test_words_are_flags() -> None:
    """Flag words come out in the fixed order and, in the usual line, without layout."""
    reading = read("2.187 kohm auto hold\r\n")
    assert isinstance(reading, Reading)
    assert reading.flags == ("auto", "hold")
    assert encode(TEXT, reading) == b"2.187 kohm auto hold\r\n"
    shuffled = read("2.187 kohm HOLD, AUTO\r\n")
    assert isinstance(shuffled, Reading)
    assert shuffled.flags[:2] == ("auto", "hold")
    assert encode(TEXT, shuffled) == b"2.187 kohm HOLD, AUTO\r\n"


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("1234\n", "fits no pattern"),
        ("\n", "empty"),
        ("\r\n", "empty"),
        ("hello\n", "fits no pattern"),
        ("2.1 kfoo\n", "no unit 'kfoo'"),
        ("2.1 k%\n", "no unit 'k%'"),
        ("2.1 ohm turbo\n", "no flag 'turbo'"),
        ("2.1 ohm dc\n", "no quantity"),
        ("1.500 v dc\n", "no unit 'v'"),
        ("1,5 kohm\n", "fits no pattern"),
        ("1e5 ohm\n", "fits no pattern"),
        ("2.1.8 ohm\n", "fits no pattern"),
        ("٢ ohm\n", "fits no pattern"),
        ("1234567890123456 ohm\n", "15 digits"),
    ],
)
def test_what_the_profile_cannot_read_is_garbage(line: str, why: str) -> None:
    """Nothing is guessed: every other line is garbage with its reason."""
    item = read(line)
    assert isinstance(item, Garbage)
    assert why in item.why


def test_bytes_that_are_no_utf_8_are_garbage() -> None:
    """A line in another encoding is garbage."""
    (item,) = decoder(TEXT).feed(b"2.1 k\xea\n", 1.0)
    assert isinstance(item, Garbage)
    assert item.why == "not UTF-8"


def test_a_stream_that_may_begin_inside_a_line_drops_its_first() -> None:
    """`187 kohm` may be the end of `2.187 kohm`: with `midstream` the first line is garbage, also after a lost
    link."""
    meter = decoder(TEXT, midstream=True)
    cut, reading = meter.feed(b"187 kohm\r\n2.187 kohm\r\n", 1.0)
    assert isinstance(cut, Garbage)
    assert isinstance(reading, Reading)
    assert reading.value == 2187.0
    meter.flush(2.0)
    (cut,) = meter.feed(b"187 kohm\r\n2.1", 3.0)
    assert isinstance(cut, Garbage)


def test_the_end_of_a_line_whose_beginning_was_given_up_is_no_line() -> None:
    """After `2.` and a long silence, `187 kohm` is the rest of that line, not a reading a hundred times as large."""
    meter = decoder(TEXT)
    meter.feed(b"2.", 1.0)
    items = [*meter.feed(b"187 kohm\r\n", 3.0), *meter.feed(b"2.187 kohm\r\n", 4.0)]
    assert [item.value for item in items if isinstance(item, Reading)] == [2187.0]


@pytest.mark.parametrize(
    "pattern", [r"(?P<value>(\d+)+)x", r"(?P<value>(a|aa)+)", r"((?P<value>\d*\.?)*)*", r"(?P<value>(?:\s*\d){2,}\s)"]
)
def test_repetition_inside_repetition_is_refused(pattern: str) -> None:
    """A pattern that could take exponential time never meets a line."""
    assert "for ever" in patterns.check(pattern)
    with pytest.raises(ProfileError, match="patterns, number 1"):
        decoder(msgspec.structs.replace(TEXT, patterns=(pattern,)))


def test_other_broken_patterns_are_refused() -> None:
    """No regular expression, an unknown group, no group that means anything."""
    assert "no regular expression" in patterns.check("(")
    assert "group 'volts'" in patterns.check(r"(?P<volts>\d)")
    assert "no group named" in patterns.check(r"\d")
    assert "1000 characters" in patterns.check("x" * 1001)
    assert patterns.check(r"(?P<value>[()+*]{2}\)+)") == ""


def test_the_shipped_patterns_are_quick_on_the_worst_lines() -> None:
    """Lines of 256 bytes made to backtrack take well under 50 ms each."""
    for line in (
        "1" * 255,
        "1." + "9" * 253,
        "1 " + "V" * 253,
        "1" + " " * 253 + "V",
        "-" * 255,
        "1 V " + "a " * 125 + "1",
    ):
        began_s = time.perf_counter()
        read(f"{line}\n"[-256:])
        assert time.perf_counter() - began_s < 0.05
