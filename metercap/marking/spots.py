"""The arithmetic of places: turned and cropped with their picture, and which of them stand near each other. Pure."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Mapping, Sequence
from typing import TypeAlias

from metercap.marking.model import DIGITS, Spot, Tips

Box: TypeAlias = tuple[float, float, float, float]
"""Left, top, right and bottom, as fractions of the picture."""

WHOLE: Box = (0.0, 0.0, 1.0, 1.0)
GAP = 2.0
"""So many times the usual distance from one item to the next is a gap between groups."""
LEAST_GROUP, MOST_GROUP = 2, 8
"""Items of a group; one of more would cost much for a `no` at its count check."""


def turned(spot: Spot, quarters: int) -> Spot:
    """Return where a spot stands after the picture was turned clockwise by quarters.

    A quarter clockwise takes the left edge to the top: x' = 1 - y, y' = x.
    """
    x, y = spot
    for _ in range(quarters % 4):
        x, y = 1.0 - y, x
    return (x, y)


def turned_box(box: Box, quarters: int) -> Box:
    """Return where a box stands after the picture was turned clockwise by quarters."""
    one, other = turned(box[:2], quarters), turned(box[2:], quarters)
    return (min(one[0], other[0]), min(one[1], other[1]), max(one[0], other[0]), max(one[1], other[1]))


def cropped(spot: Spot, box: Box) -> Spot | None:
    """Return where a spot stands on what `box` leaves of the picture; None for one that was cut off."""
    left, top, right, bottom = box
    x, y = (spot[0] - left) / (right - left), (spot[1] - top) / (bottom - top)
    return (x, y) if 0.0 <= x <= 1.0 and 0.0 <= y <= 1.0 else None


def within(inner: Box, outer: Box) -> Box:
    """Return the box of the whole picture that `inner`, a box of what `outer` leaves, stands for."""
    left, top, right, bottom = outer
    width, height = right - left, bottom - top
    return (left + inner[0] * width, top + inner[1] * height, left + inner[2] * width, top + inner[3] * height)


def moved(at: Mapping[str, Tips], quarters: int = 0, box: Box = WHOLE) -> tuple[dict[str, Tips], tuple[str, ...]]:
    """Return the places after a turn and then a crop, and those that the crop took away (with any one tip)."""
    left: dict[str, Tips] = {}
    lost: list[str] = []
    for key, tips in at.items():
        spots = [cropped(turned(spot, quarters), box) for spot in tips]
        kept = tuple(_rounded(spot) for spot in spots if spot is not None)
        if len(kept) == len(tips):
            left[key] = kept
        else:
            lost.append(key)
    return left, tuple(lost)


def _rounded(spot: Spot) -> Spot:
    return (round(spot[0], DIGITS), round(spot[1], DIGITS))


def middle(tips: Tips) -> Spot:
    """Return the middle of an item's tips."""
    return (math.fsum(x for x, _ in tips) / len(tips), math.fsum(y for _, y in tips) / len(tips))


def groups(names: Sequence[str], at: Mapping[str, tuple[int, Tips]], shape: Mapping[int, float]) -> list[list[str]]:
    """Return the items that stand near each other, as runs of the order `names` in which they are probed.

    `at`: picture and place by name; `shape`: width over height by picture, so that distances are those on the board. A
    group ends where the way to the next item is more than `GAP` times the usual (median) one, at another picture, at
    an item without a place, and after `MOST_GROUP` items, which are shared out evenly. One item alone is no group.
    """
    ways = [_way(at.get(one), at.get(other), shape) for one, other in itertools.pairwise(names)]
    known = [way for way in ways if way is not None]
    far = GAP * statistics.median(known) if known else 0.0
    runs: list[list[str]] = [[names[0]]] if names else []
    for name, way in zip(names[1:], ways, strict=True):
        if way is None or way > far:
            runs.append([])
        runs[-1].append(name)
    out: list[list[str]] = []
    for run in runs:
        parts = math.ceil(len(run) / MOST_GROUP)
        cuts = [len(run) * n // parts for n in range(parts + 1)]
        out += [run[one:other] for one, other in itertools.pairwise(cuts)]
    found = [run for run in out if len(run) >= LEAST_GROUP]
    return found if len(out) > 1 else []


def _way(one: tuple[int, Tips] | None, other: tuple[int, Tips] | None, shape: Mapping[int, float]) -> float | None:
    if one is None or other is None or one[0] != other[0]:
        return None
    (x, y), (x2, y2) = middle(one[1]), middle(other[1])
    return math.hypot((x2 - x) * shape.get(one[0], 1.0), y2 - y)
