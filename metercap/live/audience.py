"""The audience of a session: all its observers, and the views that are made for those who look.

Nothing is made where nobody looks. A looker gets the view that an event led to before it sees the event's records.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from metercap.live.parts import Looker, Observer, Session
from metercap.records import Cue, EndRecord, Event, Outcome, Record, SessionRecord
from metercap.view import View, Viewer


class Audience:
    """The observers, in the order in which they came."""

    def __init__(self, observers: Sequence[Observer]) -> None:
        self._observers: list[Observer] = []
        self._urgent: list[Callable[[Cue], None]] = []
        self._lookers: list[Looker] = []
        self._viewer = Viewer()
        for observer in observers:
            self._add(observer)

    @property
    def view(self) -> View:
        """The newest view that anybody looked at."""
        return self._viewer.view

    def join(self, observer: Observer) -> None:
        """Let one observer more in; who looks sees at once what is."""
        if isinstance(observer, Looker):
            observer.look(self._viewer.view)
        self._add(observer)

    def _add(self, observer: Observer) -> None:
        self._observers.append(observer)
        if hasattr(observer, "urgent"):  # observers that only follow the protocol's shape need not have it
            self._urgent.append(observer.urgent)
        if isinstance(observer, Looker):
            self._lookers.append(observer)

    def begin(self, session: Session, first: Record | None, line: bytes) -> None:
        """A session begins; what is in no journal is looked at, not seen as a record."""
        # Prompts are counted on: a word for one of the unit before must not answer one of this unit's.
        self._viewer = Viewer(getattr(session, "facts", lambda: None), self._viewer.view.prompts)
        opened = getattr(session, "record", None) if first is None else first
        if isinstance(opened, SessionRecord):
            self._look(self._viewer.open(opened))
        if first is not None:
            self._see(first, line)

    def alarm(self, event: Event | None, alarms: Sequence[Cue]) -> None:
        """A hazard goes ahead of the disk; what waits for the disk is not shown with it."""
        if self._lookers:
            self._look(self._viewer.early(event, alarms))
        for alarm in alarms:
            for urgent in self._urgent:
                urgent(alarm)

    def show(
        self, event: Event | None, outcomes: Sequence[Outcome], records: Sequence[Record], lines: Sequence[bytes]
    ) -> None:
        """An event and what came of it, which are `records` in the file's order."""
        if self._lookers:
            self._look(self._viewer.take(event, outcomes))
        for record, line in zip(records, lines, strict=True):
            self._see(record, line)

    def tell(self, record: Record, line: bytes = b"") -> None:
        """What the loop itself says, and the end."""
        if self._lookers:
            self._look(self._viewer.close(record) if isinstance(record, EndRecord) else self._viewer.tell(record))
        self._see(record, line)

    def _look(self, view: View) -> None:
        for looker in self._lookers:
            looker.look(view)

    def _see(self, record: Record, line: bytes) -> None:
        for observer in self._observers:
            observer.see(record, line)
