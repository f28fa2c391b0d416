"""A program whose terminal hung up does not outlive its journal, whatever it still waits for."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CHILD = """
import signal, sys, time
from metercap.live import Inbox, Leaving, leaving, stop_signals
from metercap.records import EndRecord
from tests.live.live_rig import session_record

leaving.LAST_S = leaving.LOOK_S = 0.3
with stop_signals(Inbox()):
    one = Leaving(130, lambda: sys.argv[2] == "ill")
    if sys.argv[3] == "after":
        one.see(EndRecord(1.0, "done", {}, ""), b"")
    signal.raise_signal(int(sys.argv[1]))
    if sys.argv[3] != "after":
        one.see(EndRecord(1.0, "interrupted", {}, ""), b"")
    if sys.argv[3] == "parked":
        one.see(session_record(None), b"")
    if sys.argv[3] == "closed":
        one.close()
time.sleep(2.0)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGHUP there")
@pytest.mark.parametrize(
    ("number", "disk", "when", "status"),
    [
        (signal.SIGHUP, "well", "before", 130),
        (signal.SIGHUP, "ill", "before", 0),
        (signal.SIGTERM, "well", "before", 0),
        (signal.SIGHUP, "well", "after", 130),
        (signal.SIGHUP, "well", "parked", 0),
        (signal.SIGTERM, "well", "closed", 0),
        (signal.SIGHUP, "well", "closed", 130),
    ],
)
def test_what_waits_after_the_end_is_waited_for_only_while_somebody_is_there(
    number: int, disk: str, when: str, status: int
) -> None:
    """It hangs for 2 s after `end`: without a terminal it is gone before, unless the disk has not got the journal, or
    the next session has begun. The terminal may hang up before the journal is closed or after."""
    start_s = time.monotonic()
    command = [sys.executable, "-c", CHILD, str(int(number)), disk, when]
    child = subprocess.run(command, timeout=60, check=False, cwd=ROOT)
    assert child.returncode == status
    assert (time.monotonic() - start_s > 2.0) == (status == 0)
