"""The table of attacks itself."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = """
import pytest

pytestmark = pytest.mark.attack

def test_one(attack):
    shots = attack("shots")
    for n in range(3):
        with shots.trial():
            pass
    shots.count(10, 9)

def test_two(attack):
    with attack("shots").trial():
        raise AssertionError("hit")
"""


@pytest.mark.parametrize("workers", ["0", "2"])
def test_attacks_are_counted_and_summed(tmp_path: Path, workers: str) -> None:
    """3 + 10 + 1 were tried, 3 + 9 survived, whether in one process or in workers."""
    conftest = Path(__file__).parents[1] / "conftest.py"
    (tmp_path / "conftest.py").write_text(conftest.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "pytest.ini").write_text("[pytest]\nmarkers = attack\n", encoding="utf-8")
    (tmp_path / "test_it.py").write_text(TESTS, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-m", "attack", "-n", workers, "-p", "no:cacheprovider", str(tmp_path)]
    done = subprocess.run(
        command, capture_output=True, text=True, cwd=tmp_path, env={**os.environ, "PYTEST_ADDOPTS": ""}, check=False
    )
    assert done.returncode == 1
    assert [line.split() for line in done.stdout.splitlines() if line.startswith("shots")] == [["shots", "14", "12"]]
