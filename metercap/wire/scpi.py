"""Family `scpi`: answers of IEEE 488.2 / SCPI-99 meters, each behind the query it answers.

    RES? +1.234E+3         the query that was asked, a space, the answer, LF

The link writes the query in front of the answer, so a tape or a journal decodes alone. A query may have parameters
of its own ("MEAS:RES? 1000 +1.234E+3"): the answer stands after the last space.

    [tables.queries]      "MEAS:RES?" = "resistance"   query = quantity; a quantity's first row is the usual one,
    and the one to ask

Answers are decimal numeric response data: NR1 (`273`), NR2 (`0.273`), NR3 (`2.73E+2`) (IEEE 488.2, 8.7.2 to
8.7.4), in SI units without prefix. ±9.9E37 is over-range and 9.91E37 not-a-number (SCPI-99 volume 1, 7.2.1.4 and
7.2.1.5, clause numbers from memory): state over and blank, never values. The resolution is the weight of the last
digit written.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

from metercap.meter import MeterProfile
from metercap.quantity import decimal_si
from metercap.reading import Reading, State
from metercap.wire import shapes
from metercap.wire.fields import Fields, layout, plain_flags, unfit
from metercap.wire.tables import Tables

INFINITY = Decimal("9.9E37")
NOT_A_NUMBER = Decimal("9.91E37")
_NUMBER = re.compile(r"([+-]?)([0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE]([+-]?[0-9]{1,3}))?", re.ASCII)
_USUAL = {State.OVER: "9.90000000E+37", State.BLANK: "9.91000000E+37"}


class Scpi:
    """Codec of one profile of the family."""

    frame_bytes = 26

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("queries",))
        self._queries = tables.quantities("queries")
        for query in self._queries:
            if not query.endswith("?") or not query.isascii() or not query.isprintable() or " " in query:
                tables.problem(f"queries.{query}", "must be a query without parameters, ending in ?")
        tables.done()
        self._usual = {quantity: query for query, quantity in reversed(self._queries.items())}

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one line with its end, or why it is no reading."""
        line = frame.removesuffix(b"\n").removesuffix(b"\r")
        if not all(0x20 <= byte < 0x7F for byte in line):
            return "not printable ASCII"
        query, _, answer = line.decode("ascii").rpartition(" ")
        header, mark, _ = query.partition("?")
        quantity = self._queries.get(header + mark)
        if quantity is None:
            return f"no query {(header + mark)[:40]!r} in the profile" if query else "no query before the answer"
        match = _NUMBER.fullmatch(answer)
        if match is None:
            return "the answer is no number"
        sign, mantissa, power = match.group(1), match.group(2), int(match.group(3) or 0)
        value, resolution, state = None, 0.0, State.OK
        flags: list[str] = []
        number = abs(Decimal(answer))
        if number in (INFINITY, NOT_A_NUMBER):
            state = State.OVER if number == INFINITY else State.BLANK
            flags += ["minus"] if sign == "-" else []
            shape = answer
        else:
            exponent = power - shapes.decimals_of(mantissa)
            # No meter resolves more; beyond this a float no longer carries the written decimal back.
            if sum(digit.isdigit() for digit in mantissa) > shapes.MAX_DIGITS or abs(exponent) > shapes.MAX_EXPONENT:
                return "the answer is no number that a meter shows"
            value = decimal_si(answer, 0)
            resolution = decimal_si("1", exponent)
            shape = shapes.shape_of(sign + mantissa) + answer[match.end(2) :]
        if query != self._usual[quantity]:
            flags.append(f"query:{query}")
        if frame.endswith(b"\r\n"):
            flags.append("end:CRLF")
        if shape != _usual_shape(value, resolution, state, "minus" in flags):
            flags.append(f"shape:{shape}")
        return quantity, value, resolution, quantity.unit, state, tuple(flags), frame.hex()

    def encode(self, reading: Reading) -> bytes:
        """Return the line of a reading, from its fields. Raises ProfileError for what a line cannot show."""
        query = layout(reading, "query") or self._usual.get(reading.quantity)
        shape = layout(reading, "shape") or _usual_shape(
            reading.value, reading.resolution, reading.state, "minus" in reading.flags
        )
        strange = [flag for flag in plain_flags(reading.flags) if flag != "minus"]
        if query is None or shape is None or strange:
            raise unfit(reading, f"{strange[0]!r} has no place" if strange else "the profile has no query for it")
        answer: str | None = shape
        if reading.value is not None:
            exponent = shapes.exponent_of(reading.resolution)
            counts = None if exponent is None else shapes.counts_of(reading.value, exponent)
            # Only the digits before the E are the value's; the exponent is layout.
            mantissa, mark, power = shape.upper().partition("E")
            mark = shape[len(mantissa) : len(mantissa) + len(mark)]
            filled = None if counts is None else shapes.fill(mantissa, counts)
            answer = None if filled is None else filled + mark + power
        if answer is None:
            raise unfit(reading, "its digits do not fit its layout")
        end = "\r\n" if layout(reading, "end") == "CRLF" else "\n"
        return f"{query} {answer}{end}".encode("ascii", "replace")


def _usual_shape(value: float | None, resolution: float, state: State, minus: bool) -> str | None:
    """Return the layout most meters use: a sign, one digit before the point, E, a sign, two digits."""
    if value is None:
        return ("-" if minus else "+") + _USUAL.get(state, "")
    exponent = shapes.exponent_of(resolution)
    counts = None if exponent is None else shapes.counts_of(value, exponent)
    if exponent is None or counts is None:
        return None
    digits = len(str(counts))
    mantissa = shapes.pointed("0" * digits, digits - 1)
    sign = "-" if math.copysign(1.0, value) < 0 else "+"
    return f"{sign}{mantissa}E{exponent + digits - 1:+03d}"
