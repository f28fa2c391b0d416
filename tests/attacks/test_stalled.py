"""Outputs that stand still: a stopped terminal, a pipe that nobody reads. Measuring, words and signals go on."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.e2e.outside_meter import OPEN, Meter
from tests.e2e.program import METERCAP, environment, no_defect, plan_file, run, sweep

pytestmark = [
    pytest.mark.attack,
    pytest.mark.skipif(sys.platform != "linux", reason="sets the size of pipes, stops terminals"),
]

STOP, START = b"\x13", b"\x11"
"""DC3 and DC1, by which a person stops and starts a terminal's output (POSIX.1-2017, 11.1.9)."""
RATE = 20.0
ANSWERED_S = 3.0
"""A signal is answered within a second on an idle machine; a busy one gets three."""


def arguments(folder: Path, meter: Meter) -> list[str]:
    """Return the arguments of a run of fuses."""
    return [
        *("run", str(plan_file(folder, sweep('"F1..F900"'))), "--port", str(meter.path), "--meter", meter.family),
        *("--rate", str(RATE), "--unit", "controller B", "--out", str(folder / "session.jsonl")),
    ]


def records(path: Path) -> list[dict[str, Any]]:
    """Return the whole records of a file that is being written."""
    whole = path.read_bytes().rpartition(b"\n")[0] if path.exists() else b""
    return [json.loads(line) for line in whole.splitlines()]


def until(true: Callable[[], Any], what: str, timeout_s: float = 20.0) -> Any:
    """Wait until something is true."""
    end_s = time.monotonic() + timeout_s
    while not (got := true()):
        assert time.monotonic() < end_s, f"no {what}"
        time.sleep(0.02)
    return got


def keeps_measuring(out: Path, meter: Meter) -> None:
    """Readings go on into the file at the meter's pace, and a touch gets its verdict."""

    def readings() -> int:
        return sum(record["kind"] == "reading" for record in records(out))

    before, start_s = readings(), time.monotonic()
    time.sleep(1.5)
    came, waited_s = readings() - before, time.monotonic() - start_s
    assert came > 0.5 * RATE * waited_s, f"{came} readings in {waited_s:.1f} s at {RATE:g} a second"
    meter.tips = 0.2
    until(lambda: any(record["kind"] == "verdict" for record in records(out)), "verdict")
    meter.tips = OPEN


def ends_well(process: subprocess.Popen[bytes], number: int, out: Path) -> None:
    """One signal ends it in time, with status 130 and a closed file."""
    start_s = time.monotonic()
    process.send_signal(number)
    assert process.wait(20) == 130
    assert time.monotonic() - start_s < ANSWERED_S
    assert records(out)[-1]["kind"] == "end"
    assert run("verify", str(out)).status == 0


@contextmanager
def in_terminal(command: list[str]) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """Run a command in a terminal of its own; yield the process and the terminal's other side."""
    master, slave = pty.openpty()
    process = subprocess.Popen(
        command, stdin=slave, stdout=slave, stderr=slave, env=environment(TERM="xterm"), start_new_session=True
    )
    os.close(slave)
    try:
        yield process, master
    finally:
        process.kill()
        process.wait()
        os.close(master)


def shown(master: int, wait_s: float) -> bytes:
    """Return what the terminal shows within a time."""
    seen, end_s = b"", time.monotonic() + wait_s
    while (left_s := end_s - time.monotonic()) > 0:
        if select.select([master], [], [], left_s)[0]:
            try:
                seen += os.read(master, 65536)
            except OSError:
                break
    return seen


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_stopped_terminal_stops_nothing(tmp_path: Path, number: int, attack: Callable[[str], Any]) -> None:
    """Ctrl-S in --plain: every reading is journaled, a touch gets its verdict, the first signal is answered."""
    out = tmp_path / "session.jsonl"
    trial = attack("stopped terminal")
    with (
        Meter(tmp_path, rate=RATE) as meter,
        in_terminal([*METERCAP, *arguments(tmp_path, meter), "--plain"]) as (
            process,
            master,
        ),
        trial.trial(),
    ):
        until(lambda: b"F1" in shown(master, 0.1), "prompt")
        os.write(master, STOP)
        keeps_measuring(out, meter)
        ends_well(process, number, out)


