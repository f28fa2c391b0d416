"""Answers of SCPI meters: the standard's number forms and special values, and the query before them.

Number forms by IEEE 488.2: NR1 `273` (8.7.2, clause number from memory), NR2 `0.273` (8.7.3), NR3 `2.73E+2`
(8.7.4); special values by SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5 (clause numbers from memory): infinity 9.9E37,
not-a-number 9.91E37.
"""

from __future__ import annotations

import msgspec
import pytest

from metercap.errors import ProfileError
from metercap.profiles import find_meter
from metercap.reading import Garbage, Reading, State
from metercap.wire import decoder

SCPI = find_meter("scpi")


def read(data: bytes) -> Reading | Garbage:
    """Return the one thing that a line gives."""
    meter = decoder(SCPI)
    (item,) = [*meter.feed(data, 1.0), *meter.flush(1.0)]
    return item


@pytest.mark.parametrize(
    ("answer", "value"),
    [
        ("273", 273.0),
        ("+273", 273.0),
        ("0.273", 0.273),
        ("-0.273", -0.273),
        (".5", 0.5),
        ("5.", 5.0),
        ("2.73E+2", 273.0),
        ("2.73E2", 273.0),
        ("2.73e-03", 0.00273),
        ("+1.234E+3", 1234.0),
        ("+1.23400000E+03", 1234.0),
        ("+0.00000000E+00", 0.0),
        ("-1.00000000E-06", -1e-06),
        ("+9.90000000E+06", 9.9e6),
        ("123456789012345", 123456789012345.0),
        ("+9.999999999E+05", 999999.9999),
    ],
)
def test_numbers_of_ieee_488_2(answer: str, value: float) -> None:
    """NR1, NR2 and NR3 read exactly, and each spelling re-encodes."""
    for line in (f"RES? {answer}\n", f"MEAS:RES? {answer}\r\n", f"MEAS:RES?1000 {answer}\n"):
        reading = read(line.encode())
        assert isinstance(reading, Reading)
        assert (reading.quantity, reading.value, reading.unit) == ("resistance", value, "ohm")
        assert reading.state == State.OK


@pytest.mark.parametrize(
    ("line", "counts", "resolution"),
    [
        # By hand: range / counts, up to the next power of ten. 100 ohm / 19 999 = 5.0 mohm, so 10 mohm.
        ("MEAS:RES? -1.73000000E-03", 19_999, 0.01),
        ("MEAS:RES?2 -1.73000000E-03", 19_999, 0.01),
        ("MEAS:RES?2 0", 19_999, 0.01),
        ("MEAS:RES? +1.19999999E+02", 19_999, 0.01),
        ("MEAS:RES? +1.20100000E+02", 19_999, 0.1),
        ("MEAS:RES?1000 +1.00000000E+00", 19_999, 0.1),
        ("MEAS:RES?1001 +1.00000000E+00", 19_999, 1.0),
        ("MEAS:RES? +4.70000000E+06", 19_999, 1000.0),
        ("MEAS:RES? -1.73000000E-03", 1_199_999, 0.0001),  # 100 / 1 199 999 = 83 µohm
        ("MEAS:VOLT:DC? +3.00000000E+00", 19_999, 0.001),  # 10 V / 19 999 = 0.50 mV
        ("MEAS:VOLT:DC? +2.00000000E-06", 19_999, 0.00001),
        ("MEAS:CONT? +1.00000000E+00", 19_999, 0.1),
    ],
)
def test_resolution_is_what_the_range_gives(line: str, counts: int, resolution: float) -> None:
    """However many digits are printed: a count of the range asked for, else of the lowest that holds the value."""
    profile = msgspec.structs.replace(SCPI, counts=counts)
    (reading,) = decoder(profile).feed(f"{line}\n".encode(), 1.0)
    assert isinstance(reading, Reading)
    assert reading.resolution == resolution
    for digits in ("E+00", ".0E+00", ".00000000000E+00"):
        (other,) = decoder(profile).feed(f"MEAS:RES?2 1{digits}\n".encode(), 1.0)
        assert isinstance(other, Reading)
        assert other.resolution == {19_999: 0.01, 1_199_999: 0.0001}[counts]


def test_a_profile_states_its_meters_lowest_range() -> None:
    """A meter whose lowest range is 10 ohm tells ten times less apart; a range that is no decade is refused."""
    own = msgspec.structs.replace(SCPI, tables=SCPI.tables | {"lowest_ranges": {"resistance": 10.0}})
    (reading,) = decoder(own).feed(b"MEAS:RES?2 +3.1E-01\n", 1.0)
    assert isinstance(reading, Reading)
    assert reading.resolution == 0.001
    for table, word in (({"resistance": 30.0}, "power of ten"), ({"resistence": 10.0}, 'did you mean "resistance"')):
        with pytest.raises(ProfileError, match=word):
            decoder(msgspec.structs.replace(SCPI, tables=SCPI.tables | {"lowest_ranges": table}))


