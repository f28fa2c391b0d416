"""Family `digits14`: range code, ASCII digits, function code, status bits, CR LF. Also its shorter relatives.

    [tables.frame]        layout = "RDDDDDFSSSSS"      what stands where before CR LF: R range, D digit, F function,
                                                       S status (0x30 + four bits)
    [tables.bits]         "7.4" = "minus"              position in the frame, from 0 . bit
    [tables.quantities]   "; dc" = "voltage_dc"        function code and mode bits lit
    [tables.weights]      "30" = 0.01                  function code and range code: the last digit's weight in SI;
                          "20 frequency" = 0.01        where one function code serves several units, with the quantity

Mode bits (dc, ac, select) that no row of a function names are carried as flags. Digits of an over-range or
underrange frame mean nothing; underrange ("UL") is state blank. A bit, range or function that the profile does not know
makes garbage with that reason.
"""

from __future__ import annotations

from metercap.meter import MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import State
from metercap.spelling import aside
from metercap.wire.fields import FLAGS, Fields, ordered
from metercap.wire.tables import Tables, power_of_ten

END = b"\r\n"
MODES = ("dc", "ac", "select")
STATES = ("minus", "over", "under")
_SIGNS = tuple(flag for flag in FLAGS if flag != "minus")
_HIGH = 0x30
_Row = tuple[str, ...]


class Digits14:
    """Codec of one profile of the family."""

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("frame", "bits", "quantities", "weights"))
        self._layout = _layout(tables)
        self.frame_bytes = len(self._layout) + len(END)
        self._places = {kind: [n for n, sign in enumerate(self._layout) if sign == kind] for kind in "RDFS"}
        self._bit_of = _bits(tables, self._places["S"])
        self._rows = _rows(tables, self._bit_of)
        self._weights = _weights(tables, self._rows)
        tables.done()
        self._modes_of: dict[str, list[str]] = {}
        for row in self._rows:
            self._modes_of.setdefault(row[0], []).extend(row[1:])
        self._symbol_at = {at: symbol for symbol, at in self._bit_of.items()}
        codes = "".join(function + code for function, code, _ in self._weights)
        self.body = frozenset({*range(_HIGH, _HIGH + 16), *codes.encode("ascii")})

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one line of this length, or why it is no reading."""
        if not frame.endswith(END):
            return "no CR before the LF"
        places = self._places
        digits = "".join(chr(frame[n]) for n in places["D"])
        if not (digits.isascii() and digits.isdecimal()):
            return "a digit that is none"
        symbols: list[str] = []
        for n in places["S"]:
            if frame[n] & 0xF0 != _HIGH:
                return f"byte {n} is no status byte"
            for bit in (8, 4, 2, 1):
                if frame[n] & bit:
                    symbols.append(self._symbol_at.get((n, bit), f"?{n}.{bit}"))
        unknown = [symbol for symbol in symbols if symbol.startswith("?")]
        if unknown:
            return f"bit {unknown[0][1:]} is not in the profile's table"
        return self._fields(frame, digits, symbols)

    def _fields(self, frame: bytes, digits: str, symbols: list[str]) -> Fields | str:
        function, code = chr(frame[self._places["F"][0]]), chr(frame[self._places["R"][0]])
        named = self._modes_of.get(function)
        if named is None:
            return f"function code {function!r} is not in the profile's table"
        row = (function, *(mode for mode in MODES if mode in symbols and mode in named))
        quantity = self._rows.get(row)
        if quantity is None:
            return f"no quantity for {' '.join(row)!r} in the profile"
        exponent = self._weights.get((function, code, quantity))
        if exponent is None:
            return f"no digit weight for {quantity} in range {code!r}, function {function!r}, in the profile"
        minus, over, under = (symbol in symbols for symbol in STATES)
        if over and under:
            return "over-range and underrange at once"
        state = State.OVER if over else State.BLANK if under else State.OK
        flags = [symbol for symbol in symbols if symbol not in row[1:] and symbol not in STATES]
        value: float | None = None
        if state is State.OK:
            value = decimal_si(f"-{digits}" if minus else digits, exponent)
        elif minus:
            flags.append("minus")
        return quantity, value, decimal_si("1", exponent), quantity.unit, state, ordered(flags), frame.hex()


def _layout(tables: Tables) -> str:
    text = tables.rows("frame").get("layout")
    if (
        not isinstance(text, str)
        or text.strip("RDFS")
        or (text.count("R"), text.count("F")) != (1, 1)
        or not 1 <= text.count("D") <= 9
        or len(text) > 32
    ):
        tables.problem("frame.layout", "must be of R, D, F and S, one R, one F, 1 to 9 D, at most 32 in all")
        return "RDF"
    return text


def _bits(tables: Tables, status: list[int]) -> dict[str, tuple[int, int]]:
    """Return (position, bit) of every symbol in the profile's table `bits`."""
    known = {f"{n}.{bit}": (n, bit) for n in status for bit in (8, 4, 2, 1)}
    vocabulary = (*STATES, *MODES, *_SIGNS)
    place: dict[str, tuple[int, int]] = {}
    for key, symbol in tables.texts("bits").items():
        if key not in known:
            tables.problem(f"bits.{key}", "must be the position of a status byte, a point, and a bit 8, 4, 2 or 1")
        elif symbol in place:
            tables.problem(f"bits.{key}", f"{symbol!r} stands at another bit too")
        elif symbol not in vocabulary and not symbol.startswith("extra_"):
            tables.problem(f"bits.{key}", f"no symbol {symbol!r}{aside(symbol, vocabulary)}")
        else:
            place[symbol] = known[key]
    for symbol in ("minus", "over"):
        if symbol not in place:
            tables.problem("bits", f"has no place for {symbol}")
    return place


