"""A learned reference item by item, for people and for JSON. Pure."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from metercap.metrology.compare import ENOUGH, expected_value
from metercap.metrology.domain import round6
from metercap.quantity import format_value
from metercap.reference.model import GoodItem, Reference


class Learned(msgspec.Struct, frozen=True):
    """What one item rests on and lets expect, in SI and `unit`.

    `n` good units, named; their middle `value`; a further good unit is expected from `low` to `high`, by `method`.
    `floored`: the units agree within the uncertainty of one value, so that this decides the width.
    """

    step: str
    item: str
    unit: str
    n: int
    units: tuple[str, ...]
    value: float
    low: float
    high: float
    method: str
    floored: bool
    resolution: float | None


def learned(reference: Reference) -> tuple[Learned, ...]:
    """Return what every item of a reference lets expect, before a value is at hand: floored by the largest U of one.

    Source of the intervals: `metrology.expected_value`.
    """
    return tuple(_one(item) for item in reference.items)


def learned_lines(reference: Reference) -> Iterator[str]:
    """Return a reference in lines for people; whoever prints them escapes what files brought in."""
    names = ", ".join(unit.name for unit in reference.units)
    yield f"{reference.model or reference.title}: {_units(len(reference.units))} ({names})"
    for name in reference.unmarked:
        yield f"  note: unit {name} is not marked known good"
    rows = learned(reference)
    width = max((len(f"{row.step} {row.item}") for row in rows), default=0)
    for row in rows:
        finer = None if row.resolution is None else row.resolution / 10.0
        low, high = (format_value(edge, row.unit, finer) for edge in (row.low, row.high))
        rests = f"from {row.n}{_fewer(row, reference)}: {_how(row)}"
        yield f"  {f'{row.step} {row.item}':<{width}}  {low} to {high}, {rests}"
    for left in reference.left_out:
        yield f"  . {left.step} {left.item} of {left.unit_name} left out: {left.why}"
    if any(row.floored for row in rows):
        yield "  U alone: the uncertainty of one value, since one unit shows no spread, or several show less than that"
    if rows and max(row.n for row in rows) < ENOUGH:
        yield f"  {ENOUGH} good units and more show their spread well; fewer give wide intervals"


def _one(item: GoodItem) -> Learned:
    widest = max(value.expanded for value in item.values)
    expected = expected_value([value.value for value in item.values], widest)
    return Learned(
        item.step,
        item.item,
        item.unit,
        expected.n,
        tuple(value.name for value in item.values),
        round6(expected.centre),
        round6(expected.low),
        round6(expected.high),
        expected.method,
        expected.floored,
        item.values[0].resolution,
    )


def _units(n: int) -> str:
    return f"{n} good unit{'' if n == 1 else 's'}"


def _fewer(row: Learned, reference: Reference) -> str:
    return f" ({', '.join(row.units)} only)" if row.n < len(reference.units) else ""


def _how(row: Learned) -> str:
    if row.floored:
        return "U alone"
    return "prediction interval" if row.method == "prediction" else row.method
