"""From sample lines to a profile: what is found, what is asked, and that nothing is guessed."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import UsageError
from metercap.meter import MeterProfile
from metercap.meters.plainlines import Hints, Question, teach
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import State
from tests.effort import examples

BASE = find_meter("text")
OHM = Hints(quantity=Quantity.RESISTANCE)

FOUND = [
    ("2.187 kohm", Hints(), Quantity.RESISTANCE, 2187.0, 1.0),
    ("R=2187.3 ohm", Hints(), Quantity.RESISTANCE, 2187.3, 0.1),
    ("R1=0.31", OHM, Quantity.RESISTANCE, 0.31, 0.01),
    ("2187.3", OHM, Quantity.RESISTANCE, 2187.3, 0.1),
    ("2.187k", OHM, Quantity.RESISTANCE, 2187.0, 1.0),
    ("12:03:04 2.187 kOhm", Hints(), Quantity.RESISTANCE, 2187.0, 1.0),
    ("123;2187.3;-4", Hints(number=2, quantity=Quantity.VOLTAGE_AC), Quantity.VOLTAGE_AC, 2187.3, 0.1),
    ("V = -5.471 V DC", Hints(), Quantity.VOLTAGE_DC, -5.471, 0.001),
    ("U: 5.47 V AC rms", Hints(), Quantity.VOLTAGE_AC, 5.47, 0.01),
    ("DC 5.4 mV", Hints(), Quantity.VOLTAGE_DC, 0.0054, 0.0001),
    ("5.47 V", Hints(quantity=Quantity.VOLTAGE_AC), Quantity.VOLTAGE_AC, 5.47, 0.01),
    ("Ohm: 2187", Hints(), Quantity.RESISTANCE, 2187.0, 1.0),
    ("CH2 2.2 kohm", Hints(), Quantity.RESISTANCE, 2200.0, 100.0),
    ("T: 23.4 °C", Hints(), Quantity.TEMPERATURE, 23.4, 0.1),
    ("0.000 Mohm", Hints(), Quantity.RESISTANCE, 0.0, 1000.0),
]


@pytest.mark.parametrize(("line", "hints", "quantity", "value", "resolution"), FOUND)
def test_a_line_gives_its_number(line: str, hints: Hints, quantity: Quantity, value: float, resolution: float) -> None:
    """The value is the written decimal's float, the resolution its last digit's weight; it re-encodes to its bytes."""
    taught = teach([line], BASE, hints)
    ((_, reading),) = taught.rows
    assert (reading.quantity, reading.value, reading.resolution) == (quantity, value, resolution)


@pytest.mark.parametrize(
    ("line", "hints", "state"),
    [
        ("OL", Hints(), State.OVER),
        ("R=OL", Hints(), State.OVER),
        ("over ohm", Hints(), State.OVER),
        ("inf", OHM, State.OVER),
        ("R = 0.L kohm", Hints(), State.OVER),
        ("1.", Hints(over=("1.",)), State.OVER),
        ("-----", Hints(), State.BLANK),
        ("wait", Hints(blank=("wait",)), State.BLANK),
    ],
)
def test_a_line_without_a_value(line: str, hints: Hints, state: State) -> None:
    """Over-range and blank lines give no number."""
    taught = teach([line, "2.187 kohm"], BASE, hints)
    reading = taught.rows[0][1]
    assert (reading.state, reading.value) == (state, None)


@pytest.mark.parametrize(
    ("line", "about"),
    [
        ("123;2187.3;-4", "number"),
        ("2,187 kohm", "number"),  # a decimal comma must not become 187 kohm
        ("12,2187.3", "number"),
        ("R=2187.3", "quantity"),
        ("A: 5.3", "quantity"),  # A may be a label as well as amperes
        ("2.187k", "quantity"),
        ("ready", "over"),
    ],
)
def test_what_a_line_does_not_tell_is_asked(line: str, about: str) -> None:
    """No guess: a question that names the line and the option."""
    with pytest.raises(Question) as asked:
        teach([line], BASE, Hints())
    assert asked.value.about == about
    assert f"--{about}" in asked.value.hint
    assert line in str(asked.value)


@pytest.mark.parametrize("line", ["1.2e3 ohm", "a\x1bb", "x" * 300, "1234567890123456789 ohm"])
def test_what_the_family_cannot_read_is_refused(line: str) -> None:
    """Exponents, control characters, endless lines and numbers: an error, not half a profile."""
    with pytest.raises(UsageError):
        teach([line], BASE, Hints())


def test_no_lines_are_refused() -> None:
    """Blank lines are none."""
    with pytest.raises(UsageError, match="no sample line"):
        teach(["", "  "], BASE, Hints())


def test_other_labels_and_channels_are_left_alone() -> None:
    """A pattern made from channel 1 does not take channel 2's lines, but takes other numbers and paddings."""
    profile = teach(["CH1 R= 2.2 kohm #17"], BASE, Hints()).profile
    assert read(profile, "CH1 R=  102.2 ohm #18") == 102.2
    assert read(profile, "CH2 R= 2.2 kohm #17") is None
    assert read(profile, "CH1 U= 2.2 kohm #17") is None


def test_a_meter_in_its_usual_form_needs_no_flags() -> None:
    """Bare numbers, and units written the meter's own way, do not carry their layout in every reading."""
    for lines, hints in ((["2187.3", "OL"], OHM), (["2.187 kOhm", "0.3 Ohm", "OVER"], Hints())):
        assert all(reading.flags == () for _, reading in teach(lines, BASE, hints).rows)


TOKENS = st.sampled_from(
    [
        "R=",
        "R1",
        " ",
        "  ",
        "ohm",
        "kohm",
        "V",
        "DC",
        ",",
        ";",
        ":",
        "OL",
        "2.187",
        "0.3",
        "-5",
        "17",
        "k",
        "x",
        ".",
        "--",
    ]
)


@settings(max_examples=examples(300), deadline=None)
@given(st.lists(TOKENS, min_size=1, max_size=8).map("".join), st.sampled_from([Hints(), OHM, Hints(number=1)]))
def test_any_line_is_read_as_written_or_refused(line: str, hints: Hints) -> None:
    """A value's digits stand in the line as one number; what is not understood raises UsageError, nothing else."""
    try:
        taught = teach([line], BASE, hints)
    except UsageError:
        return
    ((sample, reading),) = taught.rows
    if reading.value is not None:
        digits = {re.sub("[^0-9]", "", number).lstrip("0") for number in re.findall(r"[0-9.]+", sample)}
        counts = f"{abs(reading.value) / reading.resolution:.0f}".lstrip("0")
        assert counts in digits


def read(profile: MeterProfile, line: str) -> float | None:
    """Return the value of a line under a profile, or None."""
    from metercap.reading import Reading
    from metercap.wire import decode_frame

    found = decode_frame(profile, line.encode() + b"\r\n", 0.0)
    return found[0].value if len(found) == 1 and isinstance(found[0], Reading) else None
