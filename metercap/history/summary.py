"""What a history says, place by place and of its meters, in numbers for people, pages and JSON."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from metercap.history.counts import Cell, History
from metercap.history.drift import Drift, drift
from metercap.history.model import Aspect, Mark, Place
from metercap.history.offsets import Offset, offsets
from metercap.metrology.domain import round6
from metercap.metrology.tally import Tally

FEWEST = 5
"""Of fewer values nobody can say which one stands out."""
FAR = 3.5
"""Scaled MADs from the median beyond which a value stands out: Iglewicz and Hoaglin (1993), by NIST/SEMATECH e-Handbook
1.3.5.17. One last digit counts as the least spread."""


class Part(msgspec.Struct, frozen=True):
    """Values of one meter, bench or date: how many, their median, and their scaled MAD; the quarters beside it."""

    name: str
    n: int
    median: float
    spread: float
    low_quarter: float
    high_quarter: float


class PlaceHistory(msgspec.Struct, frozen=True):
    """One place, in SI and `unit`: `n` values, their `median`, scaled MAD `spread`, quarters and ends.

    `verdicts` counts all that were given, with a settled value or without. `coarse`: more different values came than
    are told apart, so these are known to `cell` only. `outside` values stand out, by more than `fence` from the median;
    those whose origin is kept are `outliers`, the farthest first.
    """

    model: str
    step: str
    item: str
    aspect: Aspect
    how: str
    unit: str
    n: int
    median: float | None
    spread: float | None
    low_quarter: float | None
    high_quarter: float | None
    least: float | None
    most: float | None
    resolution: float
    finest: float
    verdicts: dict[str, int]
    drift: Drift | None
    meters: tuple[Part, ...]
    benches: tuple[Part, ...]
    dates: tuple[Part, ...]
    fence: float | None
    outside: int
    outliers: tuple[Mark, ...]
    coarse: bool = False
    cell: float | None = None

    @property
    def name(self) -> str:
        """Step, item and how it was measured, for people."""
        return self.place.name

    @property
    def place(self) -> Place:
        """The place itself."""
        return Place(self.model, self.step, self.item, self.unit, self.aspect, self.how)

    @property
    def finer(self) -> float | None:
        """To what a middle of the values is written: one digit more than they have; None where that is not known."""
        return self.finest / 10.0 if self.finest else None


class Summary(msgspec.Struct, frozen=True):
    """All places by model, and the meters: how many `sessions` each had, and what each reads beside the others."""

    sessions: int
    first: str
    last: str
    meters: dict[str, int]
    benches: dict[str, int]
    offsets: tuple[Offset, ...]
    places: tuple[PlaceHistory, ...]

    @property
    def told(self) -> tuple[Offset, ...]:
        """The meters to look into."""
        return tuple(one for one in self.offsets if one.told)


def summary(history: History) -> Summary:
    """Return what a history says; places by model, in the order in which steps and items sort."""
    from natsort import natsort_keygen, ns

    key = natsort_keygen(alg=ns.IGNORECASE)
    ordered = sorted(history.cells, key=lambda place: [key(part) for part in msgspec.structs.astuple(place)])
    return Summary(
        history.sessions,
        history.first,
        history.last,
        dict(sorted(history.meters.items())),
        dict(sorted(history.benches.items())),
        offsets(history),
        tuple(_place(place, history.cells[place]) for place in ordered),
    )


def fence_of(cell: Cell) -> float | None:
    """Return how far from the median a value stands out; None where there are too few to say."""
    if cell.all.n < FEWEST:
        return None
    return FAR * max(cell.all.mad(), cell.resolution)


def _place(place: Place, cell: Cell) -> PlaceHistory:
    values, fence = cell.all.values(), fence_of(cell)
    there = bool(values)
    middle = cell.all.median() if there else None
    outside, outliers = 0, list[Mark]()
    if fence is not None and middle is not None:
        outside = sum(int(n) for value, n in values if abs(value - middle) > fence)
        outliers = sorted(
            {mark for mark in (*cell.lowest, *cell.highest) if abs(mark.value - middle) > fence},
            key=lambda mark: (-abs(mark.value - middle), mark),
        )
    return PlaceHistory(
        place.model,
        place.step,
        place.item,
        place.aspect,
        place.how,
        place.unit,
        cell.all.n,
        middle,
        round6(cell.all.mad()) if there else None,
        cell.all.quantile(0.25) if there else None,
        cell.all.quantile(0.75) if there else None,
        values[0][0] if there else None,
        values[-1][0] if there else None,
        cell.resolution,
        cell.finest,
        dict(sorted(cell.verdicts.items())),
        drift(cell.dates),
        _parts(cell.meters),
        _parts(cell.benches),
        _parts(cell.dates.parts),
        None if fence is None else round6(fence),
        outside,
        tuple(outliers),
        cell.all.coarse,
        10.0**cell.all.power if cell.all.coarse else None,
    )


def _parts(tallies: Mapping[str, Tally]) -> tuple[Part, ...]:
    return tuple(
        Part(name, part.n, part.median(), round6(part.mad()), part.quantile(0.25), part.quantile(0.75))
        for name, part in sorted(tallies.items())
    )