@pytest.mark.parametrize("answer", ["9.9E37", "9.9E+37", "+9.9E37", "-9.9E37", "+9.90000000E+37", "-9.90000000E+37"])
def test_infinity_is_over_range(answer: str) -> None:
    """±9.9E37 in any spelling is over-range and no value."""
    line = f"MEAS:RES? {answer}\n".encode()
    reading = read(line)
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value, reading.resolution) == (State.OVER, None, 0.0)
    assert ("minus" in reading.flags) == answer.startswith("-")


@pytest.mark.parametrize("answer", ["9.91E37", "9.91E+37", "+9.91000000E+37"])
def test_not_a_number_is_blank(answer: str) -> None:
    """9.91E37 in any spelling is a blank display and no value."""
    line = f"VOLT? {answer}\n".encode()
    reading = read(line)
    assert isinstance(reading, Reading)
    assert (reading.quantity, reading.state, reading.value) == ("voltage_dc", State.BLANK, None)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"1.0\n", "no query"),
        (b" 1.0\n", "no query"),
        (b"FOO? 1.0\n", "no query 'FOO?'"),
        (b"RES 1.0\n", "no query 'RES'"),
        (b"*IDN? a,b,0,0\n", "no query '*IDN?'"),
        (b"RES? nan\n", "not one number"),
        (b"RES? INF\n", "not one number"),
        (b"RES? \n", "not one number"),
        (b"RES?\n", "not one number"),
        (b"RES? 1.0,2.0\n", "not one number"),
        (b"RES? 1.0;2.0\n", "not one number"),
        (b"RES? 1.0 V\n", "not one number"),
        (b"RES? 1.0OHM\n", "not one number"),
        (b"RES?  1.0\n", "not one number"),
        (b"RES? 1.0 \n", "not one number"),
        # A second field, a status line, a message and an echo: each ends in a number that nobody measured.
        (b"MEAS:RES? +1.5E+3, +2.0E-1\n", "not one number"),
        (b"MEAS:RES? RNG 3 OVLD 1\n", "not one number"),
        (b"MEAS:RES? OHM 1.5E3 RANGE 0\n", "not one number"),
        (b"MEAS:RES? Error 113\n", "not one number"),
        (b"MEAS:RES?2 MEAS:RES? 2\n", "not one number"),
        (b"MEAS:RES? 2 3.1E-01\n", "not one number"),
        (b"MEAS:RES? 1.0\r2.0\n", "printable"),
        (b"MEAS:RES?2,MIN 1.0\n", "no range"),
        (b"MEAS:RES?-2 1.0\n", "no range"),
        (b"MEAS:RES?0 1.0\n", "no range"),
        (b"MEAS:RES?1E99 1.0\n", "no range"),
        (b"MEAS:RES?nan 1.0\n", "no range"),
        (b"RES? 1E999\n", "that a meter shows"),
        (b"RES? 9.92E37\n", "that a meter shows"),
        (b"RES? 99.90000000E+37\n", "that a meter shows"),
        (b"RES? -9.90000001E+37\n", "that a meter shows"),
        (b"RES? 1.234567890123456\n", "that a meter shows"),
        (b"RES? 1_0\n", "not one number"),
        (b"RES? \xd9\xa1\n", "printable"),
        (b"\n", "an empty line"),
    ],
)
def test_what_is_no_answer_is_garbage(line: bytes, why: str) -> None:
    """Everything else is garbage with its reason; a huge number is no value either."""
    item = read(line)
    assert isinstance(item, Garbage)
    assert why in item.why


def test_every_query_of_the_profile_reads_as_its_quantity() -> None:
    """The table's queries all work, and the first of a quantity is the usual one."""
    usual: dict[str, str] = {}
    for query, quantity in SCPI.tables["queries"].items():
        assert isinstance(quantity, str)
        usual.setdefault(quantity, query)
        reading = read(f"{query} +1.00000000E+00\n".encode())
        assert isinstance(reading, Reading)
        assert reading.quantity == quantity
        assert reading.flags == ()


def test_the_first_line_is_whole() -> None:
    """The link writes these lines itself, so there is none that began before anybody listened."""
    first = decoder(SCPI, midstream=True).feed(b"MEAS:RES? +1.23400000E+03\n", 1.0)
    assert [one.value for one in first if isinstance(one, Reading)] == [1234.0]
