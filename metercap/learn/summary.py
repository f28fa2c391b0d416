"""A learned reference item by item, for people and for JSON. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeVar

import msgspec

from metercap.metrology.compare import ENOUGH
from metercap.metrology.domain import round6
from metercap.quantity import counted, format_value
from metercap.reference.model import GoodItem, Reference

NAMED = 40
"""Units, and values left out, that are named; the others are counted."""
Thing = TypeVar("Thing")


class Learned(msgspec.Struct, frozen=True):
    """What one item rests on and lets expect, in SI and `unit`.

    `n` good units, named where they are few enough to be listed; their middle `value`; a further good unit is expected
    from `low` to `high`, by `method`.
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
    names, more = _named(reference.units)
    more += reference.folded.units
    text = ", ".join(unit.name for unit in names)
    text += f"{' and ' if text else ''}{more} more" if more else ""
    yield f"{reference.model or reference.title}: {counted(reference.n, 'good unit')} ({text})"
    if reference.signed is not None:
        yield f"  signed off by {reference.signed.words}"
    unmarked, more = _named(reference.unmarked)
    for name in unmarked:
        yield f"  note: unit {name} is not marked known good"
    more += reference.folded.unmarked
    if more:
        yield f"  note: {more} units more are not marked known good"
    rows = learned(reference)
    width = max((len(f"{row.step} {row.item}") for row in rows), default=0)
    for row in rows:
        finer = None if row.resolution is None else row.resolution / 10.0
        low, high = (format_value(edge, row.unit, finer) for edge in (row.low, row.high))
        rests = f"from {row.n}{_fewer(row, reference)}: {_how(row)}"
        yield f"  {f'{row.step} {row.item}':<{width}}  {low} to {high}, {rests}"
    left_out, more = _named(reference.left_out)
    for left in left_out:
        yield f"  . {left.step} {left.item} of {left.unit_name} left out: {left.why}"
    more += reference.more_left_out
    if more:
        yield f"  . and {more} more"
    if any(row.floored for row in rows):
        yield "  U alone: the uncertainty of one value, since one unit shows no spread, or several show less than that"
    if rows and max(row.n for row in rows) < ENOUGH:
        yield f"  {ENOUGH} good units and more show their spread well; fewer give wide intervals"


def _named(things: tuple[Thing, ...]) -> tuple[tuple[Thing, ...], int]:
    """Return those that are named, and how many are not."""
    return things[:NAMED], len(things[NAMED:])


def _one(item: GoodItem) -> Learned:
    expected = item.expected()
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
        item.resolution,
    )


def _fewer(row: Learned, reference: Reference) -> str:
    if row.n >= reference.n:
        return ""
    return f" ({', '.join(row.units)} only)" if row.units else f" of {reference.n}"


def _how(row: Learned) -> str:
    if row.floored:
        return "U alone"
    return "prediction interval" if row.method == "prediction" else row.method
