"""Lines of 14 characters: modes, units, over-range, and lines that write otherwise."""

from __future__ import annotations

import pytest

from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.wire import decoder

POLLED = find_meter("polled-line")


def read(data: bytes) -> Reading | Garbage:
    """Return the one thing that a line gives."""
    (item,) = decoder(POLLED).feed(data, 1.0)
    return item


SHOWN = [
    (b"OH  2.187kOhm\r", "resistance", 2187.0, 1.0),
    (b"OH  000.3 Ohm\r", "resistance", 0.3, 0.1),
    (b"OH  0.000MOhm\r", "resistance", 0.0, 1000.0),
    (b"OH    0.3 Ohm\r", "resistance", 0.3, 0.1),
    (b"OH 0.3    Ohm\r", "resistance", 0.3, 0.1),
    (b"OH 123456 Ohm\r", "resistance", 123456.0, 1.0),
    (b"DC  1.499   V\r", "voltage_dc", 1.499, 0.001),
    (b"DC- 5.470   V\r", "voltage_dc", -5.47, 0.001),
    (b"DC- 5.470 V  \r", "voltage_dc", -5.47, 0.001),
    (b"DC  123.4  mV\r", "voltage_dc", 0.1234, 0.0001),
    (b"AC  230.1   V\r", "voltage_ac", 230.1, 0.1),
    (b"DC  1.234   A\r", "current_dc", 1.234, 0.001),
    (b"DC  12.34  mA\r", "current_dc", 0.01234, 1e-05),
    (b"AC  123.4  uA\r", "current_ac", 0.0001234, 1e-07),
    (b"DI  0.632   V\r", "diode", 0.632, 0.001),
    (b"DI   632.  mV\r", "diode", 0.632, 0.001),
    (b"CA  4.700  uF\r", "capacitance", 4.7e-06, 1e-09),
    (b"CA  10.05  nF\r", "capacitance", 1.005e-08, 1e-11),
    (b"FR  50.00  Hz\r", "frequency", 50.0, 0.01),
    (b"FR  1.250 MHz\r", "frequency", 1250000.0, 1000.0),
    (b"TE- 012.5   C\r", "temperature", -12.5, 0.1),
]


@pytest.mark.parametrize(("data", "quantity", "value", "resolution"), SHOWN)
def test_a_line_reads_as_the_decimal_it_shows(data: bytes, quantity: str, value: float, resolution: float) -> None:
    """Value and resolution are exactly the floats of the written decimal."""
    reading = read(data)
    assert isinstance(reading, Reading)
    assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)
    assert (reading.unit, reading.state) == (Quantity(quantity).unit, State.OK)


@pytest.mark.parametrize("value", [b"   O.L", b" 0L   ", b"  .OL ", b"    OL", b"     L"])
def test_over_range_holds_an_l(value: bytes) -> None:
    """Over-range has no value and no last digit."""
    data = b"OH " + value + b"MOhm\r"
    reading = read(data)
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value, reading.resolution) == (State.OVER, None, 0.0)


def test_a_blank_value_is_blank_and_keeps_its_minus() -> None:
    """A line without digits is a reading of state blank; its sign is a flag."""
    data = b"DC-         V\r"
    reading = read(data)
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value, reading.flags) == (State.BLANK, None, ("minus",))


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"XX  2.187kOhm\r", "mode 'XX'"),
        (b"OH  2.187   V\r", "mode 'OH' and unit 'V'"),
        (b"OH+ 2.187kOhm\r", "no sign"),
        (b"OH  2.1.7kOhm\r", "no number"),
        (b"OH  2 187kOhm\r", "no number"),
        (b"OH   -2.1kOhm\r", "no number"),
        (b"OH    1.LkOhm\r", "no number"),
        (b"OH      .kOhm\r", "no number"),
        (b"OH  2.187kOh\xed\r", "printable"),
        (b"OH  2.187kOh\n\r", "printable"),
        (b"OH 2.187kOhm\r", "13 bytes"),
    ],
)
def test_what_is_no_line_of_this_meter_is_garbage(data: bytes, why: str) -> None:
    """Every other line is garbage with its reason."""
    item = read(data)
    assert isinstance(item, Garbage)
    assert why in item.why


def test_the_profile_polls_with_a_d_no_faster_than_the_line_can() -> None:
    """Question and answer take 15 bytes at 600 7N2: 10 bits each, so at most four a second fit."""
    assert POLLED.poll is not None
    assert POLLED.poll.send == "D"
    assert POLLED.serial.byte_s == pytest.approx(10 / 600)
    assert POLLED.poll.per_s * 15 * POLLED.serial.byte_s < 1
