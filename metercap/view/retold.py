"""Retold: a recorded session told again, its events through the same session, with the view that each leads to.

Nothing that a file says of outcomes is shown: they are derived anew. Only a file of an older schema is told as it is,
since the rules have changed since.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence

from metercap.reading import Reading
from metercap.records import EVENTS, SCHEMA, EndRecord, Record, SessionRecord
from metercap.session import Driver, Session, feed_recorded
from metercap.view.fold import KEEP_ARRIVALS
from metercap.view.model import View
from metercap.view.viewer import Viewer

Moment = tuple[View, Sequence[Record]]
"""The view that something led to, and the records of it: the event and what came of it."""


class Retold:
    """Takes a file's records in its order. `view` is the newest; with `looks` off none is made, which is quicker.

    A deep copy goes on from where it was made: so a replay can go back.
    """

    def __init__(self, *, looks: bool = True) -> None:
        self._looks = looks
        self._driver: Driver | None = None
        self._viewer = Viewer()
        self._passes = False
        self._passed: deque[Reading] = deque(maxlen=KEEP_ARRIVALS)

    @property
    def view(self) -> View:
        """The newest view."""
        return self._viewer.view

    @property
    def derives(self) -> bool:
        """Whether outcomes are derived again: not in files of an older schema."""
        return self._driver is not None

    def take(self, record: Record) -> Iterator[Moment]:
        """Yield what a record of the file leads to; nothing for outcomes that were derived already."""
        if isinstance(record, SessionRecord):
            yield from self._open(record)
        elif isinstance(record, EndRecord):
            if self._driver is not None and record.reason == "interrupted":
                outcomes = self._driver.end(record.t_s)
                yield self._seen(None, outcomes), outcomes
            yield self._viewer.close(record), [record]
        elif self._driver is None:
            yield self._viewer.tell(record), [record]
        elif isinstance(record, EVENTS):
            for event, outcomes in feed_recorded(self._driver, [record]):
                if self._passes and not outcomes and isinstance(event, Reading):
                    self._passed.append(event)
                    continue
                self._catch_up()
                yield self._seen(event, outcomes), [event, *outcomes]

    def pass_over(self, record: Record) -> None:
        """Take a record that nobody will see, and make no view of a reading that nothing came of: `settle` makes it."""
        self._passes = True
        for _ in self.take(record):
            pass
        self._passes = False

    def settle(self) -> View:
        """Return the newest view after what was passed over."""
        self._catch_up()
        return self._seen(None, ())

    def _catch_up(self) -> None:
        while self._passed:
            self._viewer.tell(self._passed.popleft())

    def _open(self, record: SessionRecord) -> Iterator[Moment]:
        self._viewer = Viewer()
        if record.schema >= SCHEMA:
            self._driver = Driver(Session(record))
            self._viewer = Viewer(self._driver.session.facts)
        yield self._viewer.open(record), [record]
        if self._driver is not None:
            outcomes = self._driver.start()
            yield self._seen(None, outcomes), outcomes

    def _seen(self, event: Record | None, outcomes: Sequence[Record]) -> View:
        if not self._looks:
            return self._viewer.view
        return self._viewer.take(event, outcomes)  # type: ignore[arg-type]
