"""How the units of a job stand: each one's last journal, played to its end. All of it follows from the journals."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

import msgspec

from metercap.errors import JournalError, PlanError
from metercap.job.folder import Folder, Sitting
from metercap.job.model import JobUnit
from metercap.journal import iterate
from metercap.outcome import Fold
from metercap.records import Record
from metercap.session import Driver, Session, feed_recorded, opening


class Played(msgspec.Struct, frozen=True):
    """A journal played to its end: the `session` and the `fold` of its records. `last_s` is its last record's time."""

    sitting: Sitting
    session: Session
    fold: Fold
    last_s: float

    @property
    def id(self) -> str:
        """The session's id."""
        return "" if self.fold.session is None else self.fold.session.id

    def age_s(self, now: datetime.datetime) -> float:
        """Return how long ago it began, by the wall clock; no less than it lasted, wherever that clock was set to."""
        assert self.fold.session is not None
        began = datetime.datetime.fromisoformat(self.fold.session.start_utc)
        return max(self.last_s, (now - began).total_seconds())


class UnitState(msgspec.Struct, frozen=True):
    """One unit: its journals in order, the last of them that can be used, and what is wrong with others."""

    unit: JobUnit
    sittings: tuple[Sitting, ...]
    last: Played | None
    troubles: tuple[str, ...] = ()

    @property
    def over(self) -> bool:
        """Whether nothing of it is left to do."""
        return self.last is not None and not self.last.fold.open

    @property
    def good(self) -> bool:
        """Whether every verdict is good and nothing is open."""
        return self.last is not None and self.last.fold.exit_status == 0


def unit_state(folder: Folder, unit: JobUnit) -> UnitState:
    """Look a unit up. A journal that cannot be used is passed over, and named; the one before it is taken then."""
    sittings = folder.of(unit.tag)
    troubles: list[str] = []
    for sitting in reversed(sittings):
        found = play(sitting, troubles)
        if found is not None:
            return UnitState(unit, sittings, found, tuple(troubles))
    return UnitState(unit, sittings, None, tuple(troubles))


def play(sitting: Sitting, troubles: list[str]) -> Played | None:
    """Play one journal; None where it holds no session. What is damaged or torn is told in `troubles`."""
    fold, last_s = Fold(), 0.0
    with_damage = ""

    def noting(records: Iterator[Record]) -> Iterator[Record]:
        nonlocal last_s, with_damage
        try:
            for record in records:
                fold.add(record)
                last_s = max(last_s, record.t_s)
                yield record
        except JournalError as error:
            with_damage = error.what

    try:
        with iterate(sitting.path) as records:
            first = opening(records)
            fold.add(first)
            session = Session(first)
            driver = Driver(session)
            driver.start()
            for _ in feed_recorded(driver, noting(records)):
                pass
    except (JournalError, PlanError) as error:
        troubles.append(f"{sitting.path.name}: {error.what}; passed over")
        return None
    if with_damage:
        troubles.append(f"{sitting.path.name}: {with_damage}; what stands before it is taken over")
    return Played(sitting, session, fold, last_s)


def job_states(folder: Folder) -> tuple[UnitState, ...]:
    """Look every unit of a job up, in the job's order."""
    return tuple(unit_state(folder, unit) for unit in folder.job.units)


def on_mat(folder: Folder, states: tuple[UnitState, ...]) -> str:
    """Return the tag of the unit to go on with; empty where nothing of any is open.

    That is the one that was on the mat last, and from there on in the job's order the first that has something open.
    """
    last = folder.sittings[-1].tag if folder.sittings else ""
    tags = [state.unit.tag for state in states]
    start = tags.index(last) if last in tags else 0
    turn = [*states[start:], *states[:start]]
    return next((state.unit.tag for state in turn if not state.over), "")
