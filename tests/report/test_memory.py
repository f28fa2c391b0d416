"""A day's trace is reported in the memory that an hour's takes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from metercap.journal import Chain
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from tests.steps.bench_play import opening

PER_S = 10.0
REPORT = """
import resource, sys
from metercap.cli import main
try:
    main(["report", *sys.argv[1:]])
except SystemExit as end:
    assert end.code == 0, end.code
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def peak_mb(folder: Path, hours: float) -> int:
    """Return the most memory, in MB, that reporting so many hours at 10 readings a second takes."""
    path, chain = folder / f"{hours:g}.jsonl", Chain()
    profile = MeterProfile(name="x", family="text", conversions_per_s=PER_S)
    with path.open("wb") as file:
        file.write(chain.line(opening((), profile)))
        for n in range(int(hours * 3600.0 * PER_S)):
            value = 2000.0 + n * n % 97
            t_s = round(n / PER_S, 6)
            file.write(chain.line(Reading(t_s, Quantity.RESISTANCE, value, 1.0, "ohm", State.OK, (), "00" * 14)))
    command = [sys.executable, "-c", REPORT, str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return int(done.stdout.split()[-1])


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="counts memory with resource")
def test_a_day_takes_no_more_than_an_hour(tmp_path: Path) -> None:
    """Twenty-four times the readings, at most 3 MB more at the peak."""
    hour, day = peak_mb(tmp_path, 1.0), peak_mb(tmp_path, 24.0)

    assert day <= hour + 3
