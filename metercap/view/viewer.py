"""Viewer: makes the views of a running session, for a loop that has somebody who looks."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from metercap.records import Cue, EndRecord, Event, Note, Outcome, SessionRecord
from metercap.session.facts import SessionFacts
from metercap.view.fold import advance, after, ahead, begin, closing
from metercap.view.model import View


class Viewer:
    """Holds the newest `view`. `facts` asks the session what it knows; without it only what records tell is known."""

    def __init__(self, facts: Callable[[], SessionFacts | None] = lambda: None, view: View | None = None) -> None:
        self.view = View() if view is None else view
        self._facts = facts

    def open(self, record: SessionRecord) -> View:
        """Take the first record."""
        self.view = begin(record)
        return self.view

    def take(self, event: Event | None, outcomes: Iterable[Outcome]) -> View:
        """Take an event and what came of it."""
        self.view = advance(self.view, event, outcomes, self._facts())
        return self.view

    def early(self, event: Event | None, cues: Iterable[Cue]) -> View:
        """Return what to show for cues that go ahead of the disk; the newest view stays what it was."""
        return ahead(self.view, event, cues, self._facts())

    def told(self, note: Note) -> View:
        """Take a remark that is in no file."""
        self.view = after(self.view, note)
        return self.view

    def close(self, end: EndRecord) -> View:
        """Take the last record."""
        self.view = closing(self.view, end)
        return self.view
