"""Figures of the screen, in a pseudo-terminal: share of a core at ten readings a second, record to painted, memory.

Slow, and only honest on a machine with a core to spare: run with `-m slow -k figures -s` to see the numbers.
"""

from __future__ import annotations

import fcntl
import itertools
import os
import select
import struct
import subprocess
import sys
import termios
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from metercap.view.fold import after
from tests.screen.greenhouse import fold, ohms, sweep_to

HERE = Path(__file__).parent
READINGS = 150


def measure(columns: int, rows: int, scene: str, tmp_path: Path) -> tuple[float, float, float]:
    """Percent of one core, median and 99th percentile of record to last byte at the terminal, in milliseconds."""
    notes = tmp_path / "notes"
    master, slave = os.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    env = os.environ | {"TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONPATH": str(HERE.parent.parent)}
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.screen.figures_child", str(notes), scene, str(READINGS)],
        stdin=slave, stdout=slave, stderr=slave, env=env, start_new_session=True,
    )  # fmt: skip
    os.close(slave)
    arrived: list[float] = []
    while select.select([master], [], [], 5)[0]:
        try:
            if not os.read(master, 65536):
                break
        except OSError:
            break
        arrived.append(time.monotonic())
    process.wait(20)
    os.close(master)
    *seen, share = (float(line) for line in notes.read_text().splitlines())
    latencies = []
    for begun, ended in itertools.pairwise(seen):
        mine = [at for at in arrived if begun < at < ended]
        if mine:
            latencies.append(mine[-1] - begun)
    latencies.sort()
    assert len(latencies) > READINGS * 0.6
    return share, 1e3 * latencies[len(latencies) // 2], 1e3 * latencies[int(0.99 * len(latencies)) - 1]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
@pytest.mark.parametrize("columns,rows", [(80, 24), (120, 40), (200, 60)])
@pytest.mark.parametrize("scene", ["watch", "tune"])
def test_cpu_and_latency(columns: int, rows: int, scene: str, tmp_path: Path) -> None:
    """At most 10 % of one core at ten readings a second, and 60 ms from a record to its paint (99 of 100)."""
    share, median_ms, p99_ms = measure(columns, rows, scene, tmp_path)
    figures = f"{share:.1f} % of a core, median {median_ms:.1f} ms, p99 {p99_ms:.1f} ms"
    sys.stderr.write(f"\n{scene} {columns}x{rows}: {figures}\n")
    assert share <= 10.0
    assert p99_ms <= 60.0


def test_memory_is_flat() -> None:
    """Fifty thousand readings leave the state no larger than five thousand did."""
    state = fold(sweep_to(3))

    def feed(state: Any, count: int) -> Any:
        for at in range(count):
            state = after(state, ohms(100 + at / 10, 0.3 + at % 7 / 100))
        return state

    tracemalloc.start()
    try:
        state = feed(state, 5_000)
        before, _ = tracemalloc.get_traced_memory()
        state = feed(state, 50_000)
        later, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert later - before < 100_000
