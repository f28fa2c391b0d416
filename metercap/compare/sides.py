"""Which file is compared with which: good units, an earlier session of the same unit, or the first file."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import msgspec

from metercap.compare.changes import adjusted, counted
from metercap.compare.model import BudgetTable, How, SideBySide
from metercap.compare.pairs import Beside, pair
from metercap.compare.tables import difference_tables, named, table
from metercap.errors import UsageError
from metercap.evidence import Evidence
from metercap.reference.gather import models_differ, same_unit
from metercap.reference.learning import combine
from metercap.reference.model import Reference

_NAMED = 20
"""Good units that are named; the others are counted."""


class Side(msgspec.Struct, frozen=True):
    """One file by its `name`: a session, or a reference that was learned."""

    name: str
    session: Evidence | None = None
    learned: Reference | None = None
    lost: str = ""

    @property
    def units(self) -> tuple[str, ...]:
        """The units whose values it holds."""
        if self.session is not None:
            return (self.session.first.unit,)
        return () if self.learned is None else tuple(unit.name for unit in self.learned.units)

    @property
    def missing(self) -> str:
        """What a session's file does not have; empty where the session was run to its end."""
        unfinished = self.session is not None and not self.session.finished
        return self.lost or ("the session was not run to its end" if unfinished else "")

    @property
    def is_good(self) -> bool:
        """True for a reference, and for a session of a unit that was marked known good."""
        return self.session is None or self.session.first.known_good

    def reference(self) -> Reference:
        """Return its good values; all that are settled where nobody called the unit good."""
        if self.learned is not None:
            return self.learned
        assert self.session is not None
        return self.session.reference(every=not self.is_good)


def compare_files(sides: Sequence[Side], budget: str = "") -> SideBySide:
    """Set files side by side; `budget` names an item whose uncertainties are taken apart.

    Every unit is compared with the good ones, and with its own earlier session. Where nobody marked a unit known good,
    or all are, the first file stands in for them, and a warning says so. Raises UsageError for one session twice,
    files of different models, good units measured differently, or a `budget` of an item that no session has.
    """
    warnings = [f"{side.name}: {side.missing}" for side in sides if side.missing]
    _check_files(sides)
    meetings = list(_meetings(sides, warnings))
    sessions = [(side.name, side.session) for side in sides if side.session is not None]
    pairs = tuple(pair(session, name, beside) for name, session, beside in meetings)
    budgets = tuple(_budgets(sessions, meetings, budget, warnings)) if budget else ()
    if any(not line.how for one in pairs for line in one.lines):
        unknown = dict.fromkeys(session.first.meter.name for _, session in sessions if not session.first.identity)
        warnings += [f"the meter of profile {name} tells no identity: it is taken for one meter" for name in unknown]
    return SideBySide(
        tuple(warnings),
        pairs,
        tuple(row for name, session in sessions for row in adjusted(session, name)),
        tuple(row for one in _by_unit(sides) for row in counted([s.session for s in one if s.session is not None])),
        budgets,
    )


def _meetings(sides: Sequence[Side], warnings: list[str]) -> Iterator[tuple[str, Evidence, Beside]]:
    """Return every session that is compared, and with what."""
    good, rest = _good_and_rest(sides, warnings)
    if good and rest:
        beside = _beside(good, warnings)
        for side in rest:
            if side.session is not None:
                yield side.name, side.session, beside
    for sessions in _by_unit(sides):
        for earlier, later in itertools.pairwise(sessions):
            assert earlier.session is not None and later.session is not None
            name = f"{earlier.session.first.unit} as in {earlier.name}"
            before = Beside.of(earlier.session.reference(every=True), "before and after", name)
            yield later.name, later.session, before


def _good_and_rest(sides: Sequence[Side], warnings: list[str]) -> tuple[list[Side], list[Side]]:
    """Part the files into those that are compared with and those that are compared."""
    good = [side for side in sides if side.is_good]
    rest = [side for side in sides if not side.is_good]
    if not good or not rest:
        others = [side for side in sides[1:] if not _share(side, sides[0])]
        if others:
            why = "every unit is marked known good" if good else "no unit is marked known good"
            warnings.append(f"{why}: compared with the first file, {sides[0].name}")
        return [sides[0]], others
    kept = [side for side in good if side.learned is not None]
    for side in reversed(_in_time(good)):  # of a good unit's sessions the latest counts, and only once
        if not any(_share(side, other) for other in kept):
            kept.append(side)
    return kept, [side for side in rest if not any(_share(side, other) for other in kept)]


def _beside(good: Sequence[Side], warnings: list[str]) -> Beside:
    reference = combine([side.reference() for side in good], force=True)
    names = _some([unit.name for unit in reference.units], reference.folded.units)
    how: How = "good units"
    if any(not side.is_good for side in good):
        how = "first file"
    elif reference.unmarked or reference.folded.unmarked:
        unmarked = _some(reference.unmarked, reference.folded.unmarked)
        warnings.append(f"not marked known good, though learned from: {unmarked}")
    return Beside.of(reference, how, f"unit {names}" if reference.n == 1 else f"units {names}")


def _some(names: Sequence[str], more: int) -> str:
    """Return names in a row; where they are many, or `more` have none, how many these are."""
    more += len(names[_NAMED:])
    return " and ".join(part for part in (", ".join(names[:_NAMED]), f"{more} more" if more else "") if part)


def _budgets(
    sessions: Sequence[tuple[str, Evidence]],
    meetings: Sequence[tuple[str, Evidence, Beside]],
    wanted: str,
    warnings: list[str],
) -> Iterator[BudgetTable]:
    if not any(True for _, session in sessions for _ in named(session, wanted)):
        known = dict.fromkeys(item for _, session in sessions for _, item in session.verdicts)
        raise UsageError(f"no session has an item {wanted!r}", where="--budget", hint=f"it may be {', '.join(known)}")
    for name, session in sessions:
        for key in named(session, wanted):
            found = table(session, name, key)
            if isinstance(found, str):
                warnings.append(found)
            else:
                yield found
    for name, session, beside in meetings:
        for key in named(session, wanted):
            yield from difference_tables(session, name, key, beside)


def _by_unit(sides: Sequence[Side]) -> Iterator[list[Side]]:
    """Return the sessions of each unit, in the order of time."""
    left = [side for side in _in_time(sides) if side.session is not None]
    while left:
        yield [side for side in left if _share(side, left[0])]
        left = [side for side in left if not _share(side, left[0])]


def _in_time(sides: Sequence[Side]) -> list[Side]:
    """Return files in the order in which their sessions started; references come first."""
    return sorted(sides, key=lambda side: "" if side.session is None else side.session.first.start_utc)


def _share(one: Side, other: Side) -> bool:
    return any(same_unit(here, there) for here in one.units for there in other.units)


def _check_files(sides: Sequence[Side]) -> None:
    seen: dict[str, Side] = {}
    for side in sides:
        if side.session is not None and seen.setdefault(side.session.first.id, side) is not side:
            raise UsageError(f"{seen[side.session.first.id].name} and {side.name} hold the same session")
    kinds = [(side.name, *_kind(side)) for side in sides]
    for name, model, title in kinds[1:]:
        how = models_differ(kinds[0][1], kinds[0][2], model, title)
        if how:
            raise UsageError(f"{kinds[0][0]} and {name} are not of one kind: {how}")


def _kind(side: Side) -> tuple[str, str]:
    if side.learned is not None:
        return side.learned.model, side.learned.title
    assert side.session is not None
    return side.session.plan.model, side.session.plan.title
