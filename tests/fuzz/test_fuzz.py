"""Whatever comes in, as far as a coverage-guided fuzzer gets.

The quick test feeds every kept seed, and small damages of it, to its target. The fuzzer itself runs with `-m fuzz`,
METERCAP_FUZZ_S seconds a target (default 20); what it finds becomes an ordinary test beside the code where the fault
was, and a seed here.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz.targets import TARGETS

SEEDS = Path(__file__).parent / "seeds"
SECONDS = os.environ.get("METERCAP_FUZZ_S", "20")


def seeds(target: str) -> list[Path]:
    """Return the kept inputs of a target."""
    return sorted((SEEDS / target).iterdir())


@pytest.mark.parametrize("target", TARGETS)
def test_seeds_and_their_damages(target: str) -> None:
    """Each seed as it is, cut at up to fourteen places, and with a byte changed, doubled and left out at each."""
    for seed in seeds(target):
        data = seed.read_bytes()
        TARGETS[target](data)
        step = max(1, len(data) // 14)
        for n in range(0, len(data), step):
            for damaged in (
                data[:n],
                data[:n] + bytes([data[n] ^ 0x11]) + data[n + 1 :],
                data[:n] + data[n : n + 1] * 2 + data[n + 1 :],
                data[:n] + data[n + 1 :],
            ):
                TARGETS[target](damaged)


@pytest.mark.slow
@pytest.mark.fuzz
@pytest.mark.timeout(0)
@pytest.mark.parametrize("target", TARGETS)
def test_fuzzing_finds_nothing(target: str, tmp_path: Path) -> None:
    """The fuzzer, for its time, from the seeds on."""
    pytest.importorskip("atheris")
    words = [sys.executable, "-m", "tests.fuzz.run", target, SECONDS, str(tmp_path), str(SEEDS / target)]
    ended = subprocess.run(words, capture_output=True, text=True)
    executed = re.search(r"stat::number_of_executed_units:\s*(\d+)", ended.stderr)
    sys.stdout.write(f"{target}: {executed[1] if executed else '?'} executions in {SECONDS} s\n")
    assert ended.returncode == 0, ended.stderr[-4000:]
    assert executed and int(executed[1]) > 0
