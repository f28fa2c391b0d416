"""A reference: what good units of one model measured, item by item, with all that a comparison needs to know.

It keeps every unit's value, not their middle: what they let one expect is worked out where it is used, against the
uncertainty of the value at hand.
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from metercap.judging.good import Good, GoodValue, Origin
from metercap.metrology.compare import ENOUGH, expected_value
from metercap.metrology.domain import round6
from metercap.reference.fuses import FACTOR, LEAST_LIMIT_OHM

SCHEMA = 1
"""Version of the file; a reader refuses newer ones."""


class GoodUnit(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One unit: its session, when that started (RFC 3339, UTC), where its values come from, and who vouched for it."""

    name: str
    session: str
    start_utc: str
    origin: Origin
    known_good: bool


class GoodItem(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One place to probe and what each unit measured there, in SI and `unit`; each value names its unit.

    `connected`, `red` and `black` are those of the plan's item, under which the values hold.
    """

    step: str
    item: str
    unit: str
    values: tuple[GoodValue, ...]
    connected: str = ""
    red: str = ""
    black: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """Step and item."""
        return self.step, self.item


class LeftOut(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A unit's item that gives no good value, and why."""

    step: str
    item: str
    unit_name: str
    why: str


class Reference(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What good units of `model` measured; `title` is the plan's. `left_out` names what gave no good value."""

    kind: Literal["reference"] = "reference"
    schema: int = SCHEMA
    program: str
    model: str
    title: str
    units: tuple[GoodUnit, ...]
    items: tuple[GoodItem, ...]
    left_out: tuple[LeftOut, ...] = ()

    @property
    def unmarked(self) -> tuple[str, ...]:
        """Units that nobody marked known good."""
        return tuple(unit.name for unit in self.units if not unit.known_good)


def goods(reference: Reference) -> dict[tuple[str, str], Good]:
    """Return what a session is held against, by step and item."""
    units = {unit.name: unit for unit in reference.units}
    return {item.key: _good(item, units) for item in reference.items}


def rows(reference: Reference) -> dict[str, dict[str, Any]]:
    """Return `goods` in the form that a session's first record carries, by "step/item"."""
    return {"/".join(key): msgspec.to_builtins(good) for key, good in goods(reference).items()}


def _good(item: GoodItem, units: dict[str, GoodUnit]) -> Good:
    n = len(item.values)
    widest = max(value.expanded for value in item.values)
    centre = round6(expected_value([value.value for value in item.values], widest).centre)
    first = units[item.values[0].name]
    few = n < ENOUGH
    return Good(
        value=item.values[0].value if n == 1 else centre,
        expanded=widest,
        unit=item.unit,
        n=n,
        unit_name=", ".join(value.name for value in item.values),
        session=first.session if n == 1 else "",
        known_good=all(units[value.name].known_good for value in item.values),
        resolution=item.values[0].resolution if n == 1 else None,
        # Many values show their spread, which is then wider than any one's U; few need all that is known of each.
        units=tuple(_seen(value, units[value.name], few) for value in item.values),
        connected=item.connected,
        red=item.red,
        black=item.black,
        fuse_max=max(LEAST_LIMIT_OHM, round6(FACTOR * centre)) if item.unit == "ohm" else None,
    )


def _seen(value: GoodValue, unit: GoodUnit, few: bool) -> GoodValue:
    if few:
        return value if value.origin != Origin() else msgspec.structs.replace(value, origin=unit.origin)
    return GoodValue(value.value, value.expanded, name=value.name)
