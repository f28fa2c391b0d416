"""How quick it is, and how little it takes: run with -m slow; figures are printed, with the machine's load.

Times are of the monotonic clock, which all processes of a machine share. The meter is the end-to-end tests' own; it
writes a whole frame at once, so that the moment of that write is the moment of the frame's last byte.
"""

from __future__ import annotations

import json
import math
import os
import queue
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.e2e.outside_meter import Meter, Shown, lcd14
from tests.e2e.program import METERCAP, Hands, Program, Record, environment, of_kind, plan_file, program, sweep

pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(900),
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
]

VERDICTS = int(os.environ.get("METERCAP_VERDICTS", "200"))
"""p99 is then the third worst."""


def quantile(values: list[float], share: float) -> float:
    """The smallest value that `share` of all do not exceed."""
    return sorted(values)[math.ceil(share * len(values)) - 1]


def load() -> str:
    """How busy the machine is."""
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


class CountingMeter(Meter):
    """A meter whose every conversion shows another value, so that a line can be told to the frame that caused it."""

    shown = 0

    def _shown(self) -> Shown:
        if self.tips != 0.2:
            return Shown("0.L")._replace(auto=False)
        self.shown += 1
        return Shown(f"{0.1 + self.shown % 17 * 0.1:.1f}")._replace(auto=False)


BARE = """
import os, sys, tty
fd = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
tty.setraw(fd)
while data := os.read(fd, 4096):
    os.write(1, data.hex().encode() + b"\\n")
"""
"""The least a program can do between a port and a line: what the machine itself takes, in the same run."""


class Lines:
    """Reads a process's lines, stamping each before anything else is done with it."""

    def __init__(self, command: list[str], act: Callable[[bytes], None] | None = None) -> None:
        self.arrived: list[tuple[float, bytes]] = []
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment(), bufsize=0
        )
        self._act = act
        self._thread = threading.Thread(target=self._read)
        self._thread.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        held = b""
        while data := os.read(self.process.stdout.fileno(), 65536):
            now_s = time.monotonic()
            *lines, held = (held + data).split(b"\n")
            self.arrived += [(now_s, line) for line in lines]
            if self._act is not None:
                for line in lines:
                    self._act(line)

    def end(self) -> int:
        """Wait for the end and return the status."""
        status = self.process.wait(60)
        self._thread.join()
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        self.process.stdout.close()
        return status


