"""Family `polled-line`: fixed ASCII lines of 14 characters, sent when asked.

    mode 2   sign 1   value 6   unit 4   CR         "OH  2.187kOhm"

    [tables.quantities]   "OH kOhm" = "resistance"     mode and unit without blanks
    [tables.exponents]    "kOhm" = 3                   power of ten of a unit

Value and unit usually stand at the right of their fields; anywhere else they are read too.
Over-range holds an L beside zeros or O's; it and a blank value show no last digit, so their resolution is 0.0.
"""

from __future__ import annotations

import re

from metercap.meter import MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import State
from metercap.wire import shapes
from metercap.wire.fields import Fields
from metercap.wire.tables import Tables

FRAME_BYTES = 14
END = b"\r"
_VALUE, _UNIT = 6, 4
_NUMBER = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+", re.ASCII)
_OVER = re.compile(r"[0O.]*L[0O.]*", re.ASCII)


class PolledLine:
    """Codec of one profile of the family."""

    frame_bytes = FRAME_BYTES

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("quantities", "exponents"), once=("layout",))
        self._exponents = tables.whole_numbers("exponents")
        self._rows = _rows(tables, self._exponents)
        tables.done()

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
        flags: tuple[str, ...] = ()
        if _NUMBER.fullmatch(written):
            state = State.OK
            exponent = self._exponents[row[1]]
            value = decimal_si(sign.strip(" ") + written, exponent)
            resolution = decimal_si("1", exponent - shapes.decimals_of(written))
        elif not written or _OVER.fullmatch(written):
            state = State.OVER if written else State.BLANK
            flags = ("minus",) if sign == "-" else ()
        else:
            return f"the value {number!r} is no number"
        return quantity, value, resolution, quantity.unit, state, flags, frame.hex()


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
