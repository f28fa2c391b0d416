"""Family `text`: free lines such as `2.187 kohm`, `OL` or `-5.47 V DC`, from home-made meters.

    patterns              regular expressions (see `patterns`) with named groups, tried in order on the whole line:
                          value (a decimal number) or over or blank; unit, quantity (a word such as DC), flags (words)
    [tables.units]        "ohm" = "ohm"           unit as written = unit symbol; "" for numbers without any
                          "R3" = "kohm"           or with a prefix, "VA" = "V ac" or with the quantity's word, where
                                                  a meter has a code of its own for the whole
    [tables.prefixes]     "k" = 3                 prefix as written = power of ten; a power's first is the usual one
    [tables.quantities]   "V dc" = "voltage_dc"   unit symbol and quantity word, lower case; "" is a line without unit
    [tables.flags]        "auto" = "auto"         word, lower case = flag
    [tables.lines]        voltage_dc = "V DC"     how this meter usually ends a line of a quantity; over = "OL",
                                                  blank = "--"

What re-encodes how: a line in the meter's usual form (usual prefix, no needless zeros, one space, the ending of
`tables.lines`, CR LF; the quantity of a line without unit writes OL without one) is rebuilt from value, resolution
and quantity alone. Any other line the patterns take carries the flag `line:START+LENGTH:TEXT`, the line with its
number's digits replaced by zeros and everything unprintable escaped; digits still come from the value. So every
accepted line is rebuilt exactly; a profile that states its meter's own way keeps the flag out of the journal.

Lines end with LF and have at most 256 bytes. Numbers have a decimal point and at most 15 digits.
"""

from __future__ import annotations

import math
import re

from metercap.meter import MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import Reading, State
from metercap.wire import patterns, shapes
from metercap.wire.fields import FLAGS, Fields, layout, ordered, plain_flags, unfit
from metercap.wire.tables import Tables, nearest

USUAL_END = "\r\n"
BARE_UNITS = ("%", "degC")
UNIT_PREFIXES = {**shapes.PREFIX_EXPONENT, "p": -12}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)", re.ASCII)


