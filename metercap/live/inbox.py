"""The one queue into the loop: links, words and signals put, the loop gets.

A meter's bytes come one by one, a frame's worth for each reading, and waking the loop costs more than what it does with
a byte. So bytes that cannot complete a frame are put without waking it (`frame_ends`): they carry their own arrival
time, and are taken with what follows, or when the loop wakes for a deadline. Nothing is held back from a loop that is
awake.
"""

from __future__ import annotations

import queue
import threading
import time
from collections import deque
from typing import NamedTuple, TypeAlias

from metercap.meter import MeterProfile
from metercap.records import LinkState

MOST_CHUNKS = 4096
MOST_BYTES = 64 * 1024
"""Chunks and bytes that may wait. A link that puts more waits itself, so a flood stays in the system's own buffers."""
FLOOD_BYTES = 4096
"""More bytes than this waiting are a flood, seconds of a meter's sending: words and the wish to end go before them."""
FULL_S = 0.01
"""How long a link sleeps before it looks again, in real seconds."""

_LINE = b"\r\n"
_ANY = bytes(range(256))


def frame_ends(profile: MeterProfile) -> bytes:
    """Return the byte values of which one ends every frame: no reading comes out of a decoder before one of them."""
    if profile.family == "lcd14":  # the last byte counts itself in its high nibble
        last = profile.tables.get("frame", {}).get("bytes", 14)
        return bytes(range(int(last) << 4, (int(last) << 4) + 16))
    return _LINE if profile.family in ("digits14", "polled-line", "coded", "text", "scpi") else _ANY


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
    """The operator said a word; `source` as in `records.Operator`.

    `prompt` is the number of the prompt that a page showed when it was said there (`view.View.prompts`).
    """

    word: str
    text: str
    t_s: float
    source: str = ""
    prompt: int | None = None


class Stopped(NamedTuple):
    """A signal asked for the end."""

    signal: int


class Failed(NamedTuple):
    """A thread ended by an exception that nobody foresaw."""

    error: BaseException


Item: TypeAlias = Arrived | Changed | Said | Stopped | Failed


class Inbox:
    """A queue that any thread, and a signal handler, may put into. One thread gets.

    `ends`, when set, are the byte values that wake the waiting getter; otherwise every byte does. Bytes put after
    `close` are dropped.
    """

    def __init__(self) -> None:
        self.ends: bytes | None = None
        self._items: deque[Item] = deque()
        self._first: deque[Item] = deque()
        self._bytes = 0
        # Wakes the getter; `_rung` keeps it from holding more than one ring. Of the standard library's queues only this
        # kind may be put into by a signal handler that interrupts its own `get`.
        self._bell: queue.SimpleQueue[None] = queue.SimpleQueue()
        self._rung = False
        self._closed = False
        self._count = threading.Lock()  # of `_bytes` alone, and never taken by what a signal handler calls

    def put_bytes(self, data: bytes, t_s: float) -> None:
        """Put bytes; waits while `MOST_CHUNKS` items or `MOST_BYTES` are waiting."""
        while (len(self._items) >= MOST_CHUNKS or self._bytes >= MOST_BYTES) and not self._closed:
            self._ring()
            time.sleep(FULL_S)
        if self._closed:
            return
        with self._count:
            self._bytes += len(data)
        self._items.append(Arrived(data, t_s))
        ends = self.ends
        if ends is None or any(byte in ends for byte in data):
            self._ring()

    def put_link(self, state: LinkState, why: str, t_s: float) -> None:
        """Put a change of the link."""
        self._put(Changed(state, why, t_s))

    def put_word(self, word: str, text: str, t_s: float, source: str = "") -> None:
        """Put a word of the operator; it goes before a flood of bytes."""
        self._put(Said(word, text, t_s, source), overtakes=True)

    def put_from_page(self, word: str, prompt: int, t_s: float) -> None:
        """Put a word that was said on a page, to the prompt of that number."""
        self._put(Said(word, "", t_s, "page", prompt), overtakes=True)

    def put_stop(self, signal: int) -> None:
        """Put the wish to end: everything put before it is still done, unless it is a flood of bytes."""
        self._put(Stopped(signal), overtakes=True)

    def put_fault(self, error: BaseException) -> None:
        """Put an exception that ended a thread; the loop raises it."""
        self._put(Failed(error))

    def get(self, wait_s: float = 0.0) -> Item | None:
        """Return the next item, or None when none came within `wait_s` real seconds."""
        items, first = self._items, self._first
        while not items and not first and wait_s > 0:
            try:
                self._bell.get(True, wait_s)
            except queue.Empty:
                break
            # In this order: who puts between the two lines finds the bell rung, and is found by the look at `items`.
            self._rung = False
        if first:
            return first.popleft()
        if not items:
            return None
        item = items.popleft()
        if type(item) is Arrived:
            with self._count:
                self._bytes -= len(item.data)
        return item

    def rest(self) -> tuple[bytes, int] | None:
        """Take a flood that will not be decoded any more: return its first bytes and how many there are, or None."""
        data = [item.data for item in self._items if type(item) is Arrived]
        self._items.clear()
        size = sum(map(len, data))
        return (b"".join(data[:64])[:64], size) if size > FLOOD_BYTES else None

    def close(self) -> None:
        """Let no putter wait any longer."""
        self._closed = True

    def _put(self, item: Item, *, overtakes: bool = False) -> None:
        (self._first if overtakes and self._bytes > FLOOD_BYTES else self._items).append(item)
        self._ring()

    def _ring(self) -> None:
        if not self._rung:
            self._rung = True
            self._bell.put(None)
