"""Family `polled-line`: fixed ASCII lines of 14 characters, sent when asked.

    mode 2   sign 1   value 6   unit 4   CR         "OH  2.187kOhm"

    [tables.quantities]   "OH kOhm" = "resistance"    mode and unit without blanks; the first row of a quantity and
    power of
                                                   ten is the usual one
    [tables.exponents]    "kOhm" = 3               power of ten of a unit
    [tables.layout]       digits = 4               how many digits the meter usually writes, with leading zeros

Value and unit usually stand at the right of their fields; a frame that writes otherwise carries layout flags.
Over-range holds an L beside zeros or O's; it and a blank value show no last digit, so their resolution is 0.0.
"""

from __future__ import annotations

import math
import re

from metercap.meter import MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import Reading, State
from metercap.wire import shapes
from metercap.wire.fields import Fields, layout, plain_flags, unfit
from metercap.wire.tables import Tables

FRAME_BYTES = 14
END = b"\r"
_VALUE, _UNIT = 6, 4
_NUMBER = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+", re.ASCII)
_OVER = re.compile(r"[0O.]*L[0O.]*", re.ASCII)
_USUAL_OVER = "O.L"


class PolledLine:
    """Codec of one profile of the family."""

    frame_bytes = FRAME_BYTES

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("quantities", "exponents", "layout"))
        self._exponents = tables.whole_numbers("exponents")
        self._rows = _rows(tables, self._exponents)
        self._digits = _digits(tables)
        tables.done()
        self._usual: dict[tuple[Quantity, int], tuple[str, str]] = {}
        self._first: dict[Quantity, tuple[str, str]] = {}
        for row, quantity in self._rows.items():
            self._usual.setdefault((quantity, self._exponents[row[1]]), row)
            self._first.setdefault(quantity, row)

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one line of 14 bytes, or why it is no reading."""
        if not frame.endswith(END) or not all(0x20 <= byte < 0x7F for byte in frame[:-1]):
            return "not 13 printable characters and CR"
        text = frame[:-1].decode("ascii")
        mode, sign, number, unit = text[:2], text[2], text[3 : 3 + _VALUE], text[3 + _VALUE :]
        row = (mode, unit.strip(" "))
        quantity = self._rows.get(row)
        if quantity is None:
            return f"no quantity for mode {mode!r} and unit {unit.strip(' ')!r} in the profile"
        if sign not in " -":
            return f"{sign!r} is no sign"
        written = number.strip(" ")
        value, resolution = None, 0.0
        flags: list[str] = []
        if _NUMBER.fullmatch(written):
            state = State.OK
            exponent = self._exponents[row[1]]
            value = decimal_si(sign.strip(" ") + written, exponent)
            resolution = decimal_si("1", exponent - shapes.decimals_of(written))
        elif not written or _OVER.fullmatch(written):
            state = State.OVER if written else State.BLANK
            flags += ["minus"] if sign == "-" else []
        else:
            return f"the value {number!r} is no number"
        shape = number.replace(" ", "_")
        if state is State.OK:
            shape = shapes.shape_of(number)
        usual_shape, usual_row = self._usual_layout(quantity, resolution, state)
        if usual_row is None or usual_row[0] + usual_row[1].rjust(_UNIT) != mode + unit:
            flags.append("unit:" + (mode + unit).replace(" ", "_"))
        if shape != usual_shape:
            flags.append(f"shape:{shape}")
        return quantity, value, resolution, quantity.unit, state, tuple(flags), frame.hex()

    def encode(self, reading: Reading) -> bytes:
        """Return the line of a reading, from its fields. Raises ProfileError for what a line cannot show."""
        usual_shape, usual_row = self._usual_layout(reading.quantity, reading.resolution, reading.state)
        shape = layout(reading, "shape") or usual_shape
        named = layout(reading, "unit")
        if named is not None:
            mode, unit = named[:2], named[2:]
        elif usual_row is not None:
            mode, unit = usual_row[0], usual_row[1].rjust(_UNIT)
        else:
            raise unfit(reading, "the profile has no mode and unit for it")
        strange = [flag for flag in plain_flags(reading.flags) if flag != "minus"]
        if strange:
            raise unfit(reading, f"a line has no place for {strange[0]!r}")
        number: str | None = shape
        minus = "minus" in reading.flags
        if reading.value is not None and shape is not None:
            exponent = shapes.exponent_of(reading.resolution)
            counts = None if exponent is None else shapes.counts_of(reading.value, exponent)
            number = None if counts is None else shapes.fill(shape, counts)
            minus = math.copysign(1.0, reading.value) < 0
        if number is None:
            raise unfit(reading, "its digits do not fit the line")
        line = f"{mode}{'-' if minus else ' '}{number}{unit}".replace("_", " ")
        return line.encode("ascii", "replace") + END

    def _usual_layout(
        self, quantity: Quantity, resolution: float, state: State
    ) -> tuple[str | None, tuple[str, str] | None]:
        """Return the usual shape of the value field, and the usual mode and unit."""
        if state is not State.OK:
            text = _USUAL_OVER if state is State.OVER else ""
            return text.rjust(_VALUE, "_"), self._first.get(quantity)
        exponent = shapes.exponent_of(resolution)
        if exponent is not None:
            for decimals in range(self._digits - 1, -1, -1):
                row = self._usual.get((quantity, exponent + decimals))
                if row is not None:
                    return shapes.pointed("0" * self._digits, decimals).rjust(_VALUE, "_"), row
        return None, None


def _digits(tables: Tables) -> int:
    digits = tables.whole_numbers("layout", required=False).get("digits", 4)
    if 1 <= digits < _VALUE:
        return digits
    tables.problem("layout.digits", f"must be from 1 to {_VALUE - 1}")
    return 4


def _rows(tables: Tables, exponents: dict[str, int]) -> dict[tuple[str, str], Quantity]:
    rows: dict[tuple[str, str], Quantity] = {}
    for text, quantity in tables.quantities("quantities").items():
        mode, _, unit = text.partition(" ")
        if len(mode) != 2 or not mode.isascii() or not mode.isprintable() or "_" in text:
            tables.problem(f"quantities.{text}", "must begin with a mode of two characters")
        elif unit not in exponents:
            tables.problem(f"quantities.{text}", f"tables.exponents has no unit {unit!r}")
        elif not 1 <= len(unit) <= _UNIT or not unit.isascii() or " " in unit:
            tables.problem(f"quantities.{text}", "the unit must have one to four characters")
        else:
            rows[mode, unit] = quantity
    return rows
