"""A trace in bounded memory: what a picture of it can show, with no spike lost. Pure.

Readings come one by one and nobody knows how many there will be. They fall into bins of equal time; each keeps its
first, lowest, highest and last value with their times. When the bins run out, neighbours join and the width doubles, so
a minute and a week take the same room, and a trace of few readings keeps every one.
"""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

BINS = 640
"""As many as a picture has columns."""
START_S = 1e-3
"""The first width of a bin; no meter sends faster."""


class Point(msgspec.Struct, frozen=True):
    """A value at a time, as the display showed it. `gap`: contact was lost before it, so no line leads here."""

    t_s: float
    value: float
    resolution: float = 0.0
    gap: bool = False


class _Bin:
    __slots__ = ("first", "gap", "high", "last", "low")

    def __init__(self, point: Point) -> None:
        self.first = self.low = self.high = self.last = point
        self.gap = point.gap

    def add(self, other: _Bin) -> None:
        """Take in a later bin, or a later point's."""
        if other.low.value < self.low.value:
            self.low = other.low
        if other.high.value > self.high.value:
            self.high = other.high
        self.last = other.last


class Trace:
    """Values over time. `n` counts all that were added; a time that runs back is taken for the last one."""

    def __init__(self, unit: str, bins: int = BINS) -> None:
        self.unit = unit
        self.n = 0
        self.over = 0
        """How many readings had no value: over-range, or blank."""
        self._most = bins
        self._width_s = START_S
        self._from_s = self._last_s = 0.0
        self._bins: dict[int, _Bin] = {}
        self._gap = True

    def add(self, t_s: float, value: float, resolution: float = 0.0) -> None:
        """Add a value."""
        if not self.n:
            self._from_s = self._last_s = t_s
        t_s = self._last_s = max(t_s, self._last_s)
        self.n += 1
        found = _Bin(Point(t_s, value, resolution, self._gap))
        self._gap = False
        self._put(self._place(t_s), found)

    def gap(self) -> None:
        """Contact is lost: the next value begins a new line."""
        self._gap = True

    def points(self) -> Iterator[Point]:
        """Yield what is kept, in the order of time; every value while they are few."""
        for each in self._bins.values():
            ends = (each.first,) if each.last is each.first else (each.first, each.last)
            inside = [point for point in (each.low, each.high) if point not in ends]
            for n, point in enumerate((ends[0], *sorted(inside, key=lambda point: point.t_s), *ends[1:])):
                yield msgspec.structs.replace(point, gap=each.gap and n == 0)

    @property
    def low(self) -> Point | None:
        """The lowest value, the first of equals."""
        return min((each.low for each in self._bins.values()), key=lambda point: point.value, default=None)

    @property
    def high(self) -> Point | None:
        """The highest value, the first of equals."""
        return max((each.high for each in self._bins.values()), key=lambda point: point.value, default=None)

    @property
    def first(self) -> Point | None:
        """The first value."""
        return next((each.first for each in self._bins.values()), None)

    @property
    def last(self) -> Point | None:
        """The last value."""
        return next((each.last for each in reversed(self._bins.values())), None)

    def _place(self, t_s: float) -> int:
        passed_s = t_s - self._from_s
        while passed_s / self._width_s >= self._most:
            self._width_s *= 2.0
            old, self._bins = self._bins, {}
            for index, each in old.items():
                self._put(index // 2, each)
        return int(passed_s / self._width_s)

    def _put(self, place: int, found: _Bin) -> None:
        at = self._bins.get(place)
        if at is None:
            self._bins[place] = found
        else:
            at.add(found)
