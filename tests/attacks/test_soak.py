"""Long sessions with everything going wrong: pulled cables, floods, stalled outputs, kills, full disks.

METERCAP_SOAK_S says how long the real-time soak lasts (default 60 s), METERCAP_SOAK_H how many hours the compressed one
holds (default 1; the whole of it is 1800 s and 24 h). What is measured is printed (`-s`).
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import random
import resource
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.e2e.outside_meter import OPEN, Meter
from tests.e2e.program import METERCAP, environment, no_defect, plan_file, run, sweep

SOAK_S = float(os.environ.get("METERCAP_SOAK_S", "60"))
SOAK_H = float(os.environ.get("METERCAP_SOAK_H", "1"))
MOST_GROWTH_MB = 10

pytestmark = [
    pytest.mark.attack,
    pytest.mark.slow,
    pytest.mark.timeout(SOAK_S * 2 + SOAK_H * 200 + 600),
    pytest.mark.skipif(sys.platform != "linux", reason="reads /proc"),
]


class Soaked:
    """One run of the program, its output read, or not, by hand."""

    def __init__(self, folder: Path, meter: Meter, number: int) -> None:
        self.out = folder / f"{number}.jsonl"
        self.seen = b""
        reads, writes = os.pipe()
        fcntl.fcntl(writes, fcntl.F_SETPIPE_SZ, 4096)
        os.set_blocking(reads, False)
        self._reads = reads
        self.err = folder / f"{number}.err"

        def refused_not_killed() -> None:
            """Beyond a limit a write fails, as on a full disk, in place of a signal (setrlimit(2))."""
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

        plan = plan_file(folder, sweep('"F1..F900"'))
        with self.err.open("wb") as err:
            self.process = subprocess.Popen(
                [
                    *METERCAP,
                    *("run", str(plan), "--port", str(meter.path), "--meter", meter.family, "--rate", "20"),
                    *("--unit", "controller B", "--out", str(self.out), "--json"),
                ],
                stdin=subprocess.PIPE,
                stdout=writes,
                stderr=err,
                env=environment(TMPDIR=str(folder), HOME=str(folder)),
                preexec_fn=refused_not_killed,
            )
        os.close(writes)

    def no_room(self) -> None:
        """The disk takes a little more, then nothing."""
        limit = self.out.stat().st_size + 3000
        resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))

    def room_again(self) -> None:
        """The disk has room again."""
        resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))

    def read(self, wait_s: float) -> None:
        """Read what is printed for so long."""
        end_s = time.monotonic() + wait_s
        while (left_s := end_s - time.monotonic()) > 0:
            if select.select([self._reads], [], [], left_s)[0]:
                data = os.read(self._reads, 65536)
                if not data:
                    return
                self.seen += data

    def say(self, word: str) -> None:
        """Say a word."""
        with contextlib.suppress(BrokenPipeError):
            assert self.process.stdin is not None
            self.process.stdin.write(word.encode() + b"\n")
            self.process.stdin.flush()

    def has(self) -> tuple[int, int, int]:
        """Return its memory in kB, open descriptors and threads (proc(5))."""
        assert self.process.poll() is None, f"it ended by itself: {self.err.read_text()}"
        folder = Path(f"/proc/{self.process.pid}")
        status = dict(line.split(":", 1) for line in (folder / "status").read_text().splitlines())
        return int(status["VmRSS"].split()[0]), len(list((folder / "fd").iterdir())), int(status["Threads"])

    def close(self) -> None:
        """End it, whatever it does."""
        self.process.kill()
        self.process.wait()
        os.close(self._reads)
        assert self.process.stdin is not None
        with contextlib.suppress(BrokenPipeError):
            self.process.stdin.close()


def lines_of(data: bytes) -> list[dict[str, Any]]:
    """Return the whole JSON lines."""
    return [json.loads(line) for line in data.rpartition(b"\n")[0].splitlines()]


def announced_is_filed(soaked: Soaked, folder: Path) -> int:
    """Fail unless every line printed is in the file, or in the copy that was rescued; return its verdicts."""
    filed = b"".join(path.read_bytes() for path in folder.rglob(f"*{soaked.out.stem}*.jsonl*"))
    verdicts = [line for line in soaked.seen.rpartition(b"\n")[0].splitlines() if b'"kind":"verdict"' in line]
    for line in verdicts:
        assert line + b"\n" in filed, line
    return len(verdicts)


def test_real_time(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """Random troubles, one after the other; after each the program measures on, and nothing announced is lost."""
    rng = random.Random(9)
    counts = dict.fromkeys(("pull", "flood", "stall", "disk", "kill", "signal"), 0)
    trials, number, verdicts = attack("soak in real time"), 0, 0
    most = [0, 0, 0]
    growth_kb = 0
    end_s = time.monotonic() + SOAK_S
    with Meter(tmp_path, rate=20.0) as meter:
        while time.monotonic() < end_s:
            number += 1
            folder = tmp_path / str(number)
            folder.mkdir()
            disk = number % 3 == 2
            soaked = Soaked(folder, meter, number)
            try:
                begin_s = time.monotonic() + 60.0
                while b'"kind":"reading"' not in soaked.seen:  # the port is open, all threads run
                    assert time.monotonic() < begin_s
                    soaked.has()
                    soaked.read(0.5)
                began = soaked.has()
                if disk:
                    counts["disk"] += 1
                    soaked.no_room()
                troubles = rng.choices(["pull", "flood", "stall"], k=rng.randint(2, 6))
                for trouble in troubles:
                    with trials.trial():
                        counts[trouble] += 1
                        if trouble == "pull":
                            meter.unplug()
                            soaked.read(rng.uniform(0.1, 1.5))
                            meter.plug()
                        elif trouble == "flood":
                            flood_s = time.monotonic() + 0.5
                            while time.monotonic() < flood_s:
                                meter.send(rng.choice([b"\n", b"\xff", b"\r\n", b"\x00"]) * 4096)
                        else:
                            time.sleep(rng.uniform(0.5, 2.0))
                        soaked.read(2.0)
                        meter.tips = 0.2
                        soaked.read(1.5)
                        meter.tips = OPEN
                        soaked.say("absent")
                        soaked.read(1.5)
                        now = soaked.has()
                        most = [max(a, b) for a, b in zip(most, now, strict=True)]
                        assert now[1] <= began[1] + 2, "descriptors"
                        assert now[2] <= began[2] + 2, "threads"
                        growth_kb = max(growth_kb, now[0] - began[0])
                if disk:
                    soaked.room_again()
                    soaked.read(2.0)
                with trials.trial():
                    if number % 2:
                        counts["kill"] += 1
                        soaked.process.send_signal(signal.SIGKILL)
                        soaked.process.wait(10)
                    else:
                        counts["signal"] += 1
                        soaked.process.send_signal(rng.choice([signal.SIGINT, signal.SIGTERM]))
                        assert soaked.process.wait(10) == 130
                    soaked.read(0.3)
                    verdicts += announced_is_filed(soaked, folder)
                    no_defect(soaked.err.read_text())
                    assert run("verify", str(soaked.out)).status in (0, 1)
                    assert run("replay", str(soaked.out), "--check").status == 0
            finally:
                soaked.close()
    sys.stdout.write(f"\nsoak: {SOAK_S:g} s, {number} sessions, {counts}, {verdicts} verdicts announced, all filed;")
    sys.stdout.write(
        f" most memory {most[0]} kB, descriptors {most[1]}, threads {most[2]}; growth within a session {growth_kb} kB\n"
    )
    assert verdicts > 0


DAY = """
import gc, os, random, resource, sys, threading, time
from pathlib import Path
from metercap.clock import VirtualClock
from metercap.commands._opening import session_record
from metercap.journal import Writer
from metercap.live import Inbox, Live
from metercap.outlet import Outlet, Lane
from metercap.plain import JsonLines, PlainLines
from metercap.plan import from_builtins
from metercap.planfile import read_plan
from metercap.profiles import find_meter
from metercap.records import LinkState
from metercap.session import Driver, Session
from metercap.wire import decoder

