"""Family `text`: free lines such as `2.187 kohm`, `OL` or `-5.47 V DC`, from home-made meters.

    patterns              regular expressions (see `patterns`) with named groups, tried in order on the whole line:
                          value (a decimal number) or over or blank; unit, quantity (a word such as DC), flags (words)
    [tables.units]        "ohm" = "ohm"           unit as written = unit symbol; "" for numbers without any
                          "R3" = "kohm"           or with a prefix, "VA" = "V ac" or with the quantity's word, where
                                                  a meter has a code of its own for the whole
    [tables.prefixes]     "k" = 3                 prefix as written = power of ten
    [tables.quantities]   "V dc" = "voltage_dc"   unit symbol and quantity word, lower case; "" is a line without unit
    [tables.flags]        "auto" = "auto"         word, lower case = flag

Lines end with LF and have at most 256 bytes. Numbers have a decimal point and at most 15 digits.
"""

from __future__ import annotations

import re

from metercap.meter import MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import State
from metercap.spelling import aside
from metercap.wire import patterns, shapes
from metercap.wire.fields import FLAGS, Fields, ordered
from metercap.wire.tables import Tables

BARE_UNITS = ("%", "degC")
UNIT_PREFIXES = {**shapes.PREFIX_EXPONENT, "p": -12}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)", re.ASCII)


class Text:
    """Codec of one profile of the family."""

    frame_bytes = 16

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("units", "prefixes", "quantities", "flags"), once=("lines",))
        self._patterns = _compiled(tables)
        self._units = {key: _unit_words(value) for key, value in tables.texts("units").items()}
        self._prefixes = tables.whole_numbers("prefixes", required=False)
        self._quantities = tables.quantities("quantities")
        self._flags = tables.texts("flags", required=False)
        self._check(tables)
        tables.done()

    def _check(self, tables: Tables) -> None:
        for written, (symbol, _, _) in self._units.items():
            if symbol not in {quantity.unit: None for quantity in Quantity}:
                tables.problem(f"units.{written}", f"{symbol!r} is no unit symbol")
        for word, flag in self._flags.items():
            if flag not in FLAGS:
                tables.problem(f"flags.{word}", f"no flag {flag!r}{aside(flag, FLAGS)}")
        for key, quantity in self._quantities.items():
            if key and key.split()[0] != quantity.unit:
                tables.problem(f"quantities.{key}", f"{quantity} is measured in {quantity.unit}")

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one line with its end, or why it is no reading."""
        try:
            line = frame.decode("utf-8")
        except UnicodeDecodeError:
            return "not UTF-8"
        stop = len(line.rstrip())
        start = len(line) - len(line.lstrip())
        for pattern in self._patterns:
            found = pattern.whole(line, start, stop)
            if found is not None:
                return self._fields(frame, found)
        return "the line fits no pattern of the profile"

    def _fields(self, frame: bytes, groups: dict[str, str | None]) -> Fields | str:
        unit = self._unit((groups.get("unit") or "").strip())
        if unit is None:
            return f"no unit {groups.get('unit')!r} in the profile"
        symbol, exponent, named = unit
        word = (groups.get("quantity") or named).strip().lower()
        quantity = self._quantities.get(f"{symbol} {word}".strip())
        if quantity is None:
            return f"no quantity for {f'{symbol} {word}'.strip()!r} in the profile"
        flags = []
        for word in (groups.get("flags") or "").replace(",", " ").lower().split():
            if word not in self._flags:
                return f"no flag {word!r} in the profile"
            flags.append(self._flags[word])
        value, resolution, state = None, 0.0, State.OVER
        text = groups.get("value")
        if text is not None:
            if _NUMBER.fullmatch(text) is None or sum(sign.isdigit() for sign in text) > shapes.MAX_DIGITS:
                return "no decimal number of at most 15 digits"
            if not symbol:
                return "a number without a unit"
            value = decimal_si(text, exponent)
            resolution = decimal_si("1", exponent - shapes.decimals_of(text))
            state = State.OK
        elif groups.get("over") is None:
            state = State.BLANK
        return quantity, value, resolution, quantity.unit, state, ordered(dict.fromkeys(flags)), frame.hex()

    def _unit(self, text: str) -> tuple[str, int, str] | None:
        """Return unit symbol, power of ten and quantity word of a unit as written; ("", 0, "") when there is none."""
        if text in self._units:
            return self._units[text]
        if not text:
            return "", 0, ""
        for prefix, exponent in self._prefixes.items():
            symbol, own, word = self._units.get(text.removeprefix(prefix), ("", 1, ""))
            if text.startswith(prefix) and symbol not in ("", *BARE_UNITS) and own == 0:
                return symbol, exponent, word
        return None


def _unit_words(text: str) -> tuple[str, int, str]:
    """Return symbol, power of ten and quantity word of "ohm", "kohm" or "mV ac"."""
    unit, _, word = text.partition(" ")
    symbols = {quantity.unit: None for quantity in Quantity}
    if unit not in symbols and unit[1:] in symbols and unit[1:] not in BARE_UNITS and unit[:1] in UNIT_PREFIXES:
        return unit[1:], UNIT_PREFIXES[unit[:1]], word
    return unit, 0, word


def _compiled(tables: Tables) -> tuple[patterns.Pattern, ...]:
    found = []
    written = tables.profile.patterns
    if len(written) > patterns.MOST_PATTERNS:
        tables.problems.append(f"patterns: are {len(written)}, more than {patterns.MOST_PATTERNS}")
    for n, pattern in enumerate(written[: patterns.MOST_PATTERNS], 1):
        ready = patterns.compiled(pattern)
        if isinstance(ready, str):
            tables.problems.append(f"patterns, number {n}: {ready}")
        else:
            found.append(ready)
    if not written:
        tables.problems.append("patterns: is missing or empty")
    return tuple(found)
