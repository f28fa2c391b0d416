"""The driver that live, replay and the practice bench share: deadlines first, then the event.

A deadline that lies before an event is fed as a `Clock` event stamped with the deadline itself, not with the moment
somebody woke up. So the same events give the same outcomes however late they were delivered.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import msgspec

from metercap.records import Clock, Event, Outcome, at
from metercap.session.machine import Session


class Driver:
    """Feeds a session. Every pair it yields is an event as it was fed, and what came of it."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self._last_s = 0.0

    def start(self) -> list[Outcome]:
        """Begin the session at time 0 and return its first outcomes."""
        return self.session.start()

    def feed(self, event: Event) -> Iterable[tuple[Event, list[Outcome]]]:
        """Return the deadlines that passed before `event`, the event itself, and a token's word that it completed.

        Time never runs back: an event stamped earlier than the last one takes the last one's time.
        """
        session, t_s = self.session, event.t_s
        due = session.deadline_s
        if (due is not None and due <= t_s) or t_s < self._last_s:
            return self._in_order(event)
        self._last_s = t_s
        fed = ((event, session.feed(event)),)
        return fed if session.pending is None else self._and_said(fed)  # most events are fed alone

    def _in_order(self, event: Event) -> Iterator[tuple[Event, list[Outcome]]]:
        session, t_s = self.session, event.t_s
        yield from self.due(t_s)
        if t_s < self._last_s:
            event = msgspec.structs.replace(event, t_s=self._last_s)
        else:
            self._last_s = t_s
        yield from self._and_said(((event, session.feed(event)),))

    def _and_said(self, fed: tuple[tuple[Event, list[Outcome]]]) -> Iterator[tuple[Event, list[Outcome]]]:
        """Yield an event as it was fed, and a word that it said."""
        yield from fed
        word, self.session.pending = self.session.pending, None
        if word is not None:
            yield word, self.session.feed(word)

    def end(self, t_s: float) -> list[Outcome]:
        """Return what comes of ending the session at `t_s` by a signal."""
        return self.session.end(at(max(t_s, self._last_s)))

    def due(self, t_s: float) -> Iterator[tuple[Event, list[Outcome]]]:
        """Yield every deadline up to `t_s`, in order."""
        session = self.session
        while (due := session.deadline_s) is not None and due <= t_s:
            clock = Clock(at(max(due, self._last_s)), session.due_step)
            self._last_s = clock.t_s
            yield clock, session.feed(clock)
            if session.deadline_s == due:
                raise AssertionError(f"a deadline at {due} s was fed and still stands")
