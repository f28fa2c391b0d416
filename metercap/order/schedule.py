"""The order of least expected minutes: exact for a dozen looks, by the ratio rule with its modules beyond."""

from __future__ import annotations

import math
from collections.abc import Sequence

from metercap.order.looks import Look, is_hot, minutes_to_fault, needed, takes

EXACT = 15
"""Looks up to which every order is weighed, by dynamic programming over those that are left."""
MOST_MODULES = 40
"""Looks up to which modules are grown anew at each place; of more, each is ranked once, with what it needs."""
PASSES = 4
"""How often at most every look is tried at every other place of an order by modules."""


def best_order(looks: Sequence[Look], *, hot: bool = False) -> tuple[int, ...]:
    """Return the places of all looks in the order of least expected minutes to the fault, what is needed before it.

    `hot`: the unit had power since it was proved dead. Of equal orders the one nearest to the plan's is taken.
    """
    if len(looks) <= EXACT and not _in_circle(looks):
        return _Exact(looks).order(hot=hot)
    return by_ratio(looks, hot=hot)


def _in_circle(looks: Sequence[Look]) -> bool:
    """Whether some look needs itself: then no order keeps every condition."""
    return any(index in looks[below].needs for index in range(len(looks)) for below in needed(looks, index))


class _Exact:
    """Dynamic programming: V(left, hot) = min over j of minutesⱼ · Σ chances left + V(left − j, hot after j).

    Of looks that nothing left needs, which may come now and differ in chance and minutes alone, only the one of the
    best ratio is tried: two such looks stand in the order of their ratios in some best order (adjacent or not, since
    what stands between them may be exchanged with either; Monma and Potts 1989 for changes between families, from
    memory). What remains is held against all orders by a test.
    """

    def __init__(self, looks: Sequence[Look]) -> None:
        self._looks = looks
        self._masks = [_mask(look.needs) for look in looks]
        self._known: dict[tuple[int, bool], tuple[float, int]] = {}
        self._weights: dict[int, float] = {}

    def order(self, *, hot: bool) -> tuple[int, ...]:
        """Return the best order of all."""
        left, out = (1 << len(self._looks)) - 1, []
        while left:
            index = self._best(left, hot)[1]
            out.append(index)
            left &= ~(1 << index)
            hot = is_hot(self._looks[index], hot=hot)
        return tuple(out)

    def _best(self, left: int, hot: bool) -> tuple[float, int]:
        """Return the expected minutes of what is left, and what comes first of it."""
        known = self._known.get((left, hot))
        if known is not None:
            return known
        best = (math.inf, -1)
        if not left:
            best = (0.0, -1)
        for index in self._firsts(left):
            look = self._looks[index]
            rest = left & ~(1 << index)
            minutes = takes(look, hot=hot) * self._weight(left) + self._best(rest, is_hot(look, hot=hot))[0]
            if minutes < best[0]:
                best = (minutes, index)
        self._known[left, hot] = best
        return best

    def _firsts(self, left: int) -> list[int]:
        """Return what may come first of what is left and is worth trying, in the plan's order."""
        wanted = 0
        free = []
        for index in range(len(self._looks)):
            if left >> index & 1:
                wanted |= self._masks[index]
                if not self._masks[index] & left:
                    free.append(index)
        out: dict[object, int] = {}
        for index in free:
            look = self._looks[index]
            leaf = not wanted >> index & 1
            family: object = (look.powers, look.dead, look.again) if leaf else index
            other = out.get(family)
            if other is None or _better(look, self._looks[other]):
                out[family] = index
        return sorted(out.values())

    def _weight(self, left: int) -> float:
        weight = self._weights.get(left)
        if weight is None:
            weight = math.fsum(look.chance for index, look in enumerate(self._looks) if left >> index & 1)
            self._weights[left] = weight
        return weight


def _mask(places: Sequence[int]) -> int:
    mask = 0
    for place in places:
        mask |= 1 << place
    return mask


