"""Family `lcd14`: the meter sends its LCD's own segments, four a byte.

    byte n of 1 … 14:   high nibble n, low nibble four segments or symbols
    4 digits of 7 segments, a point before digits 2, 3 and 4, a minus, prefixes, units and signs

Which bit is which segment or symbol, and which symbols together mean which quantity, is in the profile:

    [tables.segments]     "1.8" = "ac"                 byte number . bit of the low nibble
    [tables.quantities]   "ohm beep" = "continuity"    unit and mode symbols lit together
    [tables.layout]       untaught = "d1 minus"        segments, points or minus whose bit nobody has seen yet: a
                                                       display that lights one is garbage
    [tables.frame]        bytes = 12, digits = 3       relatives of other lengths; 14 and 4 where the table is missing

A segment named "always_…" was lit whenever somebody looked: a number without it is garbage.
The glyphs 0 and L side by side, all else blank, are over-range wherever the point is; leading blanks are allowed.
The resolution of an over-range or blank display is the weight its last place would have; a blank display without
point and prefix has 0.0.
"""

from __future__ import annotations

from metercap.meter import MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import State
from metercap.spelling import aside
from metercap.wire import shapes
from metercap.wire.fields import FLAGS, Fields, ordered
from metercap.wire.segments import GLYPH_OF, mask
from metercap.wire.tables import Tables

FRAME_BYTES = 14
DIGITS = 4
PREFIXES = ("n", "u", "m", "k", "M")
UNITS = ("F", "ohm", "A", "V", "Hz", "%", "degC")
MODES = ("ac", "dc", "diode", "beep")
BARE_UNITS = ("%", "degC")
"""Units that take no prefix."""
MOST_BYTES = 15
"""A byte counts itself in four bits, from 1."""
MOST_DIGITS = 7
_SIGNS = tuple(flag for flag in FLAGS if flag not in ("beep", "minus"))


