"""Asking: what a walk says to the hands, in words."""

from __future__ import annotations

from collections.abc import Collection

from metercap.plankeys import Item
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading

NO_LIMIT = "no reference: take the good unit's tag and measure it there; good: this unit is the good one"
TICK_NOT_BEEP = "hold both tips on it until the tick, not the meter's beep"


def shown(reading: Reading, wanted: Collection[Quantity]) -> str:
    """Return the value that a reading shows, or an empty text where it shows none in a quantity that is wanted."""
    if reading.value is None or reading.quantity not in wanted:
        return ""
    return format_value(reading.value, reading.unit, reading.resolution)


def not_zero(item: str, reading: Reading) -> str:
    """Return why a `yes` is not taken: it is for a point that reads as open tips do."""
    value = "more than its range" if reading.value is None else shown(reading, (reading.quantity,))
    return f"{item}: yes is for what reads about zero, and the meter reads {value}: lift, then touch it"


def probe(item: Item, *, lacking: bool, second: bool, opening: str | None) -> str:
    """Return where to put the tips; `lacking`: its limit comes from a good unit, and none is known; `second`: look.

    `opening` is the step's own sentence, with the first prompt of the step; None with the others.
    """
    parts = [item.say or item.where, NO_LIMIT if lacking else ""]
    if item.red or item.black:
        parts.append(f"red on {item.red or 'the other end'}, black on {item.black or 'the other end'}")
    if second:
        parts.append("second look")
    if opening is not None:
        parts = [opening, *parts, TICK_NOT_BEEP]
    return f"{item.name}: " + ("; ".join(part for part in parts if part) or "both tips on it")
