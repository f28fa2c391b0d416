"""Where text leaves the program: stdout and stderr behind the gate, and, while a session runs, behind a thread.

A terminal that was stopped (Ctrl-S), a pipe that nobody reads: writing to them waits for ever, and nothing that
measures may wait. So from `live` on every write goes into a bounded queue that a thread of its own empties, and returns
at once. When the queue is full:

    text    for people: the oldest lines are dropped, and one line says how many as soon as the output moves again
    bytes   for programs: nothing is ever left out in the middle. The output ends there, as if its reader had gone,
            and stderr says so; the journal has everything

`settle` ends it: what waits is still written for as long as anybody reads.
"""

from __future__ import annotations

import io
import os
import select
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from metercap import gate

MOST_TEXT_BYTES = 256 * 1024
MOST_DATA_BYTES = 16 * 1024 * 1024
"""Much more than a pipe holds: a reader may stop for minutes, or hours at a meter's pace."""
AT_ONCE_BYTES = 4096
"""So much is written in one go; what overtakes comes after it."""
STILL_S = 0.5
"""An output that took nothing for so long is not waited for by a program that was told to end."""
WAKE_S = 0.05

DROPPED = "          ({n} lines were not shown: this output stood still)\n"
ENDED = "metercap: stdout is not read: no more lines are printed from here on; the session goes on\n"