class Lcd14:
    """Codec of one profile of the family."""

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("segments", "quantities", "layout", "frame"))
        self.frame_bytes, self._digits = _sizes(tables)
        self._segments = segments(self._digits)
        self._points = points(self._digits)
        self._place = _places(tables, self.frame_bytes, (*self._segments, *self._points, "minus"))
        self._rows = _rows(tables, self._place)
        tables.done()
        self._always = frozenset(symbol for symbol in self._place if symbol.startswith("always_"))
        symbol_at = {at: symbol for symbol, at in self._place.items()}
        self._lit = tuple(
            tuple(
                tuple(symbol_at.get((byte, bit), f"?{byte + 1}.{bit}") for bit in (8, 4, 2, 1) if nibble & bit)
                for nibble in range(16)
            )
            for byte in range(self.frame_bytes)
        )

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields that a frame of counted bytes shows, or why it shows no reading."""
        masks = [0] * self._digits
        points: list[int] = []
        symbols: list[str] = []
        for byte, value in enumerate(frame):
            for symbol in self._lit[byte][value & 15]:
                if symbol in self._segments:
                    place, bit = self._segments[symbol]
                    masks[place] |= bit
                elif symbol in self._points:
                    points.append(self._points[symbol])
                else:
                    symbols.append(symbol)
        glyphs = [GLYPH_OF.get(bits, "") for bits in masks]
        if not all(glyphs):
            return f"digit {glyphs.index('') + 1} shows no digit"
        if len(points) > 1:
            return "more than one decimal point"
        point = points[0] if points else self._digits
        state = _state("".join(glyphs), point)
        if not isinstance(state, State):
            return state
        if state is State.OK and not self._always.issubset(symbols):
            return "a sign is off that was never seen off"
        return self._fields(frame, "".join(glyphs), self._digits - point, state, symbols)

    def _fields(self, frame: bytes, cells: str, decimals: int, state: State, symbols: list[str]) -> Fields | str:
        unknown = [symbol for symbol in symbols if symbol.startswith("?")]
        if unknown:
            return f"bit {unknown[0][1:]} is not in the profile's table"
        prefixes = [symbol for symbol in symbols if symbol in PREFIXES]
        mode = tuple(symbol for symbol in symbols if symbol in UNITS or symbol in MODES)
        quantity = self._rows.get(_key(mode))
        if len(prefixes) > 1 or quantity is None:
            shown = " ".join((*prefixes, *mode))
            return f"no quantity shows {shown!r}" if shown else "no unit is shown"
        bare = any(symbol in BARE_UNITS for symbol in mode)
        if bare and prefixes:
            return f"{' '.join(mode)} with the prefix {prefixes[0]}"
        minus = "minus" in symbols
        flags = [symbol for symbol in symbols if symbol in _SIGNS or symbol.startswith(("extra_", "always_"))]
        prefix = prefixes[0] if prefixes else ""
        exponent = shapes.PREFIX_EXPONENT[prefix] - decimals
        value: float | None = None
        resolution = decimal_si("1", exponent)
        if state is State.OK:
            digits = cells.replace("_", "")
            value = decimal_si(f"-{digits}" if minus else digits, exponent)
        else:
            flags += ["minus"] if minus else []
            if state is State.BLANK and not decimals and not prefix:
                resolution = 0.0
        return quantity, value, resolution, quantity.unit, state, ordered(flags), frame.hex()


def _key(mode: tuple[str, ...]) -> tuple[str, ...]:
    """Return unit and mode symbols in one order, whatever order they were written or lit in."""
    return tuple(symbol for symbol in (*UNITS, *MODES) if symbol in mode)


def _state(cells: str, point: int) -> State | str:
    if "L" in cells:
        over = "0L" in cells and not cells.replace("0L", "", 1).strip("_")
        return State.OVER if over else "an L, but no over-range sign"
    number = cells.lstrip("_")
    if not number:
        return State.BLANK
    if "_" in number or len(cells) - len(number) > point:
        return "a blank inside the number"
    return State.OK


def segments(digits: int) -> dict[str, tuple[int, int]]:
    """Return place and bit of a glyph of every segment of a display: "a1" is the top bar of the leftmost digit."""
    return {f"{letter}{place + 1}": (place, mask(letter)) for place in range(digits) for letter in "abcdefg"}


def points(digits: int) -> dict[str, int]:
    """Return after how many digits every point stands."""
    return {f"point{place}": place for place in range(1, digits)}


def _sizes(tables: Tables) -> tuple[int, int]:
    """Return how many bytes a frame and how many digits the display has."""
    rows = tables.profile.tables.get("frame", {})
    found = []
    for key, usual, least, most in (("bytes", FRAME_BYTES, 4, MOST_BYTES), ("digits", DIGITS, 2, MOST_DIGITS)):
        value = rows.get(key, usual)
        if isinstance(value, str) or value != int(value) or not least <= value <= most:
            tables.problem(f"frame.{key}", f"must be a whole number from {least} to {most}")
            value = usual
        found.append(int(value))
    for key in rows:
        if key not in ("bytes", "digits"):
            tables.problem(f"frame.{key}", f"no such key{aside(key, ('bytes', 'digits'))}")
    return found[0], found[1]


def _places(tables: Tables, frame_bytes: int, needed: tuple[str, ...]) -> dict[str, tuple[int, int]]:
    """Return (byte, bit) of every symbol in the profile's table `segments`."""
    known = {f"{byte + 1}.{bit}": (byte, bit) for byte in range(frame_bytes) for bit in (8, 4, 2, 1)}
    vocabulary = (*needed, *PREFIXES, *UNITS, *MODES, *_SIGNS)
    place: dict[str, tuple[int, int]] = {}
    for key, symbol in tables.texts("segments").items():
        if key not in known:
            tables.problem(
                f"segments.{key}", f"must be a byte from 1 to {frame_bytes}, a point, and a bit 8, 4, 2 or 1"
            )
        elif symbol in place:
            tables.problem(f"segments.{key}", f"{symbol!r} stands at another bit too")
        elif symbol not in vocabulary and not symbol.startswith(("extra_", "always_")):
            tables.problem(f"segments.{key}", f"no symbol {symbol!r}{aside(symbol, vocabulary)}")
        else:
            place[symbol] = known[key]
    untaught = str(tables.profile.tables.get("layout", {}).get("untaught", "")).split()
    for symbol in untaught:
        if symbol not in needed or symbol in place:
            tables.problem("layout.untaught", f"{symbol!r} is no segment, point or minus without a bit")
    missing = [symbol for symbol in needed if symbol not in place and symbol not in untaught]
    if missing:
        tables.problem("segments", f"has no place for {', '.join(missing)}")
    return place


def _rows(tables: Tables, place: dict[str, tuple[int, int]]) -> dict[tuple[str, ...], Quantity]:
    """Return quantity by unit and mode symbols, in the table's order."""
    rows: dict[tuple[str, ...], Quantity] = {}
    for text, quantity in tables.quantities("quantities").items():
        words = text.split()
        strange = [word for word in words if word not in (*UNITS, *MODES) or word not in place]
        if strange or not any(word in UNITS for word in words):
            why = f"{strange[0]!r} has no bit in tables.segments" if strange else "names no unit"
            tables.problem(f"quantities.{text}", why)
        elif quantity.unit not in words:
            tables.problem(f"quantities.{text}", f"{quantity} is measured in {quantity.unit}")
        elif _key(tuple(words)) in rows:
            tables.problem(f"quantities.{text}", "stands twice")
        else:
            rows[_key(tuple(words))] = quantity
    return rows
