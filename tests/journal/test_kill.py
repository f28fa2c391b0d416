"""Real processes: killed at any moment, or against the system's own file size limit."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from metercap.journal import read, repair, verify
from metercap.records import Verdict

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals and limits")

WRITER = """
import sys
from pathlib import Path
import msgspec
from metercap.journal import Writer
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import SessionRecord, Verdict, VerdictKind

session = msgspec.json.decode(sys.argv[2], type=SessionRecord)
writer = Writer.create(sys.argv[1], session)
print("started", flush=True)
for index in range(10**9):
    t_s = index / 10
    writer.append(Reading(t_s=t_s, quantity=Quantity.RESISTANCE, value=0.2, resolution=0.1, unit="ohm",
                          state=State.OK, flags=(), raw="00" * 14))
    if index % 3 == 0:
        writer.append(Verdict(t_s=t_s, step="fuses", item=f"F{index}", verdict=VerdictKind.PASS))
        assert writer.sync()
        print(f"F{index}", flush=True)
"""


def kill_at_random(folder: Path, session: str, rng: random.Random) -> int:
    """Kill a writing process after a random while; return how many verdicts it had announced."""
    path = folder / "killed.jsonl"
    process = subprocess.Popen([sys.executable, "-c", WRITER, str(path), session], stdout=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stdout.readline() == b"started\n"
    time.sleep(rng.random() * 0.15)
    os.kill(process.pid, signal.SIGKILL)
    announced = process.stdout.read().decode().split("\n")[:-1]
    process.stdout.close()
    assert process.wait() == -signal.SIGKILL
    got = read(path)
    assert got.state in ("torn", "unclosed")
    verdicts = [record.item for record in got.records if isinstance(record, Verdict)]
    assert announced == verdicts[: len(announced)]
    assert len(verdicts) - len(announced) <= 1
    assert verify(path).exit_status == 1
    repair(path, folder / "repaired.jsonl")
    assert read(folder / "repaired.jsonl").records[: len(got.records)] == got.records
    path.unlink()
    (folder / "repaired.jsonl").unlink()
    return len(announced)


@pytest.mark.parametrize("times", [8, pytest.param(200, marks=[pytest.mark.slow, pytest.mark.timeout(600)])])
def test_killed_at_random_moments(tmp_path: Path, session_json: str, times: int) -> None:
    """After kill -9 every announced verdict is in the file, every file opens, at most one was not yet announced."""
    rng = random.Random(9)
    announced = [kill_at_random(tmp_path, session_json, rng) for _ in range(times)]
    assert sum(announced) > times


LIMITED = """
import resource, signal, sys, time
import msgspec
from metercap.journal import Writer
from metercap.records import Note, SessionRecord

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
session = msgspec.json.decode(sys.argv[2], type=SessionRecord)
writer = Writer.create(sys.argv[1], session)
hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), hard))
for index in range(200):
    writer.append(Note(t_s=float(index), text="x" * (index % 70)))
assert not writer.sync()
print(writer.problem, flush=True)
sys.stdin.readline()
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
give_up = time.monotonic() + 20
while writer.problem and time.monotonic() < give_up:
    time.sleep(0.01)
assert writer.problem is None
writer.close(200.0, "done")
"""


@pytest.mark.parametrize("limit", [3000, 3001, 3050, 9000])
def test_file_size_limit(tmp_path: Path, session_json: str, limit: int) -> None:
    """At the system's own limit the file holds all that fits, the rest waits; with the limit gone it is whole."""
    path = tmp_path / "limited.jsonl"
    command = [sys.executable, "-c", LIMITED, str(path), session_json, str(limit)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        problem = process.stdout.readline()
        assert "File too large" in problem
        assert "free some space" in problem
        assert path.stat().st_size == limit
        assert read(path).state in ("torn", "unclosed")
        process.stdin.write("\n")
        process.stdin.flush()
        assert process.wait(30) == 0
    got = read(path)
    assert got.state == "closed"
    assert [record.t_s for record in got.records] == [0.0, *map(float, range(201))]
