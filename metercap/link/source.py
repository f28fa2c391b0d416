"""What a link is to the rest of the house: something that puts bytes and link changes into a queue.

A link knows neither the loop nor the session. It is handed a `Sink` and a clock and speaks to these alone, so the
same link serves a session, a listening command and a test.
"""

from __future__ import annotations

from typing import Protocol

from metercap.clock import SessionClock
from metercap.quantity import Quantity
from metercap.records import LinkState


class Sink(Protocol):
    """Where a link puts what it sees. Every method may be called from any thread; `t_s` is session time."""

    def put_bytes(self, data: bytes, t_s: float) -> None:
        """Take bytes whose last one arrived at `t_s`. May block for a while when the reader falls far behind."""
        ...

    def put_link(self, state: LinkState, why: str, t_s: float) -> None:
        """Take a change of the link."""
        ...

    def put_fault(self, error: BaseException) -> None:
        """Take an exception nobody foresaw; it is a defect of the link and must not vanish with its thread."""
        ...


class Source(Protocol):
    """A link, open and ready to be started."""

    identity: str
    """What the meter calls itself, or empty when it cannot be asked."""

    def start(self, sink: Sink, clock: SessionClock) -> None:
        """Begin to deliver; the first thing put is the link state `up`."""
        ...

    def want(self, quantity: Quantity | None, range_si: float | None) -> None:
        """Say what the meter should measure now, and up to which value; a meter that cannot be told ignores it."""
        ...

    def stop(self) -> None:
        """End delivery and close; returns within two seconds whatever the other side does. Twice is harmless."""
        ...


def complaint_of(source: Source) -> str:
    """Return what the meter complained of when its link was stopped, in its own words; empty where it has no say."""
    return str(getattr(source, "complaint", ""))
