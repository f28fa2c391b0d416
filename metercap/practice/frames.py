"""Draws what a practice meter shows into the bytes that its cable carries.

These tables are the bench's own, written from the formats' description and not shared with the decoders:
where both agree, two independent readings of the format agree.

    lcd14        14 bytes; high nibble 1 … 14, low nibbles carry the LCD's segments (tables from memory of the
                 meter IC's data sheet; the digits are drawn here from their segments)
    digits14     range code, five digits, function, three status bytes and two spare ones, CR LF
    polled-line  mode (2), sign (1), value (6), unit (4), CR; 14 characters, sent when asked
    text         a free line such as "2.187 kohm", CR LF
"""

from __future__ import annotations

from functools import lru_cache

from metercap.errors import SceneError
from metercap.practice.dials import Shown
from metercap.quantity import Quantity
from metercap.reading import State

POLL = b"D"
"""What a polled meter is asked with."""

# Segments of a digit as drawn on any seven-segment display: a top, b and c right, d bottom, e and f left,
# g middle.
_DRAWN = {
    "0": "abcdef",
    "1": "bc",
    "2": "abdeg",
    "3": "abcdg",
    "4": "bcfg",
    "5": "acdfg",
    "6": "acdefg",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
    "L": "def",
    " ": "",
}
# (byte, bit) of each segment of digit 1; the next digits follow two bytes on.
_SEGMENT_AT = {"e": (1, 4), "f": (1, 2), "a": (1, 1), "d": (2, 8), "c": (2, 4), "g": (2, 2), "b": (2, 1)}
_MINUS_AT = (1, 8)
_POINT_AT = {1: (3, 8), 2: (5, 8), 3: (7, 8)}
_SIGNS_AT = {
    "ac": (0, 8),
    "dc": (0, 4),
    "auto": (0, 2),
    "link": (0, 1),
    "u": (9, 8),
    "n": (9, 4),
    "k": (9, 2),
    "diode": (9, 1),
    "m": (10, 8),
    "%": (10, 4),
    "M": (10, 2),
    "beep": (10, 1),
    "F": (11, 8),
    "ohm": (11, 4),
    "rel": (11, 2),
    "hold": (11, 1),
    "A": (12, 8),
    "V": (12, 4),
    "Hz": (12, 2),
    "low_battery": (12, 1),
}
_LCD_SIGNS = {
    Quantity.RESISTANCE: ("ohm",),
    Quantity.CONTINUITY: ("ohm", "beep"),
    Quantity.VOLTAGE_DC: ("V", "dc"),
    Quantity.VOLTAGE_AC: ("V", "ac"),
}
_DIGITS14_FUNCTION = {
    Quantity.RESISTANCE: "3",
    Quantity.CONTINUITY: "5",
    Quantity.VOLTAGE_DC: ";",
    Quantity.VOLTAGE_AC: ";",
}
_LINE_MODE = {
    Quantity.RESISTANCE: "OH",
    Quantity.CONTINUITY: "OH",
    Quantity.VOLTAGE_DC: "DC",
    Quantity.VOLTAGE_AC: "AC",
}
_LINE_UNIT = {
    Quantity.RESISTANCE: "Ohm",
    Quantity.CONTINUITY: "Ohm",
    Quantity.VOLTAGE_DC: "V",
    Quantity.VOLTAGE_AC: "V",
}
_TEXT_UNIT = {
    Quantity.RESISTANCE: "ohm",
    Quantity.CONTINUITY: "ohm",
    Quantity.VOLTAGE_DC: "V",
    Quantity.VOLTAGE_AC: "V",
}
_TEXT_FLAGS = {"auto": "AUTO", "hold": "HOLD", "rel": "REL", "low_battery": "BAT"}


def _lcd14(shown: Shown) -> bytes:
    low = [0] * 14

    def light(at: tuple[int, int], shift: int = 0) -> None:
        low[at[0] + shift] |= at[1]

    point = 4 - shown.range.decimals
    glyphs = {State.OK: shown.digits, State.OVER: " 0L ", State.BLANK: "    "}[shown.state]
    for n, glyph in enumerate(glyphs):
        for segment in _DRAWN[glyph]:
            light(_SEGMENT_AT[segment], 2 * n)
    if shown.state is not State.BLANK and point in _POINT_AT:
        light(_POINT_AT[point])
    if shown.minus:
        light(_MINUS_AT)
    for sign in ("link", *_LCD_SIGNS[shown.quantity], shown.range.prefix, *shown.flags):
        if sign:
            light(_SIGNS_AT[sign])
    return bytes((n + 1) << 4 | bits for n, bits in enumerate(low))


def _digits14(shown: Shown) -> bytes:
    digits = shown.digits if shown.state is State.OK else "00000"
    status = 0x30 | 4 * shown.minus | 2 * ("low_battery" in shown.flags) | (shown.state is not State.OK)
    option_1 = 0x30 | 2 * ("rel" in shown.flags)
    dc = shown.quantity is Quantity.VOLTAGE_DC
    ac = shown.quantity is Quantity.VOLTAGE_AC
    option_3 = 0x30 | 8 * dc | 4 * ac | 2 * ("auto" in shown.flags)
    option_4 = 0x30 | 2 * ("hold" in shown.flags)
    head = f"{shown.range.code}{digits}{_DIGITS14_FUNCTION[shown.quantity]}".encode("ascii")
    return head + bytes((status, option_1, 0x30, option_3, option_4)) + b"\r\n"


def _polled_line(shown: Shown) -> bytes:
    value = {State.OK: _pointed(shown), State.OVER: "O.L", State.BLANK: ""}[shown.state]
    unit = shown.range.prefix + _LINE_UNIT[shown.quantity]
    sign = "-" if shown.minus else " "
    return f"{_LINE_MODE[shown.quantity]}{sign}{value:>6}{unit:>4}\r".encode("ascii")


def _text(shown: Shown) -> bytes:
    value = {State.OK: _pointed(shown).lstrip("0"), State.OVER: "OL", State.BLANK: "--"}[shown.state]
    if value.startswith(".") or not value:
        value = f"0{value}"
    sign = "-" if shown.minus else ""
    kind = {Quantity.CONTINUITY: " cont", Quantity.VOLTAGE_AC: " ac", Quantity.VOLTAGE_DC: " dc"}
    unit = f"{shown.range.prefix}{_TEXT_UNIT[shown.quantity]}{kind.get(shown.quantity, '')}"
    flags = "".join(f" {word}" for flag, word in _TEXT_FLAGS.items() if flag in shown.flags)
    return f"{sign}{value} {unit}{flags}\r\n".encode("ascii")


def _pointed(shown: Shown) -> str:
    decimals = shown.range.decimals
    return f"{shown.digits[:-decimals]}.{shown.digits[-decimals:]}" if decimals else shown.digits


_DRAW = {"lcd14": _lcd14, "digits14": _digits14, "polled-line": _polled_line, "text": _text}

FAMILIES = tuple(_DRAW)
"""The wire formats that the bench can draw."""


@lru_cache(maxsize=4096)
def draw(family: str, shown: Shown) -> bytes:
    """Return one frame. Raises SceneError for a family that the bench does not draw."""
    if family not in _DRAW:
        raise SceneError(
            f"the practice meter cannot send {family!r}", where="meter.family", hint=f"one of {', '.join(FAMILIES)}"
        )
    return _DRAW[family](shown)
