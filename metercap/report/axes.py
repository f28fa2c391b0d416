"""Scales of a picture: time folded where nothing happened, values cut where a few would flatten all others. Pure."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise

import msgspec

LONGEST_IDLE_S = 60.0
LONGEST_SHARE = 0.05
"""Time without anything to show that is drawn as it was, in seconds and as a share of the whole: the longer of both. Of
more, a third of that is left."""
_SHORTEST_S = 1e-6
"""A journal's times have no finer step."""
_LATEST_S = 1e12
_LARGEST = 1e30
"""No meter shows more; a file may say anything."""
_STEPS_S = (
    0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0, 3600.0, 7200.0, 10800.0, 21600.0, 43200.0,
    86400.0,
)  # fmt: skip


class Fold(msgspec.Struct, frozen=True):
    """A stretch of idle time that is not drawn: `s` of it, just before `t_s`."""

    t_s: float
    s: float


class TimeAxis:
    """Where a time stands between `x0` and `x1`. `busy` are times at which something is drawn, in order."""

    def __init__(self, busy: Sequence[float], x0: float, x1: float) -> None:
        busy = [min(max(t_s, -_LATEST_S), _LATEST_S) for t_s in busy]
        self.from_s, self.to_s = (busy[0], busy[-1]) if busy else (0.0, 0.0)
        self.folds: list[Fold] = []
        longest_s = max(LONGEST_IDLE_S, LONGEST_SHARE * (self.to_s - self.from_s))
        self._half_s = longest_s / 6.0
        for before, after in pairwise(busy):
            if after - before > longest_s:
                self.folds.append(Fold(after, after - before - 2.0 * self._half_s))
        self._ends = [fold.t_s for fold in self.folds]
        self._gone = [0.0, *accumulate(fold.s for fold in self.folds)]
        self._x0 = x0
        drawn_s = self._drawn(self.to_s)
        self._scale = (x1 - x0) / drawn_s if drawn_s >= _SHORTEST_S else 0.0

    def x(self, t_s: float) -> float:
        """Return where a time stands; one inside a fold stands at its place."""
        return self._x0 + self._scale * self._drawn(min(max(t_s, self.from_s), self.to_s))

    def ticks(self, most: int) -> Iterator[float]:
        """Yield round times, about `most` of them, none inside a fold."""
        drawn_s = self._drawn(self.to_s)
        step_s = next((step for step in _STEPS_S if drawn_s / step <= most), drawn_s / most or 1.0)
        t_s = math.ceil(self.from_s / step_s) * step_s
        for _ in range(4 * most + len(self.folds)):  # a file's times may be too large to add a step to
            if t_s > self.to_s:
                return
            fold = next((fold for fold in self.folds if fold.t_s - fold.s - self._half_s < t_s < fold.t_s), None)
            if fold is None:
                yield t_s
                t_s += step_s
            else:
                t_s = math.ceil(fold.t_s / step_s) * step_s

    def _drawn(self, t_s: float) -> float:
        """Return the time drawn before `t_s`: inside a fold time stands still in the middle of what is left."""
        passed = bisect_right(self._ends, t_s)
        drawn = t_s - self.from_s - self._gone[passed]
        if passed < len(self.folds):
            coming = self.folds[passed]
            begins = coming.t_s - coming.s - self._half_s
            if t_s > begins:
                drawn -= min(t_s - begins, coming.s)
        return drawn


class Scale(msgspec.Struct, frozen=True):
    """Values from `low` at `y0`, the bottom, to `high` at `y1`."""

    low: float
    high: float
    y0: float
    y1: float

    def y(self, value: float) -> float:
        """Return where a value stands, at the edge where it is off the scale."""
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.y0 + share * (self.y1 - self.y0)

    def beyond(self, value: float) -> float:
        """Return how far a value is off the scale, as a share of it; 0.0 where it is on it."""
        return max(self.low - value, value - self.high, 0.0) / (self.high - self.low)

    def ticks(self, most: int) -> Iterator[float]:
        """Yield round values, at most about `most` of them."""
        step = 10.0 ** math.floor(math.log10((self.high - self.low) / most))
        step = next(step * by for by in (1.0, 2.0, 5.0, 10.0) if (self.high - self.low) / (step * by) <= most)
        first = math.ceil(self.low / step)
        for n in range(first, math.floor(self.high / step) + 1):
            yield float(f"{n * step:.12g}")


def scale(values: Sequence[float], shown: Sequence[float], y0: float, y1: float) -> Scale:
    """Return a scale that shows everything in `shown`, and all of `values` unless a few of them would flatten the rest.

    What the middle nine tenths of `values` and `shown` need is always there; beyond it all is, where that makes the
    scale at most three times as wide, else what lies within one such width.
    """
    ordered = sorted(value for value in values if abs(value) < _LARGEST)
    cut = len(ordered) // 20 or (1 if len(ordered) > 7 else 0)
    core = [*(value for value in shown if abs(value) < _LARGEST), *ordered[cut : len(ordered) - cut]] or [0.0]
    low, high = min(core), max(core)
    span = high - low or 0.02 * abs(high)
    far = bool(ordered) and max(high, ordered[-1]) - min(low, ordered[0]) > 3.0 * span
    inside = [value for value in ordered if not far or low - span <= value <= high + span]
    low, high = min([low, *inside]), max([high, *inside])
    room = 0.06 * (high - low) or 0.01 * abs(high) or 1.0
    return Scale(low - room, high + room, y0, y1)
