"""A plan of twelve fuses and its marking, served by the real program."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from metercap.web.address import Address

ROOT = Path(__file__).parents[2]
BACK = ROOT / "profiles" / "plans" / "greenhouse-back.png"
FUSES = """\
# The back of the board.
[plan]
title = "GC-8, fuses"
supply = "none"

[[step]]
id = "fuses"  # twelve
kind = "sweep"
items = "F1..F12"
max = "2 ohm"
# the end
"""


class Program:
    """`metercap plan mark` as it is run by hand, without a browser of its own."""

    def __init__(self, plan: Path, command: list[str] | None = None, said: str = "", port: int = 0) -> None:
        self._process = subprocess.Popen(
            command or self.command(plan, port),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self._process.stdin is not None
        self._process.stdin.write(said)
        self._process.stdin.close()
        self._process.stdin = None
        self._said: str | None = None
        self.pid = self._process.pid
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/", line)
        if found is None:
            raise AssertionError(line + self._process.communicate(timeout=20)[1])
        self.at = Address(port=int(found[1]))
        self.url = found[0]

    @staticmethod
    def command(plan: Path, port: int = 0) -> list[str]:
        """What is typed."""
        at = ["--no-open", "--host", f"127.0.0.1:{port}"]
        return [sys.executable, "-m", "metercap", "plan", "mark", str(plan), *at]

    def end(self, number: int = signal.SIGINT) -> tuple[int, str]:
        """Send a signal, where it still runs, and return its exit status and what it said on stderr."""
        if self._process.poll() is None and number:
            os.kill(self._process.pid, number)
        if self._said is None:
            self._said = self._process.communicate(timeout=20)[1]
        said = self._said
        return self._process.returncode, said


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """A plan of twelve fuses in a folder of its own."""
    pytest.importorskip("uvicorn", reason="without the extra web")
    pytest.importorskip("PIL", reason="without the extra pictures")
    path = tmp_path / "bench" / "gc8.toml"
    path.parent.mkdir()
    path.write_text(FUSES, encoding="utf-8")
    return path


@pytest.fixture
def program() -> Iterator[Callable[..., Program]]:
    """Start the program on a plan; ended at the end."""
    started: list[Program] = []

    def start(path: Path, port: int = 0) -> Program:
        started.append(Program(path, port=port))
        return started[-1]

    yield start
    for each in started:
        each.end(signal.SIGKILL)
