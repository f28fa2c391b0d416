"""A program whose terminal hung up does not outlive its journal, whatever it still waits for."""

from __future__ import annotations

import signal
import subprocess
import sys
import time

import pytest

CHILD = """
import signal, sys, time
from metercap.live import Inbox, Leaving, leaving, stop_signals
from metercap.records import EndRecord

leaving.LAST_S = 0.3
with stop_signals(Inbox()):
    signal.raise_signal(int(sys.argv[1]))
    Leaving(130, lambda: sys.argv[2] == "ill").see(EndRecord(1.0, "interrupted", {}, ""), b"")
time.sleep(2.0)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGHUP there")
@pytest.mark.parametrize(
    ("number", "disk", "status"),
    [(signal.SIGHUP, "well", 130), (signal.SIGHUP, "ill", 0), (signal.SIGTERM, "well", 0)],
)
def test_what_waits_after_the_end_is_waited_for_only_while_somebody_is_there(
    number: int, disk: str, status: int
) -> None:
    """It hangs for 2 s after `end`: without a terminal it is gone before, unless the disk has not got the journal."""
    start_s = time.monotonic()
    child = subprocess.run([sys.executable, "-c", CHILD, str(int(number)), disk], timeout=60, check=False)
    assert child.returncode == status
    assert (time.monotonic() - start_s > 2.0) == (status == 0)