def _better(one: Look, other: Look) -> bool:
    """Whether chance over minutes is higher; products instead of quotients, so that nothing is divided by 0."""
    return one.chance * other.minutes > other.chance * one.minutes


def by_ratio(looks: Sequence[Look], *, hot: bool = False) -> tuple[int, ...]:
    """Return an order by the ratio rule with modules: always the module of the highest chance over minutes next.

    A module is a look with all that it still needs, grown by further looks while that raises its ratio: what is opened
    is paid for once, and serves several. Then every look is tried at every other place. Exact where nothing is needed
    and no power comes between; else near it (how near, a test measures).
    """
    modules = [needed(looks, index) for index in range(len(looks))]
    if len(looks) > MOST_MODULES:
        return _ranked(looks, modules)
    left = dict.fromkeys(range(len(looks)))
    out: list[int] = []
    now = hot
    while left:
        best: tuple[int, ...] = ()
        highest = (-1.0, 0.0)
        for index in left:
            module = tuple(below for below in modules[index] if below in left)
            chance, minutes = _grown(looks, modules, left, module, hot=now)
            if chance * highest[1] > highest[0] * minutes or highest[0] < 0.0:
                best, highest = module, (chance, minutes)
        for index in best:
            out.append(index)
            del left[index]
            now = is_hot(looks[index], hot=now)
    return _moved(looks, out, hot=hot)


def _moved(looks: Sequence[Look], order: Sequence[int], *, hot: bool) -> tuple[int, ...]:
    """Return an order in which no look does better elsewhere: what power undoes between two looks no ratio sees."""
    best, least = list(order), minutes_to_fault(looks, order, hot=hot)
    for _ in range(PASSES):
        before = least
        for index in order:
            rest = [each for each in best if each != index]
            low = max((at + 1 for at, each in enumerate(rest) if each in looks[index].needs), default=0)
            high = min((at for at, each in enumerate(rest) if index in looks[each].needs), default=len(rest))
            for at in range(low, high + 1):
                tried = [*rest[:at], index, *rest[at:]]
                minutes = minutes_to_fault(looks, tried, hot=hot)
                if minutes < least - 1e-9:
                    best, least = tried, minutes
        if least == before:
            break
    return tuple(best)


def _grown(
    looks: Sequence[Look],
    modules: Sequence[tuple[int, ...]],
    left: dict[int, None],
    module: tuple[int, ...],
    *,
    hot: bool,
) -> tuple[float, float]:
    """Return chance and minutes of a module that was grown as far as its ratio rises."""
    inside = dict.fromkeys(module)
    chance, minutes, hot = _cost(looks, module, hot=hot)
    while True:
        best: tuple[tuple[int, ...], float, float, bool] | None = None
        for index in left:
            if index in inside:
                continue
            more = tuple(below for below in modules[index] if below in left and below not in inside)
            one, other, after = _cost(looks, more, hot=hot)
            if one * minutes > chance * other and (best is None or one * best[2] > best[1] * other):
                best = (more, one, other, after)
        if best is None:
            return chance, minutes
        inside.update(dict.fromkeys(best[0]))
        chance, minutes, hot = chance + best[1], minutes + best[2], best[3]


def _cost(looks: Sequence[Look], module: Sequence[int], *, hot: bool) -> tuple[float, float, bool]:
    chance = math.fsum(looks[index].chance for index in module)
    clock = 0.0
    for index in module:
        clock += takes(looks[index], hot=hot)
        hot = is_hot(looks[index], hot=hot)
    return chance, clock, hot


def _ranked(looks: Sequence[Look], modules: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    """Rank each look once by the ratio of its module."""
    ratios = []
    for index, module in enumerate(modules):
        chance, minutes, _ = _cost(looks, module, hot=False)
        ratios.append((-(chance / minutes) if minutes > 0.0 else 0.0, index))
    out: dict[int, None] = {}
    for _, index in sorted(ratios):
        out.update(dict.fromkeys(below for below in modules[index] if below not in out))
    return tuple(out)
