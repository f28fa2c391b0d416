"""The practice meter on a real pseudo-terminal, and the technician as an observer and a word source.

A thread waits for session time and writes the meter's bytes when they are due, so whoever opens
`PracticePort.path` sees what a serial meter would send, in scaled session time. Everything between that path
and the verdict is the real code.

Pace: a frame of 14 bytes at 2400 baud takes 58 ms of session time. Byte by byte at twenty times the speed
would need a wake-up every 0.2 ms, so a frame leaves in as many pieces as keep `MIN_GAP_S` of real time
between them: every byte by itself at speed 1, one piece at speed 20. A piece is written when its last byte is
due, so no byte is ever early.

A pseudo-terminal carries no baud rate and no parity. What nobody has read when the port is opened is lost, as
on a wire; what fills the terminal's buffer is lost too. Unix only.
"""

from __future__ import annotations

import contextlib
import os
import select
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Protocol, TypeVar

from metercap.clock import SessionClock
from metercap.errors import LinkError
from metercap.practice.bench import PracticeBench, Said
from metercap.practice.frames import POLL
from metercap.practice.line import Chunk
from metercap.practice.mat import Mat
from metercap.records import Cue, Record

T = TypeVar("T")

MIN_GAP_S = 0.004
"""Least real time between two writes of one frame."""


class Words(Protocol):
    """Where words go: the live loop's inbox."""

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        """Take a word said at session time `t_s`."""
        ...

    def put_fault(self, error: BaseException) -> None:
        """Take an error that ended the bench."""
        ...


def pieces(frame_s: float, frame_bytes: int, speed: float) -> int:
    """In how many pieces a frame leaves, so that real time between two of them is at least `MIN_GAP_S`."""
    return max(1, min(frame_bytes, int(frame_s / speed / MIN_GAP_S)))


class PracticePort:
    """A bench behind a pseudo-terminal. Use as a context manager; it runs from `__enter__` on.

    As a word source: `start(inbox, clock)`, `stop()`. As an observer: `see(record, line)`, `urgent(cue)`.
    `problem` holds the error that stopped the bench, if one did.
    """

    def __init__(self, bench: PracticeBench | Mat, clock: SessionClock) -> None:
        self.bench = bench
        self.path = ""
        self.problem: Exception | None = None
        self._clock = clock
        self._words: Words | None = None
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="practice bench", daemon=True)
        self._stopped = False
        self._master = self._slave = self._wake_in = self._wake_out = -1

    def __enter__(self) -> PracticePort:
        try:
            import pty  # only here: there is none outside Unix
            import tty
        except ImportError as error:
            raise LinkError("this system has no pseudo-terminals", hint="run the practice in process") from error
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._wake_out, self._wake_in = os.pipe()
        os.set_blocking(self._wake_in, False)
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Stop the meter and close the terminal; a reader of the port sees its cable pulled."""
        if self._master < 0:
            return
        self._stopped = True
        self._wake()
        self._thread.join()
        for fd in (self._master, self._slave, self._wake_in, self._wake_out):
            os.close(fd)
        self._master = -1

    def start(self, sink: Words, clock: object) -> None:
        """Begin to say words into the live loop's inbox."""
        self._words = sink

    def stop(self) -> None:
        """Say no more words."""
        self._words = None

    def see(self, record: Record, line: bytes = b"") -> None:
        """Let the technician see a record; `line` is what the file holds of it."""
        with self._lock:
            self.bench.see(record, self._clock.now_s())
        self._wake()

    def at_once(self, act: Callable[[float], T]) -> T:
        """Do something at the bench now, at the session time that `act` is given; return what comes of it.

        What was due before is done first, so that a conversion never sees a hand that came after it. From any thread.
        """
        with self._lock:
            now_s = self._clock.now_s()
            if self._stopped:
                return act(now_s)
            while (out := self.bench.step(now_s)) is not None:
                self._put_out(out)
            done = act(now_s)
        self._wake()
        return done

    def urgent(self, record: Cue) -> None:
        """What is urgent reaches the technician with its record."""

    def _wake(self) -> None:
        with contextlib.suppress(BlockingIOError):  # a full pipe wakes all the same
            os.write(self._wake_in, b"!")

    def _run(self) -> None:
        try:
            while not self._stopped:
                with self._lock:
                    out = self.bench.step(self._clock.now_s())
                    if out is not None:
                        self._put_out(out)
                    wait_s = self._clock.wait_s(self.bench.next_s)
                if out is None:
                    self._rest(wait_s)
        except Exception as error:  # whatever it is, the session must not wait for a bench that has stopped
            self.problem = error
            if self._words is not None:
                self._words.put_fault(error)

    def _put_out(self, out: Chunk | Said) -> None:
        """Let bytes or a word leave the bench; under the lock, so that they leave in order."""
        if isinstance(out, Chunk):
            with contextlib.suppress(BlockingIOError):
                os.write(self._master, out.data)
        elif self._words is not None:
            self._words.put_word(out.word, out.text, self._clock.now_s(), "line")

    def _rest(self, wait_s: float) -> None:
        ready, _, _ = select.select([self._master, self._wake_out], [], [], min(wait_s, 1.0))
        if self._wake_out in ready:
            os.read(self._wake_out, 4096)
        if self._master in ready:
            asked = os.read(self._master, 4096)
            if self.bench.answers_polls and POLL in asked:
                with self._lock:
                    self.bench.poll(self._clock.now_s())
