"""Signals: the first asks the loop to end well, the second ends the program at once."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Protocol

from metercap.words import restore_terminals

_hung_up = False


def hung_up() -> bool:
    """Return whether the terminal was lost (SIGHUP) while signals were taken over."""
    return _hung_up


class Stoppable(Protocol):
    """What can be asked to end."""

    def put_stop(self, signal: int) -> None:
        """Take the wish to end."""
        ...


@contextmanager
def stop_signals(inbox: Stoppable) -> Iterator[None]:
    """While in the block, put SIGINT, SIGTERM and SIGHUP into `inbox`; a second one takes its system's default course.

    A signal that the parent chose to ignore stays ignored (nohup does that to SIGHUP). Main thread only.
    """
    asked = False

    def handle(number: int, frame: FrameType | None) -> None:
        nonlocal asked
        global _hung_up
        _hung_up = _hung_up or number == getattr(signal, "SIGHUP", None)
        if asked:
            restore_terminals()
            signal.signal(number, signal.SIG_DFL)
            signal.raise_signal(number)
        asked = True
        inbox.put_stop(number)

    before = {}
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, handle)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
