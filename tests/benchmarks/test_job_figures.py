"""A job of three units and twenty sittings each: what the commands on its folder take, in time and memory.

Every figure is of a process of its own. The bounds are wide: they find what grows with the readings and should not.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.benchmarks.many_sittings import FUSES, make_sittings
from tests.e2e.program import environment

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform != "linux", reason="needs /proc")]

MEASURED = """
import sys
from metercap.cli import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    # Not ru_maxrss, which counts what the process was before its exec as well.
    lines = open("/proc/self/status").read().split("\\n")
    peak = next(line.split()[1] for line in lines if line.startswith("VmHWM"))
    print(int(peak) // 1024, end.code, file=sys.stderr)
"""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Make the job once."""
    yield make_sittings(tmp_path_factory.mktemp("figures") / "many").path


def measured(*args: str, timeout_s: float = 300.0) -> tuple[float, int, int, bytes]:
    """Run a command and return seconds, peak MB, status, and what it printed."""
    start_s = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, *args], capture_output=True, env=environment(), check=False, timeout=timeout_s
    )
    took_s = time.perf_counter() - start_s
    peak, status = done.stderr.decode().split("\n")[-2].split()
    return took_s, int(peak), 0 if status == "None" else int(status), done.stdout


@pytest.mark.timeout(540)
def test_time_and_memory(job: Path, tmp_path: Path, told: Callable[[str], None]) -> None:
    """Print them, and hold what is written against what was measured."""
    size = sum(path.stat().st_size for path in job.glob("*.jsonl")) / 1e6
    readings = sum(path.read_bytes().count(b'{"kind":"reading"') for path in job.glob("*.jsonl"))
    told(f"{len(list(job.glob('*.jsonl')))} journals, {readings} readings, {size:.0f} MB")
    csv, report = tmp_path / "verdicts.csv", tmp_path / "report.html"
    cases = {
        "job show": ("job", "show", str(job), "--json"),
        "verify": ("verify", str(job)),
        "compare": ("compare", str(job), "--json"),
        "export verdicts": ("export", str(job), "--to", str(csv)),
        "export readings": ("export", str(job), "--to", str(tmp_path / "readings.csv"), "--table", "readings"),
        "report --text": ("report", str(job), "--text"),
        "report": ("report", str(job), "--to", str(report)),
    }
    out = {}
    for name, args in cases.items():
        took_s, peak, status, out[name] = measured(*args)
        told(f"{name:<16} {took_s:6.1f} s  {peak:5d} MB  status {status}")
        assert status in (0, 1), out[name]
        assert took_s < 120.0 and peak < 400
    shown = json.loads(out["job show"])
    assert [unit["verdicts"]["pass"] for unit in shown["units"]] == [FUSES] * 3
    rows = csv.read_text("utf-8").split("\n")[1:-1]
    assert len(rows) == 3 * FUSES and all(",true," in row for row in rows)  # each where it was given, and only there
    assert (tmp_path / "readings.csv").read_bytes().count(b"\r\n") == readings + 1
