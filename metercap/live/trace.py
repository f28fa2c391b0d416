"""A session without a plan, for listening and recording: every event is kept, none has an outcome, `quit` ends it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import msgspec

from metercap.quantity import Quantity
from metercap.records import Event, Operator, Outcome


class TraceSession:
    """Wants nothing, waits for nothing."""

    deadline_s: float | None = None
    end_reason: Literal["done", "quit", "parked"] = "quit"
    wanted: Quantity | None = None
    wanted_range: float | None = None

    def __init__(self) -> None:
        self.finished = False


class Trace:
    """The driver of a `TraceSession`."""

    def __init__(self) -> None:
        self.session = TraceSession()
        self._last_s = 0.0

    def start(self) -> list[Outcome]:
        """There is nothing to say."""
        return []

    def feed(self, event: Event) -> Iterator[tuple[Event, list[Outcome]]]:
        """Yield the event; time never runs back."""
        if event.t_s < self._last_s:
            event = msgspec.structs.replace(event, t_s=self._last_s)
        self._last_s = event.t_s
        if isinstance(event, Operator) and event.word == "quit":
            self.session.finished = True
        yield event, []

    def end(self, t_s: float) -> list[Outcome]:
        """Return nothing: nothing stands half done."""
        return []

    def due(self, t_s: float) -> Iterator[tuple[Event, list[Outcome]]]:
        """Nothing is ever due."""
        yield from ()
