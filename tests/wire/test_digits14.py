"""Range code, digits, function and status: every function and flag of the table, and the shorter relative."""

from __future__ import annotations

import pytest

from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.wire import decoder

DIGITS14 = find_meter("digits14")
DIGITS11 = find_meter("digits11")
DC, AC = 8, 4


def frame(
    function: str, code: str, digits: str, *, status: int = 0, one: int = 0, two: int = 0, three: int = 0, four: int = 0
) -> bytes:
    """Return a frame by the format's description: range, digits, function, five status nibbles, CR LF."""
    tail = bytes(0x30 | nibble for nibble in (status, one, two, three, four))
    return f"{code}{digits}{function}".encode("ascii") + tail + b"\r\n"


def read(data: bytes, profile: object = DIGITS14) -> Reading | Garbage:
    """Return the one thing that a frame gives."""
    (item,) = decoder(profile).feed(data, 1.0)  # type: ignore[arg-type]
    return item


# The display a person would see, as value and weight of the last digit. 22 000 counts: ohm ranges 220.00 ohm …
# 220.00 Mohm in decades, volt ranges 2.2000 V … 2200.0 V and 220.00 mV.
SHOWN = [
    (frame("3", "0", "00187"), "resistance", 1.87, 0.01),
    (frame("3", "1", "21870"), "resistance", 2187.0, 0.1),
    (frame("3", "2", "02187"), "resistance", 2187.0, 1.0),
    (frame("3", "3", "04700"), "resistance", 47000.0, 10.0),
    (frame("3", "4", "10000"), "resistance", 1e6, 100.0),
    (frame("3", "5", "00000"), "resistance", 0.0, 1000.0),
    (frame("3", "6", "22000"), "resistance", 220e6, 10000.0),
    (frame("5", "0", "04711"), "continuity", 47.11, 0.01),
    (frame("1", "0", "06321"), "diode", 0.6321, 0.0001),
    (frame(";", "0", "15001", three=DC), "voltage_dc", 1.5001, 0.0001),
    (frame(";", "1", "05470", three=DC, status=4), "voltage_dc", -5.47, 0.001),
    (frame(";", "2", "23012", three=AC), "voltage_ac", 230.12, 0.01),
    (frame(";", "3", "10000", three=DC), "voltage_dc", 1000.0, 0.1),
    (frame(";", "4", "12345", three=DC), "voltage_dc", 0.12345, 0.00001),
    (frame("6", "0", "10000"), "capacitance", 1e-08, 1e-12),
    (frame("6", "3", "04700"), "capacitance", 4.7e-06, 1e-09),
    (frame("6", "7", "22000"), "capacitance", 0.22, 1e-05),
    (frame("2", "0", "05000", status=8), "frequency", 50.0, 0.01),
    (frame("2", "3", "12345", status=8), "frequency", 12345.0, 1.0),
    (frame("=", "0", "12345", three=DC), "current_dc", 0.00012345, 1e-08),
    (frame("=", "1", "12345", three=AC), "current_ac", 0.0012345, 1e-07),
    (frame("?", "0", "12345", three=DC), "current_dc", 0.012345, 1e-06),
    (frame("?", "1", "12345", three=AC), "current_ac", 0.12345, 1e-05),
    (frame("0", "0", "10000", three=DC, status=4), "current_dc", -10.0, 0.001),
]


@pytest.mark.parametrize(("data", "quantity", "value", "resolution"), SHOWN)
def test_every_function_reads_as_the_decimal_it_shows(
    data: bytes, quantity: str, value: float, resolution: float
) -> None:
    """Value and resolution are exactly the floats of the displayed decimal."""
    reading = read(data)
    assert isinstance(reading, Reading)
    assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)
    assert (reading.unit, reading.state, reading.flags) == (Quantity(quantity).unit, State.OK, ())


@pytest.mark.parametrize(
    ("nibbles", "flag"),
    [
        ({"status": 2}, "low_battery"),
        ({"one": 8}, "max"),
        ({"one": 4}, "min"),
        ({"one": 2}, "rel"),
        ({"three": 2}, "auto"),
        ({"four": 2}, "hold"),
        ({"two": 4}, "peak_max"),
        ({"three": 1}, "extra_auto_off"),
        ({"four": 1}, "extra_11_1"),
    ],
)
def test_every_status_bit_is_a_flag(nibbles: dict[str, int], flag: str) -> None:
    """Each bit comes out as its flag, alone."""
    data = frame("3", "1", "12345", **nibbles)
    reading = read(data)
    assert isinstance(reading, Reading)
    assert reading.flags == (flag,)


