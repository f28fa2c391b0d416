"""What the loop is put together from: the shapes of its observers, session, driver, decoder and journal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal, NamedTuple, Protocol, runtime_checkable

from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading
from metercap.records import Cue, Event, Outcome, Reason, Record
from metercap.view import View


class Observer(Protocol):
    """Sees the session: a screen, a printer, a speaker, the practice bench's hands."""

    def see(self, record: Record, line: bytes) -> None:
        """Take a record after its promise is kept. `line` is the file's own, or empty when the record is in no file."""
        ...

    def urgent(self, record: Cue) -> None:
        """Take a hazard cue at once; the same record comes again through `see`. Nothing unless overridden."""


@runtime_checkable
class Looker(Protocol):
    """An observer that also draws: it gets the view that an event led to before it sees the event's records."""

    def look(self, view: View) -> None:
        """Take the newest view. For a hazard that goes ahead of the disk it comes before `urgent`, without the rest."""
        ...


class Session(Protocol):
    """What the loop looks at in a session."""

    @property
    def deadline_s(self) -> float | None:
        """When the session acts by itself next."""
        ...

    @property
    def finished(self) -> bool:
        """Whether nothing is left to do."""
        ...

    @property
    def end_reason(self) -> Literal["done", "quit", "parked"]:
        """Why it is finished."""
        ...

    @property
    def wanted(self) -> Quantity | None:
        """What the meter should measure."""
        ...

    @property
    def wanted_range(self) -> float | None:
        """Up to which value, SI."""
        ...


class Driver(Protocol):
    """What feeds a session, deadlines first."""

    def end(self, t_s: float) -> list[Outcome]:
        """End the session by a signal at `t_s`."""
        ...

    @property
    def session(self) -> Session:
        """The session it feeds."""
        ...

    def start(self) -> list[Outcome]:
        """Begin the session and return its first outcomes."""
        ...

    def feed(self, event: Event) -> Iterable[tuple[Event, list[Outcome]]]:
        """Yield the deadlines that passed before the event, then the event as it was fed, each with its outcomes."""
        ...

    def due(self, t_s: float) -> Iterator[tuple[Event, list[Outcome]]]:
        """Yield the deadlines up to `t_s`."""
        ...


class Decoder(Protocol):
    """What turns bytes into readings."""

    def feed(self, data: bytes, t_s: float) -> list[Reading | Garbage]:
        """Return what is complete now."""
        ...

    def flush(self, t_s: float) -> list[Reading | Garbage]:
        """Return what was begun and will not be completed."""
        ...


class Writer(Protocol):
    """The journal being written."""

    first: bytes

    @property
    def problem(self) -> str | None:
        """What is wrong with the disk right now."""
        ...

    @property
    def moved(self) -> str:
        """What another program did to the file and where the journal goes on since, or ""."""
        ...

    def append(self, record: Record) -> bytes:
        """Write one record and return its line."""
        ...

    def sync(self) -> bool:
        """Wait until all that was appended is on the disk."""
        ...

    def close(self, t_s: float, reason: Reason) -> bytes:
        """Write the end record and return its line."""
        ...


class Following(NamedTuple):
    """The session of the unit that was taken, its journal, and when it began by the clock of the one before."""

    driver: Driver
    writer: Writer
    origin_s: float
