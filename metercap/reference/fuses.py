"""What a good fuse reads cold, and the limit a fuse's rating and type stand for.

A good small-current fuse reads tens of ohms, and the values do not even fall steadily with the rating, so a limit comes
from a table or from the known-good unit, never from a formula. Only glass 5 × 20 mm fast fuse-links have a table here;
chip and resettable types differ too much between makers, so they take the known-good unit's value, as unknown ones do.
"""

from __future__ import annotations

from metercap.errors import ValueText
from metercap.metrology.domain import round6
from metercap.plankeys.base import FuseType
from metercap.quantity import format_value

LEADS_OHM = 0.2
"""What leads add where no `zero` step takes it off: 0.1 to 0.2 Ω (makers' manuals of handheld meters)."""
LEAST_LIMIT_OHM = 0.5
"""No limit is below this: contact and leads scatter by tenths of an ohm."""
FACTOR = 2.0
"""A limit is this many times the typical cold value."""

GLASS_5X20_OHM: dict[float, float] = {
    0.032: 41.5,
    0.040: 25.5,
    0.050: 17.5,
    0.063: 12.9,
    0.080: 5.2,
    0.100: 3.9,
    0.125: 2.9,
    0.160: 9.2,
    0.200: 7.0,
    0.250: 4.5,
    0.315: 3.2,
    0.400: 1.9,
    0.500: 0.27,
    0.630: 0.21,
    0.800: 0.15,
    1.0: 0.13,
    1.25: 0.098,
    1.6: 0.068,
    2.0: 0.044,
    2.5: 0.035,
    3.15: 0.026,
    4.0: 0.022,
    5.0: 0.015,
    6.3: 0.010,
}
"""Typical cold resistance in ohms by rating in amperes: fast-acting glass fuse-links 5 × 20 mm (IEC 60127-2), from a
maker's published data sheet. Not monotonic: 100 mA reads less than 160 mA."""

_TABLES: dict[str, dict[float, float]] = {"glass 5x20": GLASS_5X20_OHM}


def has_table(kind: FuseType) -> bool:
    """Return whether there is a table for this type; without one the known-good unit's value is the limit's source."""
    return kind in _TABLES


def typical_ohm(rating_a: float, kind: FuseType) -> float | None:
    """Return the typical cold resistance, in ohms, of a good fuse of `rating_a` amperes; None for a type without table.

    Raises `ValueText` for a rating that the table does not list, naming its neighbours; nothing is interpolated, since
    the values are not monotonic. Source: `GLASS_5X20_OHM`.
    """
    table = _TABLES.get(kind)
    if table is None:
        return None
    found = next((ohm for listed, ohm in table.items() if abs(listed - rating_a) <= 1e-6 * listed), None)
    if found is None:
        below = max((listed for listed in table if listed < rating_a), default=None)
        above = min((listed for listed in table if listed > rating_a), default=None)
        near = " or ".join(format_value(listed, "A") for listed in (below, above) if listed is not None)
        raise ValueText(
            f"{format_value(rating_a, 'A')} is no listed rating of a {kind} fuse",
            hint=f'{near}, or type = "unknown" for the known-good unit\'s value',
        )
    return found


def limit_ohm(rating_a: float, kind: FuseType, *, nulled: bool) -> float | None:
    """Return the highest resistance, in ohms, at which a fuse passes; None for a type without table.

    Formula: twice the typical cold value, plus 0.2 Ω of leads unless `nulled`, at least 0.5 Ω; 6 digits. Raises
    `ValueText` as `typical_ohm` does. Source of the rule: common practice, no source.
    """
    typical = typical_ohm(rating_a, kind)
    if typical is None:
        return None
    return max(LEAST_LIMIT_OHM, round6(FACTOR * typical + (0.0 if nulled else LEADS_OHM)))


def least_ohm(rating_a: float, kind: FuseType, *, nulled: bool) -> float | None:
    """Return what a typical good fuse reads, in ohms, leads included unless `nulled`; a lower limit fails good fuses.

    None for a type without table. Raises `ValueText` as `typical_ohm` does.
    """
    typical = typical_ohm(rating_a, kind)
    return None if typical is None else round6(typical + (0.0 if nulled else LEADS_OHM))
