"""Makes this room's helpers importable, and replays every journal its tests make."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.e2e.program import environment

CHECK_ALL = """
import sys
from metercap.cli import main
for path in sys.argv[1:]:
    try:
        main(["replay", path, "--check"])
    except SystemExit as end:
        if end.code:
            print(f"status {end.code} for {path}", file=sys.stderr)
            raise
"""


def check_all(python: str, journals: list[Path], **env: str) -> None:
    """Run `metercap replay --check` on each journal in one process, and fail on the first that differs."""
    command = [python, "-c", CHECK_ALL, *map(str, journals)]
    done = subprocess.run(command, capture_output=True, text=True, env=environment(**env), check=False, timeout=300)
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
    assert done.stdout.count("derived again exactly") == len(journals), done.stdout


@pytest.fixture(scope="session")
def journals() -> Iterator[list[Path]]:
    """Collects journals; at the end each is derived again exactly, under two hash seeds."""
    made: list[Path] = []
    yield made
    if made:
        for seed in ("1", "20011"):
            check_all(sys.executable, made, PYTHONHASHSEED=seed)
