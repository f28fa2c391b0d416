"""From a meter's last byte to the line out, and what waiting for a meter costs. Run with -m slow; figures are printed.

The meter is a process of its own, as a real one would be, and sends each frame byte by byte over a pseudo-terminal at
the pace of its wire. Both processes stamp with the system's one monotonic clock.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path
from typing import Any

import pytest

from metercap.clock import ScaledClock
from metercap.journal import Writer
from metercap.journal.disk import Disk
from metercap.link import open_link
from metercap.live import Inbox, Live, Trace
from metercap.plan import to_builtins
from metercap.plan.load import load_plan
from metercap.profiles import find_meter
from metercap.reading import Reading
from metercap.records import Cue, CueKind, Do, Prompt, Record, SessionRecord, Verdict
from metercap.session import Driver, Session
from metercap.wire import LATENCY_S, decoder
from tests.wire import wire_drawing as drawing

pytestmark = pytest.mark.slow

ITEMS = 100
SPEED = 10.0

PLAN = f"""
[plan]
title = "Loose fuses"
supply = "none"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F{ITEMS}"
max = "2 ohm"
count_check = false
"""

# Sends the frame for air or for contact, byte by byte, and notes when the last byte of each went out.
METER = """
import os, select, sys, time
master, told, frames, gap_s, byte_s = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:5], *map(float, sys.argv[5:7])
frames = [bytes.fromhex(frame) for frame in frames]
touching, next_s, stamps = 0, time.monotonic(), []
while True:
    wait_s = next_s - time.monotonic()
    if wait_s > 0 and select.select([told], [], [], wait_s)[0]:
        word = os.read(told, 64)
        if not word:
            break
        touching = int(word[-1:] == b"c")
        continue
    start_s = time.monotonic()
    for n, byte in enumerate(frames[touching]):
        time.sleep(max(0.0, start_s + n * byte_s - time.monotonic()))
        stamp_s = time.monotonic()
        os.write(master, bytes([byte]))
    stamps.append(stamp_s)
    next_s = max(next_s + gap_s, time.monotonic())
print(*stamps)
"""


def ohms(value: float | None) -> str:
    """One frame on auto range: ohms in the lowest range, or over-range in the highest."""
    shown = " 0.L " if value is None else f"{value:05.1f}"
    return drawing.frame(shown, *(("M",) if value is None else ()), "ohm", "auto").hex()


class Outside:
    """The meter's process."""

    def __init__(self, gap_s: float, byte_s: float) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)
        told, self._tell = os.pipe()
        arguments = [str(self._master), str(told), ohms(None), ohms(0.3), str(gap_s), str(byte_s)]
        self._child = subprocess.Popen(
            [sys.executable, "-c", METER, *arguments],
            pass_fds=[self._master, told],
            stdout=subprocess.PIPE,
            text=True,
        )
        os.close(told)

    def touch(self, on: bool) -> None:
        os.write(self._tell, b"c" if on else b"a")

    def stop(self) -> list[float]:
        os.close(self._tell)
        stamps = [float(word) for word in self._child.communicate(timeout=20)[0].split()]
        os.close(self._master)
        os.close(self._slave)
        return stamps


class TimedDisk(Disk):
    """The real disk, which notes how long each sync took."""

    def __init__(self) -> None:
        self.took_s: list[float] = []

    def sync(self, fd: int) -> None:
        start_s = time.perf_counter()
        super().sync(fd)
        self.took_s.append(time.perf_counter() - start_s)


class Out:
    """Writes each line out, notes when, and is the hands: touches after a lift, lifts at the verdict."""

    def __init__(self, meter: Outside, clock: ScaledClock) -> None:
        self._meter, self._clock = meter, clock
        self._null = os.open(os.devnull, os.O_WRONLY)
        self._touch_s = math.inf
        self.readings: list[float] = []
        self.verdicts: list[int] = []
        self.verdict_s: list[float] = []

    def see(self, record: Record, line: bytes) -> None:
        os.write(self._null, line)
        now_s = time.monotonic()
        if isinstance(record, Reading):
            self.readings.append(now_s)
            if record.t_s > self._touch_s:
                self._touch_s = math.inf
                self._meter.touch(True)
        elif isinstance(record, Verdict):
            self.verdicts.append(len(self.readings) - 1)
            self.verdict_s.append(now_s)
            self._meter.touch(False)
        elif isinstance(record, Prompt) and record.do is Do.PROBE:
            self._touch_s = record.t_s + 1.0
        elif isinstance(record, Cue) and record.cue is CueKind.LIFT:
            self._meter.touch(False)
            self._touch_s = record.t_s + 1.0


