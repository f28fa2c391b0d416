"""Plan keys that `sweep` and `check` share, and the order in which items are probed."""

from __future__ import annotations

import msgspec

from metercap.quantity import natural_key
from metercap.steps.good import Goods
from metercap.steps.judge import Limits
from metercap.steps.keys import Groups, Item, Limit, MeasuredStep, Rule, Seconds

REVERSED = " reversed"
"""Ends the name of an item's second polarity."""


class WalkStep(MeasuredStep, frozen=True, kw_only=True):
    """What `sweep` and `check` share. `min`, `max` and `unit` hold for every item without limits of its own.

    `patience_s`: how long without contact until one reminder.
    """

    min: Limit | None = None
    max: Limit | None = None
    patience_s: Seconds = 10.0

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every item, and its other polarity where both are asked for."""
        return tuple(item.name for item in walked(self.items))

    def limits_of(self, item: Item, rule: Rule, goods: Goods | None = None) -> Limits:
        """Return the limits of one item: its own where it has any, else the step's; `rule` is the plan's.

        Without any, `goods` take their place: a fuse whose type has no table takes its limit from them, others are
        held against them.
        """
        own = item.min is not None or item.max is not None
        low, high = (item.min, item.max) if own else (self.min, self.max)
        unit = self.unit or self.wanted[0].unit
        against = None
        if goods is not None and low is None and high is None:
            against = goods.against(self.id, item, unit)
            if against is not None and item.type is not None and not against.apart:
                high, against = against.good.fuse_max, None
        return Limits(low, high, unit, self.rule or rule, against)


def out_of_order(items: tuple[Item, ...], groups: Groups) -> str:
    """Return an item whose group is not a run of neighbours in the order of probing; "" where each group is."""
    group_of = {name: number for number, group in enumerate(groups) for name in group}
    left: set[int] = set()
    before = -1
    for item in walked(items):
        group = group_of.get(item.name.removesuffix(REVERSED), -1)
        if group != before and group in left:
            return item.name
        if group >= 0:
            left.add(group)
        before = group
    return ""


def walked(items: tuple[Item, ...]) -> list[Item]:
    """Return the items to probe in natural order, each with `both_ways` followed by its other polarity."""
    out: list[Item] = []
    for item in sorted(items, key=lambda item: natural_key(item.name)):
        out.append(item)
        if item.both_ways:
            other = item.name + REVERSED
            out.append(msgspec.structs.replace(item, name=other, red=item.black, black=item.red, both_ways=False))
    return out
