"""What is asked waits for its answer, and what cannot be meant is refused in words."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import time

import pytest

from tests.e2e.program import environment, run

pytestmark = [pytest.mark.attack, pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")]

FULL = """
import sys
from pathlib import Path
from metercap.commands import _live
_live.ROOM_S = 2.0

class Full:
    path, moved, tries = Path("/nowhere/a.jsonl"), "", 0
    def save_copy(self, copy):
        from metercap.errors import JournalError
        raise JournalError("no room")
    def abandon(self):
        pass
    def sync(self):
        self.tries += 1
        return True
    @property
    def problem(self):
        return None if self.tries >= 2 else "the disk is full"

full = Full()
_live.rescue(full)
print("tries", full.tries, flush=True)
"""


def test_press_enter_waits_for_enter() -> None:
    """On a terminal nothing typed before counts, each enter is one try, and success is said."""
    master, slave = pty.openpty()
    os.write(master, b"\n\n\n")
    process = subprocess.Popen([sys.executable, "-c", FULL], stdin=slave, stdout=slave, stderr=slave, env=environment())
    seen = b""

    def read(until: bytes, times: int, wait_s: float) -> None:
        nonlocal seen
        end_s = time.monotonic() + wait_s
        while seen.count(until) < times and (left_s := end_s - time.monotonic()) > 0:
            if select.select([master], [], [], left_s)[0]:
                seen += os.read(master, 4096)

    try:
        read(b"then press enter", 1, 20.0)
        read(b"tries", 1, 1.5)
        assert b"tries" not in seen, "it did not wait"
        os.write(master, b"\n")
        read(b"then press enter", 2, 20.0)
        assert seen.count(b"then press enter") == 2
        os.write(master, b"\n")
        read(b"tries 2", 1, 20.0)
        assert b"the journal is whole" in seen
        assert b"tries 2" in seen
    finally:
        process.kill()
        process.wait()
        os.close(master)
        os.close(slave)


def test_without_a_terminal_nobody_is_asked_to_press() -> None:
    """It is tried again by itself, and no key is spoken of."""
    done = subprocess.run(
        [sys.executable, "-c", FULL], stdin=subprocess.DEVNULL, capture_output=True, env=environment(), check=True
    )
    assert b"enter" not in done.stderr
    assert b"tried again" in done.stderr
    assert b"tries 2" in done.stdout


@pytest.mark.parametrize("unit", ["", "  "])
@pytest.mark.parametrize(
    "command", [("run", "x.toml"), ("record",), ("sweep", "F1", "--max", "2 ohm", "--loose")], ids=lambda one: one[0]
)
def test_an_empty_unit_is_refused(command: tuple[str, ...], unit: str) -> None:
    """Status 2, before any port is opened, with what to do."""
    ended = run(*command, "--unit", unit)
    assert ended.status == 2
    assert "names no unit" in ended.err
    assert "leave --unit out" in ended.err
