"""Free lines: what the shipped profile reads, and what re-encodes how."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import msgspec
import pytest

from metercap.errors import ProfileError
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.wire import decoder, patterns

TEXT = find_meter("text")


def read(line: str) -> Reading | Garbage:
    """Return the one thing that a line gives."""
    meter = decoder(TEXT)
    (item,) = [*meter.feed(line.encode("utf-8"), 1.0), *meter.flush(1.0)]
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
def test_a_usual_line_reads_as_the_decimal_it_shows(line: str, quantity: str, value: float, resolution: float) -> None:
    """Value and resolution are exactly the floats of the written decimal."""
    reading = read(f"{line}\r\n")
    assert isinstance(reading, Reading)
    assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)
    assert reading.flags == ()


@pytest.mark.parametrize(("line", "quantity", "value", "resolution"), OTHERS)
def test_other_spellings_read_the_same(line: str, quantity: str, value: float, resolution: float) -> None:
    """However a line is written, the reading says only what the meter says."""
    for end in ("\n", "\r\n"):
        reading = read(line + end)
        assert isinstance(reading, Reading)
        assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)
        assert reading.flags == ()


@pytest.mark.parametrize("line", ["OL", "OL ohm", "OL Mohm", "ol", "-OL V DC", "OL V dc auto", "OLkohm"])
def test_ol_is_over_range(line: str) -> None:
    """OL is over-range without a value; a bare OL is the ohmmeter's."""
    reading = read(f"{line}\r\n")
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value, reading.resolution) == (State.OVER, None, 0.0)
    assert reading.quantity == ("voltage_dc" if "V" in line else "resistance")


def test_dashes_are_blank() -> None:
    """Two dashes or more are a display that shows nothing."""
    reading = read("-- ohm\r\n")
    assert isinstance(reading, Reading)
    assert (reading.state, reading.value) == (State.BLANK, None)


def test_words_are_flags() -> None:
    """Flag words come out in the fixed order."""
    reading = read("2.187 kohm auto hold\r\n")
    assert isinstance(reading, Reading)
    assert reading.flags == ("auto", "hold")
    shuffled = read("2.187 kohm HOLD, AUTO\r\n")
    assert isinstance(shuffled, Reading)
    assert shuffled.flags == ("auto", "hold")


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


HOSTILE = [
    # Each takes a matcher that goes back time that grows with a power of the line's length, or exponentially.
    r"(?P<value>(\d+)+)x",
    r"(?P<value>(a|aa)+)x",
    r"((?P<value>\d*\.?)*)*x",
    r"(?P<value>(?:\s*\d){2,}\s)",
    r"(?P<value>.*.*.*.*.*.*.*.*)=",
    r"(?P<value>(?:a?){60}a{60})",
    r"(?P<value>(?:.*1){12})x",
    r"(?P<value>([0-9]|[0-9][0-9]|1)*)x",
]


@pytest.mark.parametrize("pattern", HOSTILE)
def test_no_pattern_takes_long_on_any_line(pattern: str) -> None:
    """Whatever a file's pattern says, a line of 256 bytes takes it well under 50 ms."""
    profile = msgspec.structs.replace(TEXT, patterns=(pattern,) * 8)
    for line in ("1" * 255, "a" * 255, "1 " * 127, "=" * 255):
        meter = decoder(profile)
        began_s = time.perf_counter()
        meter.feed(f"{line[:255]}\n".encode(), 1.0)
        assert time.perf_counter() - began_s < 0.05


def test_a_hostile_pattern_in_a_journal_does_not_hang_its_check(tmp_path: Path) -> None:
    """A journal that came by mail, its profile's pattern made to backtrack, its readings the worst of lines."""
    from metercap.commands._opening import session_record
    from metercap.journal.format import Chain
    from metercap.plan import Plan
    from metercap.reading import Garbage

    profile = msgspec.structs.replace(TEXT, patterns=(r"(?P<value>(.*.*.*.*)*)=",))
    chain, path = Chain(), tmp_path / "mailed.jsonl"
    records = [session_record(Plan(title="x", steps=()), profile, unit="x")]
    records += [Garbage(t_s=float(n), raw=(b"1" * 240 + b"\n").hex(), why="x") for n in range(20)]  # type: ignore[misc]
    records += [
        Reading(n + 30.0, Quantity.RESISTANCE, 1.0, 1.0, "ohm", State.OK, (), (b"1" * 240 + b"\n").hex())  # type: ignore[misc]
        for n in range(20)
    ]
    path.write_bytes(b"".join(chain.line(record) for record in records))
    ended = subprocess.run(
        [sys.executable, "-m", "metercap", "replay", str(path), "--check"], capture_output=True, timeout=20
    )
    assert ended.returncode == 1
    assert b"defect" not in ended.stderr


@pytest.mark.parametrize(
    "pattern", [r"(?=a)(?P<over>b)", r"(?P<over>a(?!b))", r"(?<=a)(?P<over>b)", r"(?<!a)(?P<over>b)"]
)
def test_looking_around_is_refused(pattern: str) -> None:
    """What cannot be matched in one pass says so by name."""
    assert "looks ahead or behind" in str(patterns.compiled(pattern))
    with pytest.raises(ProfileError, match="patterns, number 1: looks ahead or behind"):
        decoder(msgspec.structs.replace(TEXT, patterns=(pattern,)))


@pytest.mark.parametrize("pattern", [r"(?P<value>\d)\1", r"(?P<value>\d)(?P=value)"])
def test_referring_back_is_refused(pattern: str) -> None:
    """The same for back-references, by number and by name."""
    assert "refers back" in str(patterns.compiled(pattern))


def test_other_broken_patterns_are_refused() -> None:
    """No regular expression, too large a one, an unknown group, no group that means anything."""
    assert "no regular expression" in str(patterns.compiled("("))
    assert "no regular expression" in str(patterns.compiled("(?P<value>((a{100}){100}){100})"))
    assert "no regular expression" in str(patterns.compiled(r"(?P<value>(?:.?){900})"))
    assert "write {0,5}" in str(patterns.compiled(r"(?P<value>\d{,5})"))
    assert "group 'volts'" in str(patterns.compiled(r"(?P<volts>\d)"))
    assert "no group named" in str(patterns.compiled(r"\d"))
    assert "1000 characters" in str(patterns.compiled("x" * 1001))
    assert isinstance(patterns.compiled(r"(?P<value>[()+*]{2}\)+)"), patterns.Pattern)
    with pytest.raises(ProfileError, match="more than 64"):
        decoder(msgspec.structs.replace(TEXT, patterns=TEXT.patterns * 30))


def test_characters_may_be_written_by_number() -> None:
    """`\\u03a9` is the ohm sign; behind an escaped backslash it is not."""
    for pattern, line, fits in (
        (r"(?P<over>\u03a9)", "Ω", True),
        (r"(?P<over>[\u00b5\u03BC])", "μ", True),
        (r"(?P<over>\\u03a9)", "Ω", False),
        (r"(?P<over>\\u03a9)", "\\u03a9", True),
    ):
        found = patterns.compiled(pattern)
        assert isinstance(found, patterns.Pattern)
        assert (found.whole(line, 0, len(line)) is not None) == fits


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
