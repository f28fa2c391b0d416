"""Several references as one, however many they are: memory does not grow with their number."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import msgspec

from metercap.errors import UsageError
from metercap.judging.good import GoodValue
from metercap.metrology.tally import Tally
from metercap.reference.gather import Key, models_differ
from metercap.reference.model import (
    LISTED,
    MOST_NAMED,
    SCHEMA,
    Counted,
    Folded,
    GoodItem,
    GoodUnit,
    LeftOut,
    Reference,
    SourceFile,
)

_TOLD = 20
"""Units that are named in an error; the others are counted."""
_MODULUS = 1 << 256


def combine(parts: Iterable[Reference], *, program: str = "", force: bool = False) -> Reference:
    """Return several references as one; `program` is who makes it. Raises as `Learning` does."""
    learning = Learning(force=force)
    for part in parts:
        learning.add(part)
    return learning.reference(program=program)


class Learning:
    """Puts references together, one by one. `first_time` says whether a unit's name is new; by default all are kept.

    `add` raises UsageError, naming what does not fit: different models (or plans, where none names its model), one unit
    twice, one item measured differently. So does `reference`, without `force`, for units that nobody marked known good.
    """

    def __init__(self, *, force: bool = False, first_time: Callable[[str], bool] | None = None) -> None:
        self._force = force
        self._first_time = first_time or _Names().first_time
        self._head: Reference | None = None
        self._units: list[GoodUnit] = []
        self._piles: dict[Key, _Pile] = {}
        self._left: list[LeftOut] = []
        self._more_left = 0
        self._sources: list[SourceFile] = []
        self._folded = Folded()
        self._unmarked: list[str] = []
        self._unmarked_n = 0

    def add(self, part: Reference) -> None:
        """Take one more."""
        if self._head is None:
            self._head = msgspec.structs.replace(part, units=part.units[:1], items=(), left_out=(), sources=())
        self._check(part, self._head)
        unmarked = part.unmarked
        self._unmarked_n += len(unmarked) + part.folded.unmarked
        self._unmarked += unmarked[: _TOLD - len(self._unmarked)]
        for item in part.items:
            pile = self._piles.get(item.key)
            if pile is None:
                pile = self._piles[item.key] = _Pile(item)
            pile.add(item)
        self._units += part.units
        self._sources += part.sources
        self._folded = _added(self._folded, part.folded)
        if max(len(self._units), len(self._sources)) > MOST_NAMED:
            self._fold()
        room = MOST_NAMED - len(self._left)
        self._left += part.left_out[:room]
        self._more_left += part.more_left_out + len(part.left_out[room:])

    def reference(self, *, program: str = "") -> Reference:
        """Return all of it as one."""
        if self._head is None:
            raise UsageError(
                "no session to learn from",
                hint="journals of units that were run with --known-good, or a job that has such a unit",
            )
        if self._unmarked_n and not self._force:
            more = self._unmarked_n - len(self._unmarked)
            raise UsageError(
                f"not marked known good: {', '.join([*self._unmarked, *([f'{more} more'] if more else [])])}",
                hint="run good units with --known-good; --force takes these all the same, and says so",
            )
        return Reference(
            schema=SCHEMA,
            program=program or self._head.program,
            model=self._head.model,
            title=self._head.title,
            units=tuple(self._units),
            items=tuple(pile.item() for pile in self._piles.values()),
            left_out=tuple(self._left),
            more_left_out=self._more_left,
            sources=tuple(self._sources),
            folded=self._folded,
        )

    def _check(self, part: Reference, head: Reference) -> None:
        how = models_differ(head.model, head.title, part.model, part.title)
        if how:
            raise UsageError(
                f"{_who(head)} and {_who(part)} are not of one kind: {how}",
                hint="units of one model, measured by one plan, go together",
            )
        for unit in part.units:
            if not self._first_time(unit.name.strip().casefold()):
                hint = "one session of each unit: its values count once"
                raise UsageError(f"unit {unit.name} is there twice", hint=hint)

    def _fold(self) -> None:
        """Name none of these units any more: there are too many."""
        for pile in self._piles.values():
            pile.count()
        total = 0
        for source in self._sources:
            total += int(source.sha256, 16)
        unmarked = len([unit for unit in self._units if not unit.known_good])
        these = Folded(len(self._units), unmarked, len(self._sources), f"{total % _MODULUS:064x}")
        self._folded = _added(self._folded, these)
        self._units.clear()
        self._sources.clear()


class _Pile:
    """What one item's units measured: listed, or counted where they are many."""

    def __init__(self, item: GoodItem) -> None:
        self._first = item
        self._values: list[GoodValue] = []
        self._tally: Tally | None = None
        self._expanded = 0.0
        self._resolution: float | None = None

    def add(self, item: GoodItem) -> None:
        """Take more values. UsageError where they were not measured alike."""
        _check_alike(self._first, item)
        if self._tally is None and item.counted is None and len(self._values) + len(item.values) <= LISTED:
            self._values += item.values
            return
        self.count()
        self._take(item.as_counted())

    def count(self) -> None:
        """List no value any more."""
        if self._tally is None:
            self._tally = Tally()
            if self._values:
                self._take(msgspec.structs.replace(self._first, values=tuple(self._values), counted=None).as_counted())
            self._values.clear()

    def item(self) -> GoodItem:
        """Return what there is."""
        if self._tally is None:
            return msgspec.structs.replace(self._first, values=tuple(self._values))
        counted = Counted.of(self._tally, self._expanded, self._resolution)
        return msgspec.structs.replace(self._first, values=(), counted=counted)

    def _take(self, counted: Counted) -> None:
        assert self._tally is not None
        self._tally.take(counted.tally)
        self._expanded = max(self._expanded, counted.expanded)
        digits = [each for each in (self._resolution, counted.resolution) if each is not None]
        self._resolution = max(digits, default=None)


class _Names:
    """Which names were there before."""

    def __init__(self) -> None:
        self._seen: set[str] = set()

    def first_time(self, name: str) -> bool:
        """Return whether a name comes for the first time."""
        new = name not in self._seen
        self._seen.add(name)
        return new


def _added(one: Folded, other: Folded) -> Folded:
    total = (int(one.sha256 or "0", 16) + int(other.sha256 or "0", 16)) % _MODULUS
    sources = one.sources + other.sources
    return Folded(
        one.units + other.units, one.unmarked + other.unmarked, sources, f"{total:064x}" if sources else ""
    )  # fmt: skip


def _who(part: Reference) -> str:
    return part.units[0].name if part.units else f"{part.n} units"


def _check_alike(before: GoodItem, item: GoodItem) -> None:
    for what in ("unit", "connected", "red", "black"):
        here, there = getattr(before, what), getattr(item, what)
        if here != there:
            names = " and ".join(each.values[0].name if each.values else f"{each.n} units" for each in (before, item))
            how = f"{what} {here or 'not said'!r} and {there or 'not said'!r}"
            raise UsageError(
                f"{item.step}/{item.item} was not measured alike in {names}: {how}",
                hint="learn from sessions of one plan",
            )