def opening(plan: dict[str, Any]) -> SessionRecord:
    return SessionRecord(
        t_s=0.0,
        schema=2,
        id="bench",
        start_utc="2031-03-04T05:06:07Z",
        zone_offset_s=0,
        unit="controller B",
        tag="B",
        operator="",
        known_good=False,
        plan=plan,
        meter=find_meter("lcd14").at_rate(10.0),
        identity="",
        reference={},
        options={},
        inherited={},
        program="metercap",
    )


def share(values: list[float], part: float) -> float:
    return sorted(values)[math.ceil(part * len(values)) - 1]


def figures(name: str, values: list[float]) -> str:
    return f"{name}: p50 {share(values, 0.5) * 1e3:.2f} ms, p99 {share(values, 0.99) * 1e3:.2f} ms, n {len(values)}"


def test_last_byte_to_line_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Last byte on the wire to verdict line out: p99 at most 5 ms and this run's fsync p99."""
    record = opening(to_builtins(load_plan(PLAN, "benchmark")))
    profile, clock, disk = record.meter, ScaledClock(SPEED), TimedDisk()
    meter = Outside(0.1 / SPEED, profile.serial.byte_s / SPEED)
    out = Out(meter, clock)
    live = Live(
        Driver(Session(record)),
        decoder(profile, latency_s=LATENCY_S * SPEED),
        Writer.create(tmp_path / "a.jsonl", record, disk),
        [out],  # type: ignore[list-item]
        Inbox(),
        clock,
        profile=profile,
        source=open_link(meter.path, profile),
    )
    reason = live.run()
    sent_s = meter.stop()
    assert reason == "done"
    assert len(out.verdicts) == ITEMS
    # What was sent before the port was open, or in part then, is lost: the last reading belongs to the last frame
    # that was sent before it was seen.
    skipped = sum(stamp <= out.readings[-1] for stamp in sent_s) - len(out.readings)
    sent_s = sent_s[skipped:]
    seen_s = dict(enumerate(out.readings))
    plain = [seen_s[n] - sent for n, sent in enumerate(sent_s[: len(seen_s)]) if n not in out.verdicts]
    decided = [seen - sent_s[n] for n, seen in zip(out.verdicts, out.verdict_s, strict=True)]
    assert min(plain) > 0
    with capsys.disabled():
        sys.stdout.write(
            f"\n{figures('last byte -> reading line out', plain)}\n{figures('last byte -> verdict line out', decided)}"
            f"\n{figures('fsync', disk.took_s)}\n"
        )
    assert share(decided, 0.99) <= 0.005 + share(disk.took_s, 0.99)


@pytest.mark.parametrize("readings", [True, False])
def test_cost_of_waiting(readings: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ten readings a second in real time, headless with a journal: at most 2 % of one core; a silent meter less."""
    record = opening({})
    profile = record.meter
    meter = Outside(0.1 if readings else 1e6, profile.serial.byte_s)
    inbox, seconds = Inbox(), 10.0

    class Nobody:
        def see(self, record: Record, line: bytes) -> None:
            pass

    timer = threading.Timer(seconds, inbox.put_stop, [15])
    live = Live(
        Trace(),
        decoder(profile),
        Writer.create(tmp_path / "a.jsonl", record),
        [Nobody()],  # type: ignore[list-item]
        inbox,
        ScaledClock(),
        profile=profile,
        source=open_link(meter.path, profile),
    )
    timer.start()
    before_s = time.process_time()
    live.run()
    spent_s = time.process_time() - before_s
    meter.stop()
    with capsys.disabled():
        sys.stdout.write(f"\n{'10 readings/s' if readings else 'silent'}: {spent_s / seconds:.2%} of one core\n")
    assert spent_s / seconds <= 0.02
