"""Fakes of what the loop is put together from: a scripted session, a journal that logs, a clock that is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import msgspec
import pytest

from metercap.clock import VirtualClock
from metercap.live import Inbox, Live
from metercap.meter import MeterProfile
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.records import Clock, EndRecord, at, encode
from tests.live.live_rig import session_record

PROFILE = MeterProfile(name="lcd14", family="lcd14", conversions_per_s=10.0)


def reading(value: float, t_s: float = 0.0) -> Reading:
    return Reading(
        t_s=t_s,
        quantity=Quantity.RESISTANCE,
        value=value,
        resolution=0.1,
        unit="ohm",
        state=State.OK,
        flags=(),
        raw=f"{int(value * 10):04x}",
    )


class ScriptedSession:
    """Answers an event by what `script` returns for it; deadlines and wants are set from outside."""

    def __init__(self) -> None:
        self.script: Callable[[object], list[Any]] = lambda event: []
        self.first: list[Any] = []
        self.deadlines: list[float] = []
        self.finished = False
        self.end_reason = "done"
        self.wanted: Quantity | None = None
        self.wanted_range: float | None = None

    @property
    def deadline_s(self) -> float | None:
        return self.deadlines[0] if self.deadlines else None


class ScriptedDriver:
    """The real driver's rule: deadlines first, time never back."""

    def __init__(self) -> None:
        self.session = ScriptedSession()
        self._last_s = 0.0

    def start(self) -> list[Any]:
        return self.session.first

    def end(self, t_s: float) -> list[Any]:
        return []

    def due(self, t_s: float) -> Iterator[Any]:
        while self.session.deadlines and self.session.deadlines[0] <= t_s:
            yield from self._one(Clock(t_s=at(self.session.deadlines.pop(0)), due="s"))

    def feed(self, event: Any) -> Iterator[Any]:
        yield from self.due(event.t_s)
        yield from self._one(event)

    def _one(self, event: Any) -> Iterator[Any]:
        if event.t_s < self._last_s:
            event = msgspec.structs.replace(event, t_s=self._last_s)
        self._last_s = event.t_s
        yield event, self.session.script(event)


class LineDecoder:
    """One reading a line of text; a line that is no number is garbage."""

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, data: bytes, t_s: float) -> list[Any]:
        *lines, self._rest = (self._rest + data).split(b"\n")
        found = []
        for line in lines:
            try:
                found.append(reading(float(line), t_s))
            except ValueError:
                found.append(Garbage(t_s=t_s, raw=line.hex(), why="no number"))  # type: ignore[arg-type]
        return found

    def flush(self, t_s: float) -> list[Any]:
        rest, self._rest = self._rest, b""
        return [Garbage(t_s=t_s, raw=rest.hex(), why="cut")] if rest else []


class LoggingWriter:
    """A journal in a list; everything done to it is noted in `log`, shared with the observers."""

    def __init__(self, log: list[Any]) -> None:
        self.log = log
        self.first = encode(session_record(PROFILE)) + b"\n"
        self.problem: str | None = None
        self.moved = ""
        self.counts: dict[str, int] = {}

    def append(self, record: Any) -> bytes:
        self.log.append(("append", record))
        return encode(record) + b"\n"

    def sync(self) -> bool:
        self.log.append(("sync", None))
        return True

    def close(self, t_s: float, reason: Any) -> bytes:
        end = EndRecord(t_s=t_s, reason=reason, counts={}, sha256="")
        self.log.append(("close", end))
        return encode(end) + b"\n"


class LoggingObserver:
    """Notes what it sees, and when."""

    def __init__(self, log: list[Any]) -> None:
        self.log = log
        self.lines: list[bytes] = []

    def see(self, record: Any, line: bytes) -> None:
        self.log.append(("see", record))
        self.lines.append(line)

    def urgent(self, record: Any) -> None:
        self.log.append(("urgent", record))


class Rig:
    """A loop with fakes all round, pumped by hand on a virtual clock."""

    def __init__(self) -> None:
        self.log: list[Any] = []
        self.driver = ScriptedDriver()
        self.session = self.driver.session
        self.writer = LoggingWriter(self.log)
        self.observer = LoggingObserver(self.log)
        self.inbox = Inbox()
        self.clock = VirtualClock()
        self.live = self.make()

    def make(self, **others: Any) -> Live:
        arguments = {"profile": PROFILE} | others
        observers = arguments.pop("observers", [self.observer])
        writer = arguments.pop("writer", self.writer)
        return Live(self.driver, LineDecoder(), writer, observers, self.inbox, self.clock, **arguments)  # type: ignore[arg-type]

    def pump(self) -> None:
        """Take everything that waits."""
        while (item := self.inbox.get()) is not None:
            self.live.take(item)

    def seen(self, *kinds: type) -> list[Any]:
        return [record for what, record in self.log if what == "see" and (not kinds or isinstance(record, kinds))]


@pytest.fixture
def rig() -> Rig:
    return Rig()


@pytest.fixture
def lcd14() -> MeterProfile:
    return find_meter("lcd14")
