"""Jobs by the hundred, or as many as METERCAP_JOBS says: into a data set, and its history here and on two processes.

Every figure is of a process of its own. The bounds are wide: they find what grows with the jobs and should not.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.archive.shop import Shop, job
from tests.benchmarks.test_job_figures import measured

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform != "linux", reason="needs /proc")]
distributed = pytest.importorskip("distributed")
pytest.importorskip("pyarrow")

JOBS = int(os.environ.get("METERCAP_JOBS", "300"))
SITTINGS = 10
GAINS = {"SN 1": 1.0, "SN 2": 1.02, "SN 3": 1.0}


def make(folder: Path, jobs: int) -> Path:
    """Write so many jobs, a thousand to a folder."""
    shop = Shop(gains=GAINS)
    for number in range(jobs):
        job(folder / f"{number // 1000:03d}" / f"job-{number:05d}", shop, number, SITTINGS)
    return folder


def peak_mb(pid: int) -> int:
    """Return the most memory that a process has had."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) // 1024


def in_processes(dataset: Path) -> tuple[float, int, int, bytes]:
    """Return seconds, the peak MB of the command and of the larger worker, and what it printed."""
    plain: dict[str, Any] = {"dashboard_address": ":0", "worker_dashboard_address": ":0", "silence_logs": 50}
    with (
        distributed.LocalCluster(processes=True, n_workers=2, threads_per_worker=1, **plain) as made,
        distributed.Client(made, set_as_default=False) as watching,
    ):
        pids = list(watching.run(os.getpid).values())
        took_s, own, status, out = measured(
            "history", str(dataset), "--cluster", made.scheduler_address, "--json", timeout_s=3000.0
        )
        assert status == 1
        return took_s, own, max(map(peak_mb, pids)), out


@pytest.mark.timeout(0)
def test_time_and_memory(tmp_path: Path, told: Callable[[str], None]) -> None:
    """Print them for a tenth and for all; the three histories are equal to the last digit."""
    peaks: list[list[int]] = []
    for jobs in (max(JOBS // 10, 1), JOBS):
        began_s = time.perf_counter()
        top = tmp_path / str(jobs)
        folder = make(top / "jobs", jobs)
        told(f"{jobs} jobs of {SITTINGS} sessions, made in {time.perf_counter() - began_s:.0f} s")
        dataset = f"{top}/set/"
        peaks.append([])
        histories: list[Any] = []
        for name, args in (
            ("export", ("export", str(folder), "--to", dataset)),
            ("export again", ("export", str(folder), "--to", dataset)),
            ("history of the folder", ("history", str(folder), "--anew", "--json")),
            ("history of the set", ("history", dataset, "--json")),
        ):
            took_s, peak, status, out = measured(*args, timeout_s=3000.0)
            assert status == (1 if args[0] == "history" else 0)
            told(f"  {name}: {took_s:.1f} s, {peak} MB")
            peaks[-1].append(peak)
            if args[0] == "history":
                histories.append(json.loads(out)["history"])
        took_s, own, worker, out = in_processes(Path(dataset))
        told(f"  on two processes: {took_s:.1f} s, {own} MB, each worker {worker} MB")
        peaks[-1] += [own, worker]
        histories.append(json.loads(out)["history"])
        assert histories[0] == histories[1] == histories[2]
        assert histories[0]["sessions"] == jobs * SITTINGS
        size = subprocess.run(["du", "-sm", dataset], capture_output=True, check=True).stdout.split()[0].decode()
        told(f"  the set: {size} MB")
    few, many = peaks
    assert all(after < 1.5 * before + 40 for before, after in zip(few, many, strict=True)), peaks