def test_last_byte_to_verdict_line(tmp_path: Path, told: Callable[[str], None]) -> None:
    """Last byte on the wire → verdict line out: p99 ≤ 5 ms + the disk's own fsync p99 + what a bare reader takes.

    The disk is asked by a write and fsync of its own after each verdict, while the hands are off; the bare reader has
    the same meter on another port all the time, and shows how long a busy machine lets any program wait.
    """
    plan = plan_file(tmp_path, sweep(f'"F1..F{VERDICTS}"'))
    disk: list[float] = []
    ticked: queue.SimpleQueue[None] = queue.SimpleQueue()
    (tmp_path / "other").mkdir()
    with (
        CountingMeter(tmp_path) as meter,
        CountingMeter(tmp_path / "other") as other,
        (tmp_path / "probe").open("wb", buffering=0) as probe,
    ):
        other.tips = 0.2
        hands = Hands(meter, dict.fromkeys((f"F{n}" for n in range(1, VERDICTS + 1)), 0.2))

        def act(line: bytes) -> None:
            if not line.startswith(b'{"kind":"reading"'):
                hands.see(json.loads(line))
                if line.startswith(b'{"kind":"verdict"'):
                    ticked.put(None)

        args = [
            "run",
            str(plan),
            "--port",
            str(meter.path),
            "--meter",
            "lcd14",
            "--rate",
            "10",
            "--unit",
            "B",
            "--json",
        ]
        bare = Lines([sys.executable, "-c", BARE, str(other.path)])
        metercap = Lines([*METERCAP, *args, "--out", str(tmp_path / "out.jsonl")], act)
        hands.program = Talker(metercap)  # type: ignore[assignment]
        for _ in range(VERDICTS):
            ticked.get(timeout=60)
            time.sleep(0.25)
            start = time.perf_counter()
            probe.write(b"x" * 400 + b"\n")
            os.fsync(probe.fileno())
            disk.append(time.perf_counter() - start)
        assert metercap.end() == 0
        bare.process.kill()
        bare.end()
        frames = [(t_s, frame.hex()) for t_s, frame in meter.sent]
        others = [(t_s, frame.hex()) for t_s, frame in other.sent]
    to_verdict, to_reading = [], []
    raw = ""
    for arrived_s, line in metercap.arrived:
        record = json.loads(line)
        if record["kind"] == "reading":
            raw = record["raw"]
            if record["value"] is not None:
                to_reading.append(arrived_s - sent_before(frames, raw, arrived_s))
        elif record["kind"] == "verdict":
            to_verdict.append(arrived_s - sent_before(frames, raw, arrived_s))
    whole = {frame for _, frame in others}
    to_bare = [t - sent_before(others, line.decode(), t) for t, line in bare.arrived if line.decode() in whole]
    assert len(to_verdict) == VERDICTS
    for name, times in (
        ("verdict line", to_verdict),
        ("reading line", to_reading),
        ("bare reader", to_bare),
        ("bare write + fsync", disk),
    ):
        p50, p99, worst = (1e3 * found for found in (quantile(times, 0.5), quantile(times, 0.99), max(times)))
        told(f"{name} ({len(times)}): p50 {p50:.2f} ms, p99 {p99:.2f} ms, worst {worst:.2f} ms; {load()}")
    assert quantile(to_verdict, 0.99) <= 5e-3 + quantile(disk, 0.99) + quantile(to_bare, 0.99)


