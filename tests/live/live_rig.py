"""A meter on a pseudo-terminal in a thread, hands that follow the prompts, and a real session over them."""

from __future__ import annotations

import contextlib
import os
import threading
import time
import tty
from typing import Any

from metercap.clock import ScaledClock
from metercap.meter import MeterProfile
from metercap.plan import to_builtins
from metercap.plan.load import load_plan
from metercap.records import Cue, CueKind, Do, Prompt, SessionRecord, Verdict
from tests.wire import wire_drawing as drawing

PLAN = """
[plan]
title = "Three loose fuses"
model = "GC-8"
supply = "none"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F3"
max = "2 ohm"
count_check = false
"""


def session_record(profile: MeterProfile, plan: dict[str, Any] | None = None) -> SessionRecord:
    return SessionRecord(
        t_s=0.0,
        schema=2,
        id="0123456789abcdef",
        start_utc="2026-02-03T04:05:06Z",
        zone_offset_s=0,
        unit="GC-8 no. 12",
        tag="B",
        operator="",
        known_good=False,
        plan=plan or {},
        meter=profile,
        identity="",
        reference={},
        options={},
        inherited={},
        program="metercap test",
    )


def record_of(profile: MeterProfile) -> SessionRecord:
    """The first record of a session of three loose fuses."""
    return session_record(profile, to_builtins(load_plan(PLAN, "a test's plan")))


def ohms(value: float | None) -> bytes:
    """One frame: a value in the lowest range, or over-range in it.

    The range is fixed: on auto range with its walk hidden, a lift takes longer than these hands give it.
    """
    return drawing.frame(" 0L. " if value is None else f"{value:05.1f}", "ohm")


class Meter(threading.Thread):
    """Sends a frame each `gap_s` of real time, a byte each `byte_s`; `ohm` is what the tips touch, None air.

    `sent_s` notes when the last byte of each frame went out. `replug` gives it a new terminal under the same name.
    """

    def __init__(self, profile: MeterProfile, name: Any, gap_s: float, byte_s: float) -> None:
        super().__init__(name="outside meter", daemon=True)
        self.profile, self.name_, self.gap_s, self.byte_s = profile, name, gap_s, byte_s
        self.ohm: float | None = None
        self.sent_s: list[float] = []
        self.done = threading.Event()
        self._lock = threading.Lock()
        self._ends: list[int] = []
        self.plug()

    def plug(self) -> None:
        with self._lock:
            self._ends = list(os.openpty())
            tty.setraw(self._ends[1])
            self.name_.symlink_to(os.ttyname(self._ends[1]))

    def unplug(self) -> None:
        with self._lock:
            self.name_.unlink()
            for end in self._ends:
                os.close(end)
            self._ends = []

    def run(self) -> None:
        next_s = time.monotonic()
        while not self.done.wait(max(0.0, next_s - time.monotonic())):
            frame, start = ohms(self.ohm), time.monotonic()
            for n, byte in enumerate(frame):
                time.sleep(max(0.0, start + n * self.byte_s - time.monotonic()))
                with self._lock, contextlib.suppress(OSError):
                    if self._ends:
                        os.write(self._ends[0], bytes([byte]))
            self.sent_s.append(time.monotonic())
            next_s = max(next_s + self.gap_s, time.monotonic())

    def stop(self) -> None:
        self.done.set()
        self.join(5.0)
        if self._ends:
            self.unplug()


class Hands:
    """Touches each item asked for, after a lift of session time, and lifts when it has its verdict or is told to."""

    def __init__(self, meter: Meter, clock: ScaledClock, ohm: float = 0.3) -> None:
        self.meter, self.clock, self.ohm = meter, clock, ohm
        self.records: list[Any] = []
        self.lines: list[bytes] = []
        self.seen_s: list[float] = []
        self.on_verdict = lambda: None

    def see(self, record: Any, line: bytes) -> None:
        self.seen_s.append(time.monotonic())
        self.records.append(record)
        self.lines.append(line)
        if isinstance(record, Verdict):
            self.meter.ohm = None
            self.on_verdict()  # type: ignore[no-untyped-call]
        elif isinstance(record, Cue) and record.cue in (CueKind.LIFT, CueKind.AGAIN):
            self.meter.ohm = None
            threading.Timer(1.4 / self.clock.speed, self._touch).start()
        elif isinstance(record, Prompt) and record.do is Do.PROBE:
            threading.Timer(1.4 / self.clock.speed, self._touch).start()

    def _touch(self) -> None:
        self.meter.ohm = self.ohm

    @property
    def verdicts(self) -> list[Verdict]:
        return [record for record in self.records if isinstance(record, Verdict)]