class Text:
    """Codec of one profile of the family."""

    frame_bytes = 16

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("units", "prefixes", "quantities", "flags", "lines"))
        self._patterns = _compiled(tables)
        self._units = {key: _unit_words(value) for key, value in tables.texts("units").items()}
        self._prefixes = tables.whole_numbers("prefixes", required=False)
        self._quantities = tables.quantities("quantities")
        self._flags = tables.texts("flags", required=False)
        self._lines = tables.texts("lines")
        self._check(tables)
        tables.done()
        self._prefix_of = {exponent: prefix for prefix, exponent in reversed(self._prefixes.items())} | {0: ""}

    def _check(self, tables: Tables) -> None:
        for written, (symbol, _, _) in self._units.items():
            if symbol not in {quantity.unit: None for quantity in Quantity}:
                tables.problem(f"units.{written}", f"{symbol!r} is no unit symbol")
        for word, flag in self._flags.items():
            if flag not in FLAGS:
                tables.problem(f"flags.{word}", f"no flag {flag!r}{nearest(flag, FLAGS)}")
        for key, quantity in self._quantities.items():
            if key and key.split()[0] != quantity.unit:
                tables.problem(f"quantities.{key}", f"{quantity} is measured in {quantity.unit}")
        known = (*Quantity, "over", "blank")
        for name in self._lines:
            if name not in known:
                tables.problem(f"lines.{name}", f"is no quantity{nearest(name, known)}")

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
                return self._fields(frame, line, found)
        return "the line fits no pattern of the profile"

    def _fields(self, frame: bytes, line: str, found: patterns.Found) -> Fields | str:
        groups = found.groups
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
        flags = ordered(dict.fromkeys(flags))
        value, resolution, state, span = None, 0.0, State.OVER, (0, 0)
        text = groups.get("value")
        if text is not None:
            if _NUMBER.fullmatch(text) is None or sum(sign.isdigit() for sign in text) > shapes.MAX_DIGITS:
                return "no decimal number of at most 15 digits"
            if not symbol:
                return "a number without a unit"
            value = decimal_si(text, exponent)
            resolution = decimal_si("1", exponent - shapes.decimals_of(text))
            state, span = State.OK, found.span
        elif groups.get("over") is None:
            state = State.BLANK
        usual = self._usual_line(quantity, value, resolution, state, flags)
        if line != usual:
            start, stop = span
            shaped = line[:start] + shapes.shape_of(line[start:stop]) + line[stop:]
            escaped = shaped.encode("unicode_escape").decode("ascii")
            flags.append(f"line:{start}+{stop - start}:{escaped}")
        return quantity, value, resolution, quantity.unit, state, tuple(flags), frame.hex()

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

    def encode(self, reading: Reading) -> bytes:
        """Return the line of a reading, from its fields. Raises ProfileError for what a line cannot show."""
        carried = layout(reading, "line")
        if carried is None:
            flags = list(plain_flags(reading.flags))
            line = self._usual_line(reading.quantity, reading.value, reading.resolution, reading.state, flags)
            if line is None:
                raise unfit(reading, "tables.lines has no usual line for it")
            return line.encode("utf-8")
        line = _refill(carried, reading)
        if line is None:
            raise unfit(reading, "its digits do not fit its line")
        return line.encode("utf-8")

    def _usual_line(
        self, quantity: Quantity, value: float | None, resolution: float, state: State, flags: list[str]
    ) -> str | None:
        ending = self._lines.get(quantity)
        word_of = {flag: word for word, flag in reversed(self._flags.items())}
        if ending is None or any(flag not in word_of for flag in flags):
            return None
        tail = "".join(f" {word_of[flag]}" for flag in flags) + USUAL_END
        if value is None:
            sign = self._lines.get(state.value)
            bare = quantity is self._quantities.get("")
            return None if sign is None else f"{sign}{tail}" if bare else f"{sign} {ending}{tail}"
        exponent = shapes.exponent_of(resolution)
        counts = None if exponent is None else shapes.counts_of(value, exponent)
        if exponent is None or counts is None:
            return None
        prefixed = ending.split(" ")[0] not in BARE_UNITS
        fits = [d for d in range(4) if exponent + d in self._prefix_of and (prefixed or exponent + d == 0)]
        # The largest prefix that still leaves a digit before the point, but no milli where none will do; else the
        # smallest.
        decimals = max((d for d in fits if len(str(counts)) > d), default=min(fits, default=None))
        if decimals is not None and exponent + decimals < 0 and -exponent in fits:
            decimals = -exponent
        if decimals is None:
            return None
        number = shapes.pointed(f"{counts:0{decimals + 1}d}", decimals)
        minus = "-" if math.copysign(1.0, value) < 0 else ""
        unit = f"{self._prefix_of[exponent + decimals]}{ending}"
        return f"{minus}{number}{' ' if unit else ''}{unit}{tail}"


def _unit_words(text: str) -> tuple[str, int, str]:
    """Return symbol, power of ten and quantity word of "ohm", "kohm" or "mV ac"."""
    unit, _, word = text.partition(" ")
    symbols = {quantity.unit: None for quantity in Quantity}
    if unit not in symbols and unit[1:] in symbols and unit[1:] not in BARE_UNITS and unit[:1] in UNIT_PREFIXES:
        return unit[1:], UNIT_PREFIXES[unit[:1]], word
    return unit, 0, word


def _refill(carried: str, reading: Reading) -> str | None:
    """Return the line that a `line:` flag describes, with the reading's digits in it."""
    where, _, escaped = carried.partition(":")
    start_text, _, length_text = where.partition("+")
    if not (start_text.isdecimal() and length_text.isdecimal()):
        return None
    try:
        line = escaped.encode("ascii").decode("unicode_escape")
    except UnicodeError:
        return None
    if reading.value is None:
        return line
    start, stop = int(start_text), int(start_text) + int(length_text)
    exponent = shapes.exponent_of(reading.resolution)
    counts = None if exponent is None else shapes.counts_of(reading.value, exponent)
    number = None if counts is None else shapes.fill(line[start:stop], counts)
    return None if number is None else line[:start] + number + line[stop:]


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