class Talker:
    """Stands in for a program to `Hands`: says words on its stdin."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines

    def say(self, word: str) -> None:
        """Say a word."""
        assert self._lines.process.stdin is not None
        self._lines.process.stdin.write(word.encode() + b"\n")


def sent_before(frames: list[tuple[float, str]], raw: str, arrived_s: float) -> float:
    """Return when the last frame of these bytes was sent before a line arrived; values repeat only after 1.7 s."""
    return max(t_s for t_s, frame in frames if frame == raw and t_s <= arrived_s)


def test_help_against_a_bare_interpreter(told: Callable[[str], None]) -> None:
    """`metercap --help`, the whole process: at most 6 times `python -c pass`, medians of 25 taken in turns."""
    env = environment()
    took: dict[str, list[float]] = {"help": [], "pass": []}
    script = Path(sys.executable).with_name("metercap")
    ours = [str(script)] if script.exists() else METERCAP
    commands = {"help": [*ours, "--help"], "pass": [sys.executable, "-c", "pass"]}
    for _ in range(25):
        for name, command in commands.items():
            start = time.perf_counter()
            subprocess.run(command, env=env, check=True, stdout=subprocess.DEVNULL)
            took[name].append(time.perf_counter() - start)
    whole, bare = (statistics.median(took[name]) for name in ("help", "pass"))
    told(f"--help {whole * 1e3:.1f} ms, python -c pass {bare * 1e3:.1f} ms, ratio {whole / bare:.2f}; {load()}")
    assert whole <= 6 * bare


def test_run_to_first_reading(tmp_path: Path, told: Callable[[str], None]) -> None:
    """`metercap run` from exec, the meter already sending at 50/s → first reading line: median ≤ 0.5 s + one frame."""
    plan = plan_file(tmp_path, sweep('"F1..F12"'))
    took = []
    with Meter(tmp_path, rate=50.0) as meter:
        for n in range(15):
            start = time.monotonic()
            seen: list[float] = []

            def see(record: Record, seen: list[float] = seen) -> None:
                if record["kind"] == "reading" and not seen:
                    seen.append(time.monotonic())

            args = ["run", str(plan), "--port", str(meter.path), "--meter", "lcd14", "--unit", "B"]
            with program(*args, "--out", str(tmp_path / f"{n}.jsonl"), see=see) as metercap:
                metercap.until(lambda records, seen=seen: seen, "reading")  # type: ignore[misc]
                took.append(seen[0] - start)
                metercap.say("quit")
                metercap.wait()
    told(f"exec to first reading line: median {statistics.median(took):.3f} s, worst {max(took):.3f} s; {load()}")
    assert statistics.median(took) <= 0.5 + 0.02


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
def test_processor_time_at_ten_readings_a_second(tmp_path: Path, told: Callable[[str], None]) -> None:
    """Headless at 10 readings/s for 30 s, the hands at work: at most 2 % of a core, start-up not counted."""
    plan = plan_file(tmp_path, sweep('"F1..F99"'))
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict.fromkeys((f"F{n}" for n in range(1, 100)), 0.2))
        args = ["run", str(plan), "--port", str(meter.path), "--meter", "lcd14", "--rate", "10", "--unit", "B"]
        with program(*args, "--out", str(tmp_path / "out.jsonl"), see=hands.see) as metercap:
            hands.program = metercap
            metercap.until(lambda records: of_kind(records, "verdict"), "verdict")
            before_s, start = processor_s(metercap), time.monotonic()
            time.sleep(30.0)
            share = (processor_s(metercap) - before_s) / (time.monotonic() - start)
            readings = len(of_kind(metercap.records, "reading"))
            metercap.say("quit")
            metercap.wait()
    told(f"headless at 10 readings/s: {100 * share:.2f} % of a core ({readings} readings); {load()}")
    assert share <= 0.02


def processor_s(metercap: Program) -> float:
    """Return the processor time that a process has used."""
    fields = Path(f"/proc/{metercap.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def sweep_records(steps: int) -> list[object]:
    """Return the records of a long sweep: touches of four conversions, lifts of ten, the last digit wandering."""
    import random

    from metercap.commands._opening import session_record
    from metercap.plan.load import load_plan
    from metercap.profiles import find_meter
    from metercap.records import Operator, Prompt
    from metercap.session import Driver, Session
    from metercap.wire import decoder

    rng = random.Random(5)
    profile = find_meter("lcd14").at_rate(10.0)
    text = "".join(f'[[step]]\nid = "s{n}"\nkind = "sweep"\nitems = "F1..F100"\nmax = "2 ohm"\n' for n in range(steps))
    plan = load_plan(f'[plan]\ntitle = "t"\nsupply = "none"\n{text}', "benchmark")
    record = session_record(plan, profile, unit="B")
    driver, decode = Driver(Session(record)), decoder(profile)
    records: list[object] = [record, *driver.start()]
    air = lcd14(Shown("0.L")._replace(auto=False))
    t_s, n = 0.0, 0
    while not driver.session.finished:
        n += 1
        on = n % 14 < 4
        frame = lcd14(Shown(f"{0.2 + rng.choice((0.0, 0.1)):.1f}")._replace(auto=False)) if on else air
        t_s += 0.1 + rng.uniform(-0.002, 0.002)
        for reading in decode.feed(frame, t_s):
            for event, outcomes in driver.feed(reading):
                records += [event, *outcomes]
                if any(isinstance(out, Prompt) and out.do == "answer" for out in outcomes):
                    for said, more in driver.feed(Operator(event.t_s, "yes")):
                        records += [said, *more]
    return records


def test_replay_speed(tmp_path: Path, told: Callable[[str], None]) -> None:
    """A sweep of 3000 fuses through wire, contact and steps again: ≥ 60 000 readings/s; and from the file, told."""
    from metercap.journal import Writer, iterate
    from metercap.session import check

    records = sweep_records(30)
    rates = []
    for _ in range(5):
        start = time.perf_counter()
        found = check(records)  # type: ignore[arg-type]
        rates.append(found.readings / (time.perf_counter() - start))
        assert (found.difference, found.verdicts) == ("", 3000)
    with Writer.create(tmp_path / "out.jsonl", records[0]) as writer:  # type: ignore[arg-type]
        for record in records[1:]:
            writer.append(record)  # type: ignore[arg-type]
        writer.close(records[-1].t_s, "done")  # type: ignore[attr-defined]
    start = time.perf_counter()
    with iterate(tmp_path / "out.jsonl") as stream:
        from_file = check(stream)
    file_rate = from_file.readings / (time.perf_counter() - start)
    told(
        f"replay of {found.readings} readings: {max(rates):,.0f} readings/s best of 5, {statistics.median(rates):,.0f} "
        f"median; with the file's reading and checksums {file_rate:,.0f}; {load()}"
    )
    assert max(rates) >= 60_000


DAY = """
import json, sys
from pathlib import Path
from metercap.clock import VirtualClock
from metercap.commands._live import Keep
from metercap.commands._opening import session_record
from metercap.journal import Writer
from metercap.live import Inbox, Live
from metercap.plain import PlainLines
from metercap.plan.load import load_plan
from metercap.profiles import find_meter
from metercap.records import LinkState
from metercap.session import Driver, Session
from metercap.wire import decoder
from tests.e2e.outside_meter import Shown, lcd14