hours, path, plan = float(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3])
rng = random.Random(24)
profile = find_meter("text").at_rate(10.0)
record = session_record(read_plan(plan), profile, unit="B")
inbox, clock = Inbox(), VirtualClock()
reads, writes = os.pipe()
os.set_blocking(reads, False)
stream = os.fdopen(writes, "w")
outlet = Outlet(stream)
outlet.live()
session = Session(record)
plain = PlainLines(outlet)
memory = lambda: int(Path("/proc/self/statm").read_text().split()[1]) * 4
at_s, n, told, seen = 0.0, 0, [], 0
stalled_until = 0.0

def next_s():
    return at_s + 0.1

def act(t_s):
    global at_s, n, seen, stalled_until
    at_s, n = t_s, n + 1
    phase = n % 40
    value = b"0.2 ohm\\r\\n" if 8 <= phase < 20 else b"OL ohm\\r\\n"
    inbox.put_bytes(value, t_s)
    if n % 997 == 0:
        inbox.put_bytes(rng.choice([b"\\n", b"\\xff", b"x\\n"]) * 4096, t_s)
    if n % 1501 == 0:
        inbox.put_link(LinkState.LOST, "pulled", t_s)
        inbox.put_link(LinkState.UP, "back", t_s)
    if n % 50 == 0:
        inbox.put_word("back" if n % 100 else "say", "", t_s)
    if n % 2003 == 0:
        stalled_until = t_s + 600.0
    if t_s >= stalled_until:
        try:
            while os.read(reads, 65536): pass
        except BlockingIOError: pass
    if n % 36000 == 0:
        gc.collect()
        told.append((memory(), len(os.listdir("/proc/self/fd")), threading.active_count()))
        sys.stderr.write(f"hour {t_s / 3600:.0f}: {told[-1]}\\n")

writer = Writer.create(path, record)
live = Live(Driver(session), decoder(profile), writer, [plain], inbox, clock, profile=profile)
reason = live.run_virtual(clock, next_s, act, until_s=hours * 3600.0)
print(reason, n, *(told[0] + told[-1] if told else (0,) * 6))
"""


def test_compressed_time(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """Hours at ten readings a second, floods, pulls, words, an output that stalls ten minutes at a time: flat."""
    plan = plan_file(tmp_path, sweep('"F1..F900"'))
    out = tmp_path / "day.jsonl"
    with attack("soak in compressed time").trial():
        done = subprocess.run(
            [sys.executable, "-c", DAY, str(SOAK_H), str(out), str(plan)],
            capture_output=True,
            text=True,
            env=environment(),
            check=True,
        )
        sys.stdout.write(f"\n{done.stderr}{done.stdout}")
        reason, readings, *numbers = done.stdout.split()
        first_kb, first_fds, first_threads, last_kb, last_fds, last_threads = map(int, numbers)
        assert reason in ("interrupted", "done")
        assert int(readings) > 0
        assert last_kb - first_kb < MOST_GROWTH_MB * 1024
        assert (last_fds, last_threads) == (first_fds, first_threads)
    checked = run("replay", str(out), "--check", timeout_s=1200)
    assert checked.status == 0, checked.out
    assert run("verify", str(out), timeout_s=1200).status == 0
