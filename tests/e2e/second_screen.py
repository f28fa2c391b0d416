"""The second screen of a program that runs: where it is, and which process serves it."""

from __future__ import annotations

import time
from pathlib import Path

from metercap.web.address import Address
from tests.e2e.program import Program
from tests.web.feed import address_of


def where(metercap: Program) -> Address:
    """Return the address that the program says on stderr."""
    end_s = time.monotonic() + 30
    while (found := address_of(metercap.err)) is None:
        assert time.monotonic() < end_s, metercap.err
        time.sleep(0.02)
    return found


def servers(pid: int) -> list[int]:
    """Return the processes that a process began."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text("latin-1").rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid and fields[0] != "Z":
            found.append(int(stat.parent.name))
    return found


def server(metercap: Program, *, not_one_of: list[int] | None = None) -> int:
    """Wait for the program's server, and return its process."""
    end_s = time.monotonic() + 30
    while not (found := [pid for pid in servers(metercap.pid) if pid not in (not_one_of or [])]):
        assert time.monotonic() < end_s
        time.sleep(0.02)
    assert len(found) == 1
    return found[0]