HOURS = float(sys.argv[2])
STEP_S = 0.1
profile = find_meter("lcd14").at_rate(10.0)
plan = '[plan]\\ntitle = "t"\\nsupply = "none"\\n'
plan += '[[step]]\\nid = "s"\\nkind = "sweep"\\nitems = "F1..F12"\\nmax = "2 ohm"\\n'
record = session_record(load_plan(plan, "day"), profile, unit="B")
session = Session(record)
clock, inbox = VirtualClock(), Inbox()
AIR = lcd14(Shown("0.L")._replace(auto=False))
GOOD = [lcd14(Shown(f"{0.1 * n:.1f}")._replace(auto=False)) for n in range(1, 9)]
n, sizes = 0, []

def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096

def next_s():
    return (n + 1) * STEP_S if n * STEP_S < HOURS * 3600 else float("inf")

def act(t_s):
    # Twelve ticks, then hour upon hour of slips at the count check, a word now and then, a cable that comes and goes.
    global n
    n += 1
    if n % 36000 == 1:
        sizes.append(resident())
    if n % 5000 == 0:
        inbox.put_word("say", "", t_s)
    if n % 9000 == 0:
        inbox.put_link(LinkState.LOST, "pulled", t_s)
        inbox.put_link(LinkState.UP, "back", t_s)
    if n % 7000 == 0:
        inbox.put_bytes(b"\\x00\\xff noise", t_s)
    else:
        inbox.put_bytes(GOOD[n % 8] if n % 14 < 4 else AIR, t_s)

with open("/dev/null", "w") as nowhere:
    live = Live(Driver(session), decoder(profile), Writer.create(sys.argv[1], record),
                [Keep(), PlainLines(nowhere)], inbox, clock, profile=profile)
    live.run_virtual(clock, next_s, act)
sizes.append(resident())
print(json.dumps({"readings": n, "verdicts": len(session.bench.verdicts), "sizes": sizes}))
"""


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="needs /proc")
def test_memory_over_a_day(tmp_path: Path, told: Callable[[str], None]) -> None:
    """24 h of readings at 10/s through decoder, session, journal and plain lines, time compressed: < 10 MB growth."""
    hours = "24"
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", DAY, str(tmp_path / "day.jsonl"), hours],
        capture_output=True,
        text=True,
        env=environment(),
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    sizes = found["sizes"]
    assert found["readings"] == 864_000
    assert found["verdicts"] == 12
    assert len(sizes) == 25
    growth = max(sizes[2:]) - sizes[1]
    told(
        f"24 h in {time.perf_counter() - start:.0f} s: {sizes[1] / 1e6:.1f} MB after an hour, "
        f"{max(sizes[2:]) / 1e6:.1f} MB at most after that, growth {growth / 1e6:.2f} MB; {load()}"
    )
    assert growth < 10e6
