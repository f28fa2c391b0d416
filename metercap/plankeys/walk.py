"""Plan keys that `sweep` and `check` share, and the order in which items are probed."""

from __future__ import annotations

from typing import Annotated

import msgspec

from metercap.plankeys.base import Groups, Item, Limit, MeasuredStep, Names, Seconds, says
from metercap.quantity import Quantity, natural_key

REVERSED = " reversed"
"""Ends the name of an item's second polarity."""


class WalkStep(MeasuredStep, frozen=True, kw_only=True):
    """What `sweep` and `check` share. `min`, `max` and `unit` hold for every item without limits of its own.

    `patience_s`: how long without contact until one reminder. `order` is the way that hands go over a board where its
    numbering is not; items that it does not name follow in natural order.
    """

    min: Annotated[Limit | None, says("Lowest value of a good one; its unit says what is measured.", '"1 ohm"')] = None
    max: Annotated[Limit | None, says("Highest value of a good one; its unit says what is measured.", '"2 ohm"')] = None
    patience_s: Annotated[Seconds, says("How long without contact until one reminder.", '"20 s"')] = 10.0
    order: Annotated[
        Names,
        says("Items in the order of probing, where it is not F1, F2, F10; the rest follow.", '["F7", "F1..F6"]'),
    ] = ()

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every item, and its other polarity where both are asked for."""
        return tuple(item.name for item in walked(self.items, self.order))


class CheckStep(WalkStep, frozen=True, tag="check", kw_only=True):
    """Keys of a `check` step. `contacts` separate contacts are taken, and their spread enters U."""

    contacts: Annotated[int, says("Separate contacts that a recorded value takes; their spread enters U.", "3")] = 2


class SweepStep(WalkStep, frozen=True, tag="sweep", kw_only=True):
    """Keys of a `sweep` step. With ohm limits and no `quantity`, resistance and continuity both count.

    `count_check` asks at the end of each look whether the last tick was where it should be; `clusters`, groups of items
    that stand together, have it asked after each of them as well, so that a `no` costs one group.
    """

    count_check: Annotated[bool, says("Whether to ask at the end where the last tick was.", "false")] = True
    clusters: Annotated[
        Groups,
        says("Groups that stand together: the count is asked for after each.", '["F1..F6", "F7..F12"]'),
    ] = ()

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """The plan's quantity, else what the limits' unit stands for."""
        first = super().wanted
        if self.quantity is None and first == (Quantity.RESISTANCE,):
            return (Quantity.RESISTANCE, Quantity.CONTINUITY)
        return first


def out_of_order(items: tuple[Item, ...], groups: Groups, order: Names = ()) -> str:
    """Return an item whose group is not a run of neighbours in the order of probing; "" where each group is."""
    group_of = {name: number for number, group in enumerate(groups) for name in group}
    left: set[int] = set()
    before = -1
    for item in walked(items, order):
        group = group_of.get(item.name.removesuffix(REVERSED), -1)
        if group != before and group in left:
            return item.name
        if group >= 0:
            left.add(group)
        before = group
    return ""


def walked(items: tuple[Item, ...], order: Names = ()) -> list[Item]:
    """Return the items to probe, those that `order` names first and the rest in natural order.

    Each with `both_ways` is followed by its other polarity.
    """
    out: list[Item] = []
    turn = {name: n for n, name in enumerate(order)}
    for item in sorted(items, key=lambda item: (turn.get(item.name, len(turn)), natural_key(item.name))):
        out.append(item)
        if item.both_ways:
            other = item.name + REVERSED
            out.append(msgspec.structs.replace(item, name=other, red=item.black, black=item.red, both_ways=False))
    return out
