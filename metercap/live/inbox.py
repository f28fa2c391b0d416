"""The one queue into the loop: links, words and signals put, the loop gets."""

from __future__ import annotations

import queue
import threading
from typing import NamedTuple, TypeAlias

from metercap.records import LinkState

MOST_CHUNKS = 4096
"""Chunks of bytes that may wait. A link that puts more waits itself, so a flood stays in the system's own buffers."""


class Arrived(NamedTuple):
    """Bytes whose last one arrived at session time `t_s`."""

    data: bytes
    t_s: float


class Changed(NamedTuple):
    """The link changed, as its source sees it."""

    state: LinkState
    why: str
    t_s: float


class Said(NamedTuple):
    """The operator said a word."""

    word: str
    text: str
    t_s: float


class Stopped(NamedTuple):
    """A signal asked for the end."""

    signal: int


class Failed(NamedTuple):
    """A thread ended by an exception that nobody foresaw."""

    error: BaseException


Item: TypeAlias = Arrived | Changed | Said | Stopped | Failed


class Inbox:
    """A queue that any thread, and a signal handler, may put into. Bytes put after `close` are dropped."""

    def __init__(self) -> None:
        # Of the standard queues only this one may be put into by a signal handler that interrupts its own `get`.
        self._queue: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self._room = threading.Semaphore(MOST_CHUNKS)
        self._closed = False

    def put_bytes(self, data: bytes, t_s: float) -> None:
        """Put bytes; waits while `MOST_CHUNKS` chunks are waiting."""
        while not self._closed and not self._room.acquire(timeout=0.1):
            pass
        if self._closed:
            return
        self._queue.put(Arrived(data, t_s))

    def put_link(self, state: LinkState, why: str, t_s: float) -> None:
        """Put a change of the link."""
        self._queue.put(Changed(state, why, t_s))

    def put_word(self, word: str, text: str, t_s: float) -> None:
        """Put a word of the operator."""
        self._queue.put(Said(word, text, t_s))

    def put_stop(self, signal: int) -> None:
        """Put the wish to end: everything put before it is still done."""
        self._queue.put(Stopped(signal))

    def put_fault(self, error: BaseException) -> None:
        """Put an exception that ended a thread; the loop raises it."""
        self._queue.put(Failed(error))

    def get(self, wait_s: float = 0.0) -> Item | None:
        """Return the next item, or None when none came within `wait_s` real seconds."""
        try:
            item = self._queue.get(wait_s > 0, wait_s) if wait_s > 0 else self._queue.get_nowait()
        except queue.Empty:
            return None
        if type(item) is Arrived:
            self._room.release()
        return item

    def close(self) -> None:
        """Let no putter wait any longer."""
        self._closed = True