def test_a_terminal_that_goes_on_catches_up(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """After Ctrl-Q what was held back is shown, and words are heard as before."""
    out = tmp_path / "session.jsonl"
    trial = attack("stopped terminal")
    with (
        Meter(tmp_path, rate=RATE) as meter,
        in_terminal([*METERCAP, *arguments(tmp_path, meter), "--plain"]) as (
            process,
            master,
        ),
        trial.trial(),
    ):
        until(lambda: b"F1" in shown(master, 0.1), "prompt")
        os.write(master, STOP)
        keeps_measuring(out, meter)
        assert b"pass" not in shown(master, 0.3)
        os.write(master, START)
        seen = b""

        def caught_up() -> bool:
            nonlocal seen
            seen += shown(master, 0.1)
            return b"pass" in seen

        until(caught_up, "tick after the terminal went on")
        os.write(master, b"Q")
        until(lambda: b"journal: " in shown(master, 0.1) or process.poll() is not None, "end")
        assert process.wait(10) == 1


def narrow_pipe() -> tuple[int, int]:
    """Return a pipe that holds one page."""
    reads, writes = os.pipe()
    fcntl.fcntl(writes, fcntl.F_SETPIPE_SZ, 4096)
    return reads, writes


def full(fd: int) -> bool:
    """Return whether a pipe takes no more."""
    return not select.select([], [fd], [], 0)[1]


def test_json_that_nobody_reads_stops_nothing(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """Unread --json: the session goes on; read later, it is the file line by line with nothing left out."""
    out = tmp_path / "session.jsonl"
    reads, writes = narrow_pipe()
    with Meter(tmp_path, rate=RATE) as meter:
        process = subprocess.Popen(
            [*METERCAP, *arguments(tmp_path, meter), "--json"],
            stdin=subprocess.PIPE,
            stdout=writes,
            stderr=subprocess.PIPE,
            env=environment(),
        )
        try:
            with attack("json that nobody reads").trial():
                until(lambda: full(writes), "full pipe")
                os.close(writes)
                keeps_measuring(out, meter)
                printed = b""
                while printed.count(b'"kind":"verdict"') < 1:
                    assert select.select([reads], [], [], 10)[0]
                    printed += os.read(reads, 65536)
                whole = printed.rpartition(b"\n")[0] + b"\n"
                assert out.read_bytes().startswith(whole)
                ends_well(process, signal.SIGTERM, out)
            assert process.stderr is not None
            no_defect(process.stderr.read().decode())
        finally:
            process.kill()
            process.wait()
            os.close(reads)
            for pipe in (process.stdin, process.stderr):
                assert pipe is not None
                pipe.close()


def test_errors_that_nobody_reads_deafen_nobody(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """Hundreds of refused lines into an unread stderr, and the word after them is heard."""
    reads, writes = narrow_pipe()
    with Meter(tmp_path, rate=RATE) as meter:
        process = subprocess.Popen(
            [*METERCAP, *arguments(tmp_path, meter), "--json"],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=writes,
            env=environment(),
        )
        os.close(writes)
        try:
            with attack("stderr that nobody reads").trial():
                until(lambda: records(tmp_path / "session.jsonl"), "session")
                assert process.stdin is not None
                process.stdin.write(b"opne\n" * 500 + b"quit\n")
                process.stdin.flush()
                until(lambda: records(tmp_path / "session.jsonl")[-1]["kind"] == "end", "word to quit")
            while os.read(reads, 65536):
                pass
            assert process.wait(10) == 1
        finally:
            process.kill()
            process.wait()
            os.close(reads)
            assert process.stdin is not None
            process.stdin.close()
