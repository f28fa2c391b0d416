"""Family `scpi`: answers of IEEE 488.2 / SCPI-99 meters, each behind the query it answers.

    RES? +1.234E+3         the query that was asked, a space, the answer, LF
    MEAS:RES?2 +3.1E-1     the same where a range was asked for: up to 2 ohm

The link writes the query in front of the answer, so a tape or a journal decodes alone. What stands before the first
space is the link's, what follows is the meter's, and all of that must be the one number that was asked for. An echo,
several fields or lines, a unit, a message: garbage.

    [tables.queries]         "MEAS:RES?" = "resistance"   query = quantity; a quantity's first row is the one to ask
    [tables.lowest_ranges]   resistance = 100.0           the meter's lowest range in SI units, a power of ten; optional
    [tables.speeds]          "RES:NPLC 1" = 10.0          what the link may send for a faster rate, and
    [tables.panel]           remote = "SYST:REM"          what it sends first and last (`link.asking`); optional

Answers are decimal numeric response data: NR1 (`273`), NR2 (`0.273`), NR3 (`2.73E+2`) (IEEE 488.2, 8.7.2 to
8.7.4), in SI units without prefix. ±9.9E37 is over-range and 9.91E37 not-a-number (SCPI-99 volume 1, 7.2.1.4 and
7.2.1.5, clause numbers from memory): state over and blank, never values.

*Resolution.* Such a meter prints as many digits as its number format has, whatever it measured, so they say nothing.
What it can tell apart follows from its range and from `counts`, the highest number it shows in it: one count, rounded
up to a power of ten. The range is the one that was asked for; where none was, the lowest that holds the value. Ranges
are decades that reach 20 % beyond their name (common practice, no source).
"""

from __future__ import annotations

import re
from decimal import Decimal

from metercap.meter import MOST_PER_S, MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import State
from metercap.spelling import aside
from metercap.wire import shapes
from metercap.wire.fields import Fields
from metercap.wire.tables import Tables

INFINITY = Decimal("9.9E37")
NOT_A_NUMBER = Decimal("9.91E37")
LOWEST_RANGES = {
    Quantity.RESISTANCE: 2,
    Quantity.CONTINUITY: 3,
    Quantity.VOLTAGE_DC: -1,
    Quantity.VOLTAGE_AC: -1,
    Quantity.CURRENT_DC: -2,
    Quantity.CURRENT_AC: -2,
    Quantity.CAPACITANCE: -9,
    Quantity.FREQUENCY: 1,
    Quantity.DUTY: 2,
    Quantity.DIODE: 1,
    Quantity.TEMPERATURE: 3,
}
"""Lowest range as a power of ten in SI units, where the profile says nothing (common practice, no source)."""
COUNTS = 19_999
"""The highest number shown, where the profile says nothing: four and a half digits, the coarsest of such meters."""
BEYOND = 1.2
_NUMBER = re.compile(r"([+-]?)([0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE]([+-]?[0-9]{1,3}))?", re.ASCII)


def one_number(answer: bytes) -> bool:
    """Whether an answer is exactly one number in the syntax of IEEE 488.2."""
    return answer.isascii() and _NUMBER.fullmatch(answer.decode("ascii")) is not None


class Scpi:
    """Codec of one profile of the family."""

    frame_bytes = 26

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("queries", "lowest_ranges", "speeds", "panel"))
        self._queries = tables.quantities("queries")
        for query in self._queries:
            if not query.endswith("?") or not query.isascii() or not query.isprintable() or " " in query:
                tables.problem(f"queries.{query}", "must be a query without parameters, ending in ?")
        _check_speeds(tables)
        _check_panel(tables)
        self._lowest = LOWEST_RANGES | _lowest_ranges(tables)
        tables.done()
        self._count_exponent = 1 - len(str(profile.counts or COUNTS))

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one line with its end, or why it is no reading."""
        line = frame.removesuffix(b"\n").removesuffix(b"\r")
        if not all(0x20 <= byte < 0x7F for byte in line):
            return "not printable ASCII"
        query, _, answer = line.decode("ascii").partition(" ")
        header, mark, asked = query.partition("?")
        quantity = self._queries.get(header + mark)
        if quantity is None:
            return f"no query {(header + mark)[:40]!r} in the profile" if query else "no query before the answer"
        if asked and not _a_range(asked):
            return "the query's range is no range"
        match = _NUMBER.fullmatch(answer)
        if match is None:
            return "the answer is not one number"
        sign, mantissa, power = match.group(1), match.group(2), int(match.group(3) or 0)
        value, resolution, state = None, 0.0, State.OK
        flags: tuple[str, ...] = ()
        number = abs(Decimal(answer))
        if number in (INFINITY, NOT_A_NUMBER):
            state = State.OVER if number == INFINITY else State.BLANK
            flags = ("minus",) if sign == "-" else ()
        else:
            exponent = power - shapes.decimals_of(mantissa)
            # No meter resolves more; beyond this a float no longer carries the written decimal back.
            long = sum(digit.isdigit() for digit in mantissa) > shapes.MAX_DIGITS
            if long or abs(exponent) > shapes.MAX_EXPONENT or number > INFINITY:
                return "the answer is no number that a meter shows"
            value = decimal_si(answer, 0)
            resolution = self._resolution(quantity, value, float(asked or 0))
        return quantity, value, resolution, quantity.unit, state, flags, frame.hex()

    def _resolution(self, quantity: Quantity, value: float, asked: float) -> float:
        """Return one count of the range: of the one asked for, or of a higher one where only that holds the value."""
        exponent = self._lowest[quantity]
        while 10.0**exponent < asked or BEYOND * 10.0**exponent < abs(value):
            exponent += 1
        return decimal_si("1", exponent + self._count_exponent)


def _a_range(text: str) -> bool:
    """Whether a query's parameter is a range that a meter can have: one number, in SI units, above nothing."""
    if len(text) > 32 or _NUMBER.fullmatch(text) is None:
        return False
    return Decimal("1E-30") < Decimal(text) < Decimal("1E30")


def _lowest_ranges(tables: Tables) -> dict[Quantity, int]:
    found: dict[Quantity, int] = {}
    if "lowest_ranges" not in tables.profile.tables:
        return found
    for name, exponent in tables.weights("lowest_ranges").items():
        if name in tuple(Quantity):
            found[Quantity(name)] = exponent
        else:
            tables.problem(f"lowest_ranges.{name}", f"is no quantity{aside(name, tuple(Quantity))}")
    return found


def _check_speeds(tables: Tables) -> None:
    for name, rate in tables.rows("speeds", required=False).items():
        if name != "MEAS" and not _is_command(name):
            tables.problem(f"speeds.{name}", "must be MEAS or one command such as RES:NPLC 1")
        if isinstance(rate, str) or not 0.0 < rate <= MOST_PER_S:
            tables.problem(f"speeds.{name}", f"{rate!r} must be conversions a second, above 0")


def _check_panel(tables: Tables) -> None:
    tables.choice("panel", "over", "serial", ("serial", "any"))
    for key, text in tables.texts("panel", required=False).items():
        if key not in ("over", "remote", "local"):
            tables.problem(f"panel.{key}", f"no such key{aside(key, ('over', 'remote', 'local'))}")
        elif key != "over" and not _is_command(text):
            tables.problem(f"panel.{key}", f"{text!r} must be one command")


def _is_command(text: str) -> bool:
    """Whether a text is one command without an answer: printable ASCII, no query, no second command."""
    return bool(text.strip()) and text.isascii() and text.isprintable() and not set("?;") & set(text)
