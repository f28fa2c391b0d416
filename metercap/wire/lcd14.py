"""Family `lcd14`: the meter sends its LCD's own segments, four a byte.

    byte n of 1 … 14:   high nibble n, low nibble four segments or symbols
    4 digits of 7 segments, a point before digits 2, 3 and 4, a minus, prefixes, units and signs

Which bit is which segment or symbol, and which symbols together mean which quantity, is in the profile:

    [tables.segments]     "1.8" = "ac"            byte number . bit of the low nibble
    [tables.quantities]   "ohm beep" = "continuity"    unit and mode symbols lit together; a quantity's first row
                                                  is the usual one
    [tables.layout]       leading = "zeros"       or "blanks": how this meter usually fills unused places

The glyphs 0 and L side by side, all else blank, are over-range wherever the point is; leading blanks are allowed.
The resolution of an over-range or blank display is the weight its last place would have; a blank display without
point and prefix has 0.0.
"""

from __future__ import annotations

import math

from metercap.meter import MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import Reading, State
from metercap.wire import shapes
from metercap.wire.fields import FLAGS, Fields, layout, ordered, plain_flags, unfit
from metercap.wire.segments import GLYPH_OF, SEGMENTS_OF, mask
from metercap.wire.tables import Tables, nearest

FRAME_BYTES = 14
DIGITS = 4
PREFIXES = ("n", "u", "m", "k", "M")
UNITS = ("F", "ohm", "A", "V", "Hz", "%", "degC")
MODES = ("ac", "dc", "diode", "beep")
BARE_UNITS = ("%", "degC")
"""Units that take no prefix."""
_SEGMENTS = {f"{letter}{place + 1}": (place, mask(letter)) for place in range(DIGITS) for letter in "abcdefg"}
_POINTS = {f"point{place}": place for place in range(1, DIGITS)}
_SIGNS = tuple(flag for flag in FLAGS if flag not in ("beep", "minus"))
_VOCABULARY = (*_SEGMENTS, *_POINTS, "minus", *PREFIXES, *UNITS, *MODES, *_SIGNS)


