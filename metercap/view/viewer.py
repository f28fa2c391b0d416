"""Viewer: makes the views of a running session, for a loop that has somebody who looks."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import msgspec

from metercap.records import Cue, EndRecord, Event, Outcome, Record, SessionRecord
from metercap.session.facts import SessionFacts
from metercap.view.fold import advance, after, begin
from metercap.view.model import View


class Viewer:
    """Holds the newest `view`. `facts` asks the session what it knows; without it only what records tell is known.

    `prompts` is how many were counted in sessions before. A defect here must never hurt the session: it is told in the
    view's `broken`.
    """

    def __init__(self, facts: Callable[[], SessionFacts | None] = lambda: None, prompts: int = 0) -> None:
        self.view = View(prompts=prompts)
        self._facts = facts

    def open(self, record: SessionRecord) -> View:
        """Take the first record."""
        prompts = self.view.prompts
        return self._keep(lambda: msgspec.structs.replace(begin(record), prompts=prompts))

    def take(self, event: Event | None, outcomes: Iterable[Outcome]) -> View:
        """Take an event and what came of it."""
        return self._keep(lambda: advance(self.view, event, outcomes, self._facts()))

    def early(self, event: Event | None, cues: Iterable[Cue]) -> View:
        """Return what to show for cues that go ahead of the disk; the newest view stays what it was."""
        before = self.view
        found = self.take(event, cues)
        self.view = before
        return found

    def tell(self, record: Record) -> View:
        """Take a record of which no more is known than it says: a remark that is in no file, an old file's."""
        return self._keep(lambda: after(self.view, record))

    def close(self, end: EndRecord) -> View:
        """Take the last record."""
        return self.tell(end)

    def _keep(self, make: Callable[[], View]) -> View:
        try:
            self.view = make()
        except Exception as error:
            self.view = msgspec.structs.replace(self.view, broken=f"{type(error).__name__}: {error}")
        return self.view