class Lane:
    """The queue of one file descriptor, and the thread that empties it. `full` is called once, when data ends."""

    def __init__(self, fd: int, full: Callable[[], None] = lambda: None) -> None:
        self._fd = fd
        self._full = full
        self._waiting: deque[bytes] = deque()
        self._held = 0
        self._dropped = 0
        self._moved_s = time.monotonic()
        self._busy = False
        self._whole = False
        self._error: OSError | None = None
        self._change = threading.Condition()
        self._thread = threading.Thread(target=self._run, name=f"output {fd}", daemon=True)
        self._thread.start()

    @property
    def held(self) -> int:
        """How many bytes wait."""
        return self._held

    def put(self, data: bytes, *, droppable: bool, first: bool = False) -> None:
        """Take bytes and return at once. Raises OSError when nobody reads any more, or the descriptor broke."""
        full = False
        with self._change:
            if self._error is not None:
                raise self._error
            self._whole = self._whole or not droppable
            if not self._whole:
                self._make_room(len(data))
            elif self._held + len(data) > MOST_DATA_BYTES:
                self._error = BrokenPipeError("nobody reads")
                full = True
            if not full:
                if first:
                    self._waiting.appendleft(data)
                else:
                    self._waiting.append(data)
                self._held += len(data)
                self._change.notify_all()
        if full:
            self._full()
            raise BrokenPipeError("nobody reads")

    def settle(self, *, patient: bool) -> bool:
        """Wait until all is written, or, unless `patient`, until nothing moves any more; tell whether it was all."""
        with self._change:
            while self._waiting or self._busy:
                if not patient and time.monotonic() - self._moved_s > STILL_S:
                    return False
                self._change.wait(WAKE_S)
            return True

    def _make_room(self, need: int) -> None:
        while self._waiting and self._held + need > MOST_TEXT_BYTES:
            gone = self._waiting.popleft()
            self._held -= len(gone)
            self._dropped += gone.count(b"\n")

    def _run(self) -> None:
        while True:
            with self._change:
                while not self._waiting:
                    self._change.wait()
                data = self._take()
                self._busy = True
                self._moved_s = time.monotonic()
            try:
                self._write(data)
            except OSError as error:
                with self._change:
                    self._error = error
                    self._waiting.clear()
                    self._held = 0
            with self._change:
                self._busy = False
                self._change.notify_all()

    def _take(self) -> bytes:
        parts, size = [], 0
        if self._dropped:
            parts.append(DROPPED.format(n=self._dropped).encode())
            self._dropped = 0
        while self._waiting and (not size or size + len(self._waiting[0]) <= AT_ONCE_BYTES):
            part = self._waiting.popleft()
            size += len(part)
            parts.append(part)
        self._held -= size
        return b"".join(parts)

    def _write(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            try:
                taken = os.write(self._fd, view[:AT_ONCE_BYTES])
            except BlockingIOError:  # another program made the shared descriptor so
                select.select([], [self._fd], [], WAKE_S)
                continue
            view = view[taken:]
            self._moved_s = time.monotonic()


class _Bytes:
    """The `buffer` of an outlet: for JSON lines and whole documents, which make their own text harmless."""

    def __init__(self, outlet: Outlet) -> None:
        self._outlet = outlet

    def write(self, data: bytes) -> int:
        self._outlet.put(bytes(data), droppable=False)
        return len(data)

    def flush(self) -> None:
        self._outlet.flush()

    @property
    def closed(self) -> bool:
        return False

    def writable(self) -> bool:
        return True

    def isatty(self) -> bool:
        return self._outlet.isatty()

    def fileno(self) -> int:
        return self._outlet.fileno()


class Outlet(io.TextIOBase):
    """A text stream in front of another one: all text passes the gate, and after `live` no write ever waits."""

    encoding = "utf-8"
    errors = "backslashreplace"

    def __init__(self, inner: TextIO) -> None:
        self._inner = inner
        self._lane: Lane | None = None
        self._mute = False
        self.buffer: Any = _Bytes(self)
        try:
            self._terminal = inner.isatty()
        except ValueError:
            self._terminal = False
        self._own = (self._terminal and os.environ.get("TERM") != "dumb") or colour_forced()

    # --- what a stream is asked

    def isatty(self) -> bool:
        """Return whether people look at it."""
        return self._terminal

    def fileno(self) -> int:
        """Return the inner stream's descriptor."""
        return self._inner.fileno()

    def writable(self) -> bool:
        """Return true."""
        return True

    def write(self, text: str) -> int:
        """Write text, gated."""
        self.put(self._gated(text), droppable=True)
        return len(text)

    def overtake(self, text: str) -> None:
        """Write text before all that waits: a hazard is not queued behind what is old."""
        self.put(self._gated(text), droppable=True, first=True)

    def flush(self) -> None:
        """Hand on what the inner stream holds; behind a thread there is nothing to do."""
        if self._lane is None and not self._mute:
            self._inner.flush()

    def close(self) -> None:
        """Do nothing: the inner stream is another's, and may be closed when Python closes what it throws away."""

    # --- the two ways out

    def live(self, full: Callable[[], None] = lambda: None) -> None:
        """From now on no write waits. Where there is no descriptor (a test's buffer) nothing changes."""
        if self._lane is not None:
            return
        try:
            self._inner.flush()
            self._lane = Lane(self._inner.fileno(), full)
        except (OSError, ValueError):  # no descriptor, or one that is broken: the next write says so
            return

    def settle(self, *, patient: bool) -> None:
        """Let what waits be written; what nobody takes is given up, and nothing can be written after it."""
        if self._lane is not None and not self._lane.settle(patient=patient):
            self._mute = True

    def put(self, data: bytes, *, droppable: bool, first: bool = False) -> None:
        """Write bytes that are harmless as they are."""
        if self._mute:
            return
        if self._lane is not None:
            self._lane.put(data, droppable=droppable, first=first)
            return
        buffer = getattr(self._inner, "buffer", None)
        if buffer is None:
            self._inner.write(data.decode("utf-8", "replace"))
            return
        buffer.write(data)
        if self._terminal:
            buffer.flush()

    def _gated(self, text: str) -> bytes:
        return gate.lines(text, own=self._own).encode("utf-8", self.errors)


def colour_forced() -> bool:
    """Return whether colour is wanted wherever it goes: FORCE_COLOR says so, and NO_COLOR, which wins, does not."""
    return bool(os.environ.get("FORCE_COLOR")) and not os.environ.get("NO_COLOR")


@contextmanager
def outlets() -> Iterator[None]:
    """While in the block, stdout and stderr are outlets."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = Outlet(before[0]), Outlet(before[1])
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def go_live() -> None:
    """A session begins: from now on neither stdout nor stderr holds anything up."""
    for stream, full in ((sys.stderr, lambda: None), (sys.stdout, _ended)):
        if isinstance(stream, Outlet):
            stream.live(full)


def settle(*, patient: bool) -> None:
    """The program ends: let what waits be written."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, Outlet):
            stream.settle(patient=patient)


def _ended() -> None:
    sys.stderr.write(ENDED)
