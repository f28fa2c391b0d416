"""Looks: what there is to look at, what each costs, and the expected minutes of an order."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec


class Look(msgspec.Struct, frozen=True):
    """One step as the search sees it: the `chance` that it finds the fault, its `minutes`, and the places (from 0) of
    the looks that it `needs` done before.

    `powers`: the unit has power in it. `dead`: it wants the unit proved dead, which takes `again` minutes anew where
    the unit had power since.
    """

    id: str
    chance: float
    minutes: float
    needs: tuple[int, ...] = ()
    powers: bool = False
    dead: bool = False
    again: float = 0.0


def takes(look: Look, *, hot: bool) -> float:
    """Return the minutes that a look takes; `hot`: the unit had power since it was proved dead."""
    return look.minutes + look.again if hot and look.dead else look.minutes


def is_hot(look: Look, *, hot: bool) -> bool:
    """Return whether the unit is to be proved dead again after this look."""
    return look.powers or (hot and not look.dead)


def minutes_to_fault(looks: Sequence[Look], order: Sequence[int], *, hot: bool = False) -> float:
    """Return Σ chanceᵢ · (minutes from the start to the end of look i), in minutes, over the looks in their order.

    Chances need not add up to 1: a fault that no look finds costs every order the same, but for proofs made anew.
    """
    clock, parts = 0.0, []
    for index in order:
        look = looks[index]
        clock += takes(look, hot=hot)
        hot = is_hot(look, hot=hot)
        parts.append(look.chance * clock)
    return math.fsum(parts)


def needed(looks: Sequence[Look], index: int) -> tuple[int, ...]:
    """Return the places of all that a look needs, itself last: each after what it needs itself, in the plan's order.

    Looks that need each other in a circle are broken off where the circle closes: `plan check` refuses such plans.
    """
    out: dict[int, None] = {}
    entered: dict[int, None] = {}
    ways = [(index, iter(sorted(looks[index].needs)))]
    entered[index] = None
    while ways:
        here, rest = ways[-1]
        below = next(rest, None)
        if below is None:
            out[here] = None
            ways.pop()
        elif below not in entered:
            entered[below] = None
            ways.append((below, iter(sorted(looks[below].needs))))
    return tuple(out)
