"""The teller: whatever becomes of its server, whoever looks never waits, and the end comes soon."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

import pytest

from metercap.plankeys import Item, SweepStep
from metercap.view import View
from metercap.web.address import Address, listen
from metercap.web.teller import Teller
from tests.steps.bench_play import Play
from tests.web.feed import page

pytest.importorskip("uvicorn")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="stops processes by signals")


def child_of(teller: Teller) -> int:
    """Wait for the server, and return its process."""
    end_s = time.monotonic() + 20
    while teller._child is None:
        assert time.monotonic() < end_s
        time.sleep(0.01)
    return teller._child.pid


def test_a_server_that_takes_nothing_holds_nobody_up(tmp_path: Path) -> None:
    """Stopped, with a pipe that is full (64 kB): looks return at once, so does the end, and the server goes."""
    items = tuple(Item(f"F{n}{'x' * 190}") for n in range(1, 901))
    view = Play(SweepStep(id="fuses", items=items, max=2.0, unit="ohm", count_check=False)).view
    sock, at = listen(Address(port=0, named=True))
    teller = Teller(sock, at)
    teller.begin()
    teller.look(view)
    child = child_of(teller)
    with page(at.port) as shown:
        shown.glances(lambda told: told["stones"]["of"] == 900, "the plan")
        os.kill(child, signal.SIGSTOP)
        looks = []
        for n in range(30):
            begun_s = time.perf_counter()
            teller.look(view if n % 2 else View())
            looks.append(time.perf_counter() - begun_s)
            time.sleep(0.04)
        assert sorted(looks)[-2] < 0.02
        begun_s = time.monotonic()
        teller.close()
        assert time.monotonic() - begun_s < 2.5
    with pytest.raises(ProcessLookupError):
        os.kill(child, 0)


def test_an_end_without_a_beginning_frees_the_port() -> None:
    sock, at = listen(Address(port=0, named=True))
    Teller(sock, at).close()
    again, _ = listen(at)
    again.close()
