"""A recorded session derived again, bit for bit, by other Python versions that this machine happens to have.

Interpreters are looked for on PATH and beside this one's installation; METERCAP_PYTHONS names more, separated as in
PATH. One that cannot import what replaying needs is passed over.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from tests.e2e.conftest import check_all
from tests.e2e.program import ROOT

FIXTURES = ROOT / "fixtures" / "sessions"
PROBE = "import sys, click, msgspec, natsort; assert sys.version_info >= (3, 11); print(*sys.version_info[:2], sep='.')"


@cache
def others() -> dict[str, str]:
    """Return the other Python versions at hand that can import the dependencies, by version."""
    names = [f"python3.{minor}" for minor in range(11, 20)]
    found = [path for name in names if (path := shutil.which(name))]
    found += [path for path in os.environ.get("METERCAP_PYTHONS", "").split(os.pathsep) if path]
    base = Path(sys.base_prefix).parent  # where several versions lie side by side
    found += [str(path) for name in names for path in sorted(base.glob(f"*/bin/{name}"))]
    mine = f"{sys.version_info[0]}.{sys.version_info[1]}"
    versions: dict[str, str] = {}
    for path in found:
        try:
            done = subprocess.run([path, "-c", PROBE], capture_output=True, text=True, timeout=20, check=False)
        except OSError:
            continue
        if done.returncode == 0 and done.stdout.strip() != mine:
            versions.setdefault(done.stdout.strip(), path)
    return versions


def test_recorded_sessions_under_another_python() -> None:
    """Every fixture session is derived again exactly, under each other version at hand."""
    sessions = sorted(FIXTURES.glob("*.jsonl"))
    assert sessions
    if not others():
        pytest.skip("no other Python version here can import the dependencies; METERCAP_PYTHONS may name some")
    for python in others().values():
        check_all(python, sessions, PYTHONHASHSEED="7")