class Lcd14:
    """Codec of one profile of the family."""

    frame_bytes = FRAME_BYTES

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("segments", "quantities", "layout"))
        self._place = _places(tables)
        self._rows = _rows(tables, self._place)
        self._leading = tables.choice("layout", "leading", "zeros", ("zeros", "blanks"))
        tables.done()
        self._usual_row = {quantity: key for key, quantity in reversed(self._rows.items())}
        symbol_at = {at: symbol for symbol, at in self._place.items()}
        self._lit = tuple(
            tuple(
                tuple(symbol_at.get((byte, bit), f"?{byte + 1}.{bit}") for bit in (8, 4, 2, 1) if nibble & bit)
                for nibble in range(16)
            )
            for byte in range(FRAME_BYTES)
        )

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields that a frame of 14 counted bytes shows, or why it shows no reading."""
        masks = [0] * DIGITS
        points: list[int] = []
        symbols: list[str] = []
        for byte, value in enumerate(frame):
            for symbol in self._lit[byte][value & 15]:
                if symbol in _SEGMENTS:
                    place, bit = _SEGMENTS[symbol]
                    masks[place] |= bit
                elif symbol in _POINTS:
                    points.append(_POINTS[symbol])
                else:
                    symbols.append(symbol)
        glyphs = [GLYPH_OF.get(bits, "") for bits in masks]
        if not all(glyphs):
            return f"digit {glyphs.index('') + 1} shows no digit"
        if len(points) > 1:
            return "more than one decimal point"
        point = points[0] if points else DIGITS
        state = _state("".join(glyphs), point)
        if not isinstance(state, State):
            return state
        return self._fields(frame, "".join(glyphs), DIGITS - point, state, symbols)

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
        flags = [symbol for symbol in symbols if symbol in _SIGNS or symbol.startswith("extra_")]
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
        flags = ordered(flags)
        key = _key(mode)
        if key != self._usual_row[quantity]:
            flags.append("mode:" + "+".join(key))
        shape = shapes.pointed(shapes.shape_of(cells), decimals)
        if shape != self._usual_shape(quantity, value, resolution, state):
            flags.append(f"shape:{shape}")
        return quantity, value, resolution, quantity.unit, state, tuple(flags), frame.hex()

    def encode(self, reading: Reading) -> bytes:
        """Return the 14 bytes of a reading, from its fields. Raises ProfileError for what the display cannot show."""
        named = layout(reading, "mode")
        key = tuple(named.split("+")) if named is not None else self._usual_row.get(reading.quantity)
        if key is None or self._rows.get(key) is not reading.quantity:
            raise unfit(reading, "the profile has no symbols for it")
        shape = layout(reading, "shape") or self._usual_shape(
            reading.quantity, reading.value, reading.resolution, reading.state
        )
        exponent = shapes.exponent_of(reading.resolution) if reading.resolution else 0
        if shape is None or exponent is None:
            raise unfit(reading, f"its last digit cannot weigh {reading.resolution:g}")
        prefix = shapes.PREFIX_OF.get(exponent + shapes.decimals_of(shape))
        text: str | None = shape
        minus = "minus" in reading.flags
        if reading.value is not None:
            counts = shapes.counts_of(reading.value, exponent)
            text = None if counts is None else shapes.fill(shape, counts)
            minus = math.copysign(1.0, reading.value) < 0
        if text is None or prefix is None:
            raise unfit(reading, "its digits do not fit the display")
        lit = [*key, *(flag for flag in plain_flags(reading.flags) if flag != "minus")]
        lit += [prefix] if prefix else []
        lit += ["minus"] if minus else []
        lit += [f"point{text.index('.')}"] if "." in text else []
        for place, glyph in enumerate(text.replace(".", "")):
            lit += [f"{letter}{place + 1}" for letter in SEGMENTS_OF.get(glyph, "")]
        return self._draw(reading, lit)

    def _draw(self, reading: Reading, lit: list[str]) -> bytes:
        low = [0] * FRAME_BYTES
        for symbol in lit:
            at = self._place.get(symbol)
            if at is None:
                raise unfit(reading, f"the display has no {symbol!r}")
            low[at[0]] |= at[1]
        return bytes((n + 1) << 4 | bits for n, bits in enumerate(low))

    def _usual_shape(self, quantity: Quantity, value: float | None, resolution: float, state: State) -> str | None:
        if not resolution:
            return "_" * DIGITS
        exponent = shapes.exponent_of(resolution)
        if exponent is None:
            return None
        decimals = shapes.usual_decimals(exponent, DIGITS, quantity.unit not in BARE_UNITS)
        if decimals is None:
            return None
        cells = "0" * DIGITS
        if state is not State.OK:
            cells = "_0L_" if state is State.OVER else "_" * DIGITS
        elif self._leading == "blanks" and value is not None:
            shown = max(len(str(shapes.counts_of(value, exponent))), decimals + 1)
            cells = ("0" * min(shown, DIGITS)).rjust(DIGITS, "_")
        return shapes.pointed(cells, decimals)


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


def _places(tables: Tables) -> dict[str, tuple[int, int]]:
    """Return (byte, bit) of every symbol in the profile's table `segments`."""
    known = {f"{byte + 1}.{bit}": (byte, bit) for byte in range(FRAME_BYTES) for bit in (8, 4, 2, 1)}
    place: dict[str, tuple[int, int]] = {}
    for key, symbol in tables.texts("segments").items():
        if key not in known:
            tables.problem(f"segments.{key}", "must be a byte from 1 to 14, a point, and a bit 8, 4, 2 or 1")
        elif symbol in place:
            tables.problem(f"segments.{key}", f"{symbol!r} stands at another bit too")
        elif symbol not in _VOCABULARY and not symbol.startswith("extra_"):
            tables.problem(f"segments.{key}", f"no symbol {symbol!r}{nearest(symbol, _VOCABULARY)}")
        else:
            place[symbol] = known[key]
    missing = [symbol for symbol in (*_SEGMENTS, *_POINTS, "minus") if symbol not in place]
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
