"""What is sent to a SCPI meter for what is wanted of it, by its profile. Pure.

*Slow* is the query that does everything by itself, `MEASure:...?`: it sets the function and the meter's own defaults,
triggers and answers. *Fast*, for who states a faster rate than that gives, is set up once a wish, by `CONFigure:...`
and the row of the profile's table `speeds` (an integration time, say), and then only read, `READ?`.

    [tables.speeds]   MEAS = 2.5             conversions a second that the query by itself gives
                      "RES:NPLC 1" = 10.0    what to send after CONF:RES, and the rate that it gives
    [tables.panel]    over = "serial"        over which interfaces these two are sent: serial, or any
                      remote = "SYST:REM"    sent first: the front panel is locked from here on
                      local = "SYST:LOC"     sent last: the panel is left as it was found

Queries and commands as in SCPI-99, volume 2, chapters 3, 18 and 21 (chapter numbers from memory). `SYSTem:REMote` and
`SYSTem:LOCal` are common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from metercap.meter import MeterProfile
from metercap.quantity import Quantity

FIXED_RANGE = frozenset({Quantity.CONTINUITY, Quantity.DIODE, Quantity.TEMPERATURE})
"""Quantities whose query takes no range."""
RANGED = frozenset(
    {
        Quantity.RESISTANCE,
        Quantity.VOLTAGE_DC,
        Quantity.VOLTAGE_AC,
        Quantity.CURRENT_DC,
        Quantity.CURRENT_AC,
        Quantity.CAPACITANCE,
    }
)
"""Quantities whose range can be asked for."""
_ASKS = "MEAS:"


class Ask(NamedTuple):
    """One way to measure: `set_up` is sent once, `query` for each reading, whose line for the decoder begins `head`."""

    quantity: Quantity
    set_up: tuple[str, ...]
    query: str
    head: str


def query_for(profile: MeterProfile, quantity: Quantity, range_si: float | None) -> tuple[str, str] | None:
    """Return the query to send for a quantity, and what heads the decoder's line: the same, its range without a space.

    It is the quantity's first row in the profile's table `queries`; None when the profile has none.
    """
    for name, measured in profile.tables.get("queries", {}).items():
        if measured == quantity.value:
            if not range_si or quantity in FIXED_RANGE:
                return name, name
            return f"{name} {abs(range_si):.6G}", f"{name}{abs(range_si):.6G}"
    return None


def slow(profile: MeterProfile, quantity: Quantity, range_si: float | None) -> Ask | None:
    """Return the query that does everything by itself, or None when the profile has none for the quantity."""
    found = query_for(profile, quantity, range_si)
    return None if found is None else Ask(quantity, (), *found)


def ask_for(profile: MeterProfile, quantity: Quantity, range_si: float | None) -> Ask | None:
    """Return how to measure a quantity at the profile's rate, in the range that holds `range_si` (SI) where given."""
    plain = slow(profile, quantity, range_si)
    if plain is None or not plain.query.startswith(_ASKS):
        return plain
    function, _, asked = plain.query.removeprefix(_ASKS).partition("?")
    speed = _speed(profile, function, 1.0 / profile.conversion_s(quantity))
    if not speed:
        return plain
    return Ask(quantity, (f"CONF:{function}{asked}", speed), "READ?", plain.head)


def _speed(profile: MeterProfile, function: str, per_s: float) -> str:
    """Return the command for the slowest speed that gives `per_s`, else for the fastest; empty: none is needed."""
    speeds = {name: float(rate) for name, rate in profile.tables.get("speeds", {}).items()}
    rows = sorted((rate, name) for name, rate in speeds.items() if name.startswith(f"{function}:"))
    if not rows or per_s <= speeds.get("MEAS", 0.0):
        return ""
    return next((name for rate, name in rows if rate >= per_s), rows[-1][1])


def panel(profile: MeterProfile, *, serial: bool) -> tuple[str, str]:
    """Return what is sent first and last on this interface; empty texts for nothing."""
    table = profile.tables.get("panel", {})
    if table.get("over", "serial") != "any" and not serial:
        return "", ""
    return str(table.get("remote", "")), str(table.get("local", ""))
