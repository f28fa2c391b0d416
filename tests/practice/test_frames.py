"""Frames drawn by hand from the formats' description, segment by segment and field by field."""

from __future__ import annotations

import itertools

import pytest

from metercap import wire
from metercap.errors import SceneError
from metercap.practice.dials import Range, Shown, ladder
from metercap.practice.frames import FAMILIES, draw
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Reading, State

KOHM = Range(1, "k", 3)


def shown(digits: str, at: Range = KOHM, quantity: Quantity = Quantity.RESISTANCE, **keys: object) -> Shown:
    base = Shown(quantity, at, State.OK, digits, minus=False, flags=frozenset())
    return base._replace(**keys)  # type: ignore[arg-type]


def test_lcd14_draws_the_segments_of_every_glyph() -> None:
    """2.187 kΩ auto: digit 2 is a b d e g, 1 is b c, 8 is all, 7 is a b c; the point follows digit 1."""
    frame = draw("lcd14", shown("2187", flags=frozenset({"auto"})))
    assert frame.hex(" ") == "13 25 3b 48 55 67 7f 81 95 a2 b0 c4 d0 e0"


def test_lcd14_over_range_is_a_zero_beside_an_l() -> None:
    """OL: digit 2 is 0 (a b c d e f), digit 3 is L (d e f); the point is that of the 400 Ω range."""
    frame = draw("lcd14", shown("", Range(0, "", 1), state=State.OVER))
    assert frame.hex(" ") == "11 20 30 47 5d 66 78 88 90 a0 b0 c4 d0 e0"


def test_lcd14_minus_volts_dc_with_a_low_battery() -> None:
    """−1.500 V dc: the minus is bit 8 of byte 2, dc bit 4 of byte 1, V and battery bits 4 and 1 of byte
    13."""
    flags = frozenset({"low_battery"})
    frame = draw("lcd14", shown("1500", Range(0, "", 3), Quantity.VOLTAGE_DC, minus=True, flags=flags))
    assert frame.hex(" ") == "15 28 35 4b 5e 67 7d 87 9d a0 b0 c0 d5 e0"


def test_digits14_fields() -> None:
    """-1.5023 V dc auto is range 0, five digits, ';', minus 4, then dc 8 and auto 2 in byte 10; hold is 2 in
    byte 11."""
    volts = Range(0, "", 4)
    flags = frozenset({"auto", "hold"})
    frame = draw("digits14", shown("15023", volts, Quantity.VOLTAGE_DC, minus=True, flags=flags))
    assert frame == b"015023;400:2\r\n"
    over = draw("digits14", shown("", Range(6, "M", 2), state=State.OVER))
    assert over == b"600000310000\r\n"


def test_polled_line_fields() -> None:
    """14 characters: mode 2, sign 1, value 6, unit 4, CR; over-range holds an L."""
    assert draw("polled-line", shown("2187")) == b"OH  2.187kOhm\r"
    volts = Range(1, "", 2)
    assert draw("polled-line", shown("1234", volts, Quantity.VOLTAGE_DC, minus=True)) == b"DC- 12.34   V\r"
    assert draw("polled-line", shown("", state=State.OVER)) == b"OH    O.LkOhm\r"


def test_text_lines() -> None:
    """A free line carries number, unit, and what the dial stands on where the unit does not say it."""
    assert draw("text", shown("2187")) == b"2.187 kohm\r\n"
    assert draw("text", shown("0003", Range(0, "", 1), Quantity.CONTINUITY)) == b"0.3 ohm cont\r\n"
    assert draw("text", shown("0015", Range(0, "", 3), Quantity.VOLTAGE_DC, minus=True)) == b"-0.015 V dc\r\n"
    assert draw("text", shown("", state=State.OVER)) == b"OL kohm\r\n"


@pytest.mark.parametrize("family", FAMILIES)
def test_every_range_draws_and_has_a_length(family: str) -> None:
    """Every family draws every range of every dial place, in the frame length its description states."""
    counts = 22_000 if family == "digits14" else 4_000
    digits = "12345" if family == "digits14" else "1234"
    for quantity in (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC):
        for at in ladder(quantity, counts):
            frame = draw(family, shown(digits, at, quantity))
            assert family == "text" or len(frame) == 14


@pytest.mark.parametrize("family", FAMILIES)
def test_the_decoder_reads_what_was_drawn(family: str) -> None:
    """Two independent readings of each format agree: value, quantity, state and the flags that the format can
    carry."""
    profile = find_meter(family)
    counts = 22_000 if family == "digits14" else 4_000
    carried = set() if family == "polled-line" else {"auto", "hold", "rel", "low_battery"}
    texts = ("00000", "00012", "12345", "21999") if counts > 10_000 else ("0000", "0012", "1234", "3999")
    cases = itertools.product(
        (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC),
        texts,
        (State.OK, State.OVER),
        (False, True),
        ((), ("auto",), ("hold",), ("rel",), ("low_battery",)),
    )
    for quantity, digits, state, minus, flags in cases:
        if minus and (state is State.OVER or int(digits) == 0 or quantity is Quantity.VOLTAGE_AC):
            continue
        for at in ladder(quantity, counts):
            text = digits if state is State.OK else ""
            drawn = shown(text, at, quantity, state=state, minus=minus, flags=frozenset(flags))
            decoder = wire.decoder(profile)
            (read,) = decoder.feed(draw(family, drawn), 1.0)
            assert isinstance(read, Reading), (drawn, read)
            # The polled line has one mode for resistance and continuity.
            alike = {Quantity.CONTINUITY: Quantity.RESISTANCE} if family == "polled-line" else {}
            assert read.quantity is alike.get(quantity, quantity)
            assert (read.value, read.state) == (drawn.value, state)
            assert carried.intersection(flags) <= set(read.flags)
            if state is State.OK:
                assert read.resolution == at.resolution


def test_an_unknown_family_is_refused() -> None:
    """A family that nobody draws is a scene's mistake, and the ones there are get named."""
    with pytest.raises(SceneError, match="lcd14"):
        draw("morse", shown("2187"))
