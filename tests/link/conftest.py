"""A pseudo-terminal that can be unplugged, and a sink that can be waited for."""

from __future__ import annotations

import os
import threading
import time
import tty
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from metercap.clock import ScaledClock
from metercap.link.serialport import SerialSource
from metercap.link.tape import TapeSource
from metercap.link.visa import VisaSource
from metercap.meter import MeterProfile, Poll, Serial
from metercap.records import LinkState

# Sixteen frames' worth of time is plenty for a loaded machine, and still ends a hung test soon.
PATIENCE_S = 8.0

LCD14 = MeterProfile(name="lcd14", family="lcd14", serial=Serial(baud=2400, dtr=True, rts=False))
DIGITS14 = MeterProfile(name="digits14", family="digits14", serial=Serial(baud=19200, bits=7, parity="odd", stop=1))
POLLED = MeterProfile(
    name="polled-line",
    family="polled-line",
    serial=Serial(baud=600, bits=7, stop=2),
    poll=Poll(send="D", per_s=20.0),
)


class Collector:
    """A sink that keeps what it gets, in order: ("bytes", data, t_s), ("link", state, why, t_s), ("fault", error)."""

    def __init__(self) -> None:
        self.items: list[tuple[Any, ...]] = []
        self._changed = threading.Condition()

    def _put(self, item: tuple[Any, ...]) -> None:
        with self._changed:
            self.items.append(item)
            self._changed.notify_all()

    def put_bytes(self, data: bytes, t_s: float) -> None:
        self._put(("bytes", data, t_s))

    def put_link(self, state: LinkState, why: str, t_s: float) -> None:
        self._put(("link", state, why, t_s))

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        self._put(("word", word, text))

    def put_fault(self, error: BaseException) -> None:
        self._put(("fault", error))

    def until(self, true: Callable[[Collector], bool], what: str) -> None:
        """Wait until `true` holds; fail, showing all that came, when it does not in time."""
        end_s = time.monotonic() + PATIENCE_S
        with self._changed:
            while not true(self):
                if not self._changed.wait(end_s - time.monotonic()):
                    pytest.fail(f"no {what} among {self.items}")

    @property
    def data(self) -> bytes:
        return b"".join(item[1] for item in self.items if item[0] == "bytes")

    @property
    def states(self) -> list[LinkState]:
        return [item[1] for item in self.items if item[0] == "link"]

    @property
    def whys(self) -> list[str]:
        return [item[2] for item in self.items if item[0] == "link"]


class Pty:
    """A pseudo-terminal whose other end is the meter. `unplug` closes it as a pulled cable does."""

    def __init__(self) -> None:
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def unplug(self) -> None:
        for fd in (self.master, self._slave):
            if fd >= 0:
                os.close(fd)
        self.master = self._slave = -1


@pytest.fixture
def pty() -> Iterator[Pty]:
    port = Pty()
    yield port
    port.unplug()


@pytest.fixture
def sink() -> Collector:
    return Collector()


@pytest.fixture
def clock() -> ScaledClock:
    return ScaledClock()


@pytest.fixture
def threads_end(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Every link that the test started is stopped when it is over, failed or not, and its threads have ended."""
    before = set(threading.enumerate())
    started = []
    for kind in (SerialSource, TapeSource, VisaSource):

        def start(self, sink: Any, clock: Any, real: Any = kind.start) -> None:  # type: ignore[no-untyped-def]
            started.append(self)
            real(self, sink, clock)

        monkeypatch.setattr(kind, "start", start)
    yield
    for source in started:
        source.stop()
    end_s = time.monotonic() + 3.0
    while (left := set(threading.enumerate()) - before) and time.monotonic() < end_s:
        time.sleep(0.01)
    assert not left


@pytest.fixture
def profiles() -> dict[str, MeterProfile]:
    return {"lcd14": LCD14, "digits14": DIGITS14, "polled": POLLED}


@pytest.fixture
def new_pty() -> Iterator[Callable[[], Pty]]:
    made: list[Pty] = []

    def make() -> Pty:
        made.append(Pty())
        return made[-1]

    yield make
    for port in made:
        port.unplug()