def test_flags_come_in_the_fixed_order() -> None:
    """All flags at once keep the order that readings promise, whatever the order of the bits."""
    data = frame("3", "1", "12345", status=2, one=15, three=2, four=2)
    reading = read(data)
    assert isinstance(reading, Reading)
    assert reading.flags == ("auto", "hold", "rel", "min", "max", "low_battery", "extra_8_1")


@pytest.mark.parametrize("digits", ["00000", "22000", "12345"])
def test_over_range_has_no_value_whatever_the_digits(digits: str) -> None:
    """The over bit makes over-range; its digits mean nothing."""
    data = frame("3", "6", digits, status=1, three=2)
    reading = read(data)
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value, reading.resolution) == (State.OVER, None, 1e4)


def test_underrange_is_blank() -> None:
    """A display of UL shows no number, so its digits are no value."""
    data = frame("2", "0", "00123", status=8, two=8)
    reading = read(data)
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value) == (State.BLANK, None)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (frame("3", "7", "00000"), "no digit weight for resistance in range '7'"),
        (frame("7", "0", "00000"), "function code '7'"),
        (frame(";", "0", "00000"), "no quantity"),
        (frame(";", "0", "00000", three=DC | AC), "no quantity"),
        (frame("2", "0", "05000"), "no digit weight for duty"),
        (frame("4", "0", "00235"), "no digit weight for temperature"),
        (frame("3", "0", "000:0"), "a digit that is none"),
        (frame("3", "0", "00000", two=1 | 8, status=1), "over-range and underrange"),
        (b"0000003@0000\r\n", "no status byte"),
        (b"0000003000000\n", "no CR"),
        (b"\xb000000300000\r\n", "function"),
    ],
)
def test_what_the_tables_do_not_know_is_garbage(data: bytes, why: str) -> None:
    """An unknown range, function, bit or a contradiction is garbage with its reason, never a guess."""
    items = decoder(DIGITS14).feed(data, 1.0)
    assert len(items) == 1
    assert isinstance(items[0], Garbage)
    assert why in items[0].why


@pytest.mark.parametrize(
    ("data", "quantity", "value", "resolution", "flags"),
    [
        (b"002183000\r\n", "resistance", 21.8, 0.1, ()),
        (b"121873002\r\n", "resistance", 2187.0, 1.0, ("auto",)),
        (b"15470;408\r\n", "voltage_dc", -54.7, 0.01, ()),
        (b"500003200\r\n", "resistance", 0.0, 1e4, ("low_battery",)),
    ],
)
def test_the_shorter_relative_differs_by_its_tables_alone(
    data: bytes, quantity: str, value: float, resolution: float, flags: tuple[str, ...]
) -> None:
    """Eleven bytes by the same code: four digits, three status bytes."""
    reading = read(data, DIGITS11)
    assert isinstance(reading, Reading)
    assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)
    assert reading.flags == flags


def test_the_shorter_relative_refuses_bits_it_does_not_know() -> None:
    """A bit without a meaning in the profile makes garbage."""
    item = read(b"121873012\r\n", DIGITS11)
    assert isinstance(item, Garbage)
    assert item.why == "bit 7.1 is not in the profile's table"


def test_a_line_too_long_is_no_frame_unless_something_foreign_stands_before() -> None:
    """With a frame's own kind of byte before it nobody can tell where the frame began: 14 bytes of it could be
    shifted by one."""
    good = frame("3", "1", "12345")
    junk, reading = decoder(DIGITS14).feed(b"\x00\xff" + good, 1.0)
    assert isinstance(junk, Garbage)
    assert isinstance(reading, Reading)
    (item,) = decoder(DIGITS14).feed(b"7" + good, 1.0)
    assert isinstance(item, Garbage)
    # One byte lost from the front, one digit left over from the frame before: the wrong range, were it taken.
    (item, after) = decoder(DIGITS14).feed(good[:5] + good[1:] + good, 1.0)
    assert isinstance(item, Garbage)
    assert isinstance(after, Reading)
