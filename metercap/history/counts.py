"""The history of any number of sessions, counted: what is kept grows with places, meters and benches, not sessions.

Two histories add up exactly and in any order: `a.take(b)` is the history of both. So it can be worked out on many
machines, and kept for what did not change.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable

import msgspec

from metercap.history.model import Mark, Place, Sight
from metercap.metrology.tally import Tally, merged

MOST_DATES = 60
"""Dates that are told apart: days, then months, then years. For as many a trend's chance is exact."""
_LENGTHS = (10, 7, 4)
"""How much of an ISO date names its day, month, year."""
_MOST_PART = 1000
"""Different values that are told apart of one meter, bench or date."""
EXTREMES = 5
"""Lowest and highest values whose origin is kept."""


class Dates(msgspec.Struct):
    """Values by date: `parts` by day, month or year as `level` is 0, 1, 2; `days` sums the days since year 1."""

    level: int = 0
    parts: dict[str, Tally] = {}
    days: dict[str, int] = {}

    def add(self, day: str, value: float, n: int = 1) -> None:
        """Count a value of a day (ISO 8601) `n` times; one without a day, or of no real day, is passed over."""
        try:
            number = datetime.date.fromisoformat(day).toordinal()
        except ValueError:
            return
        name = day[: _LENGTHS[self.level]]
        part = self.parts.get(name)
        if part is None:
            part = self.parts[name] = Tally(most=_MOST_PART)
        part.add(value, n)
        self.days[name] = self.days.get(name, 0) + number * n
        self._fit()

    def take(self, other: Dates) -> None:
        """Count everything of another one."""
        while self.level < other.level:
            self._widen()
        for name, part in other.parts.items():
            short = name[: _LENGTHS[self.level]]
            self.parts[short] = merged([self.parts[short], part]) if short in self.parts else merged([part])
            self.days[short] = self.days.get(short, 0) + other.days[name]
        self._fit()

    def middle(self, name: str) -> float:
        """Return the mean day of a part's values, in days since year 1."""
        return self.days[name] / self.parts[name].n

    def _fit(self) -> None:
        while len(self.parts) > MOST_DATES and self.level + 1 < len(_LENGTHS):
            self._widen()

    def _widen(self) -> None:
        before, self.parts = self.parts, {}
        days, self.days = self.days, {}
        self.level += 1
        for name, part in before.items():
            short = name[: _LENGTHS[self.level]]
            self.parts[short] = merged([self.parts[short], part]) if short in self.parts else part
            self.days[short] = self.days.get(short, 0) + days[name]


class Cell(msgspec.Struct):
    """What was seen at one place: all values, and the same by meter, bench and date; how often each verdict was given.

    `resolution` is the coarsest last digit, `finest` the finest, 0 before any. `lowest` and `highest` are the outermost
    values, with their origin.
    """

    all: Tally = msgspec.field(default_factory=Tally)
    meters: dict[str, Tally] = {}
    benches: dict[str, Tally] = {}
    dates: Dates = msgspec.field(default_factory=Dates)
    verdicts: dict[str, int] = {}
    resolution: float = 0.0
    finest: float = 0.0
    lowest: tuple[Mark, ...] = ()
    highest: tuple[Mark, ...] = ()

    def add(self, sight: Sight) -> None:
        """Count one verdict, and its value where it has one."""
        self.count(sight)
        if sight.value is not None:
            self.mark(sight.mark)

    def count(self, sight: Sight, n: int = 1) -> None:
        """Count `n` verdicts that are alike but for where they came from, and their values where they have one."""
        if sight.verdict:
            self.verdicts[sight.verdict] = self.verdicts.get(sight.verdict, 0) + n
        if sight.value is None:
            return
        self.all.add(sight.value, n)
        for parts, name in ((self.meters, sight.meter), (self.benches, sight.bench)):
            part = parts.get(name)
            if part is None:
                part = parts[name] = Tally(most=_MOST_PART)
            part.add(sight.value, n)
        self.dates.add(sight.day, sight.value, n)
        self.resolution = max(self.resolution, sight.resolution)
        self.finest = _finer(self.finest, sight.resolution)

    def mark(self, mark: Mark) -> None:
        """Keep where a counted value came from, while it is one of the outermost."""
        if len(self.lowest) < EXTREMES or mark.value <= self.lowest[-1].value:
            self.lowest = _outermost((*self.lowest, mark), high=False)
        if len(self.highest) < EXTREMES or mark.value >= self.highest[-1].value:
            self.highest = _outermost((*self.highest, mark), high=True)

    def take(self, other: Cell) -> None:
        """Count everything of another one."""
        self.all.take(other.all)
        for parts, more in ((self.meters, other.meters), (self.benches, other.benches)):
            for name, part in more.items():
                parts[name] = merged([parts[name], part]) if name in parts else merged([part])
        self.dates.take(other.dates)
        for verdict, n in other.verdicts.items():
            self.verdicts[verdict] = self.verdicts.get(verdict, 0) + n
        self.resolution = max(self.resolution, other.resolution)
        self.finest = _finer(self.finest, other.finest)
        self.lowest = _outermost((*self.lowest, *other.lowest), high=False)
        self.highest = _outermost((*self.highest, *other.highest), high=True)


class History(msgspec.Struct):
    """Every place that was seen, and how many sessions each meter and bench had. `first` and `last` are days."""

    cells: dict[Place, Cell] = {}
    meters: dict[str, int] = {}
    benches: dict[str, int] = {}
    sessions: int = 0
    first: str = ""
    last: str = ""

    def session(self, meter: str, bench: str, day: str = "") -> None:
        """Count one session."""
        self.sessions += 1
        self.meters[meter] = self.meters.get(meter, 0) + 1
        self.benches[bench] = self.benches.get(bench, 0) + 1
        self._span(day, day)

    def add(self, place: Place, sight: Sight) -> None:
        """Count one verdict at a place."""
        self.cell(place).add(sight)

    def cell(self, place: Place) -> Cell:
        """Return a place's cell, an empty one where nothing was seen there yet."""
        cell = self.cells.get(place)
        if cell is None:
            cell = self.cells[place] = Cell()
        return cell

    def take(self, other: History) -> None:
        """Count everything of another history."""
        for place, cell in other.cells.items():
            self.cells.setdefault(place, Cell()).take(cell)
        for mine, others in ((self.meters, other.meters), (self.benches, other.benches)):
            for name, n in others.items():
                mine[name] = mine.get(name, 0) + n
        self.sessions += other.sessions
        self._span(other.first, other.last)

    def _span(self, first: str, last: str) -> None:
        if first:
            self.first = min(self.first, first) if self.first else first
        self.last = max(self.last, last)


def together(parts: Iterable[History]) -> History:
    """Return the history of all; none give an empty one. The parts stay as they are."""
    out = History()
    for part in parts:
        out.take(part)
    return out


def _finer(one: float, other: float) -> float:
    return min(one, other) if one and other else one or other


def _outermost(marks: tuple[Mark, ...], *, high: bool) -> tuple[Mark, ...]:
    return tuple(sorted(marks, reverse=high)[:EXTREMES])