def _rows(tables: Tables, place: dict[str, tuple[int, int]]) -> dict[_Row, Quantity]:
    rows: dict[_Row, Quantity] = {}
    for text, quantity in tables.quantities("quantities").items():
        function, *modes = text.split() or [""]
        row = (function, *(mode for mode in MODES if mode in modes))
        strange = [mode for mode in modes if mode not in MODES or mode not in place]
        if len(function) != 1 or not "!" <= function <= "~":
            tables.problem(f"quantities.{text}", "must begin with one function code")
        elif strange:
            tables.problem(f"quantities.{text}", f"{strange[0]!r} has no bit in tables.bits")
        elif row in rows:
            tables.problem(f"quantities.{text}", "stands twice")
        else:
            rows[row] = quantity
    return rows


def _weights(tables: Tables, rows: dict[_Row, Quantity]) -> dict[tuple[str, str, Quantity], int]:
    """Return the exponent of the last digit's weight by function code, range code and quantity."""
    weights: dict[tuple[str, str, Quantity], int] = {}
    for key, value in tables.rows("weights").items():
        codes, _, named = key.partition(" ")
        exponent = power_of_ten(value)
        of = dict.fromkeys(quantity for row, quantity in rows.items() if row[0] == codes[:1])
        if exponent is None or abs(exponent) > 30:
            tables.problem(f"weights.{key}", f"{value!r} must be a power of ten such as 0.01 or 1e3")
        elif len(codes) != 2 or not codes.isascii() or not codes.isprintable():
            tables.problem(f"weights.{key}", "must begin with a function code and a range code")
        elif not of:
            tables.problem(f"weights.{key}", f"tables.quantities has no function {codes[0]!r}")
        elif named and named not in of:
            tables.problem(f"weights.{key}", f"function {codes[0]!r} has no quantity {named!r}{aside(named, of)}")
        elif not named and len({quantity.unit: None for quantity in of}) > 1:
            tables.problem(f"weights.{key}", "needs a quantity: this function serves several units")
        else:
            for quantity in of:
                if named in ("", quantity):
                    weights[codes[0], codes[1], quantity] = exponent
    return weights
