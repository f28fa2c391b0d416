"""Floods from the meter's side: words and signals overtake, the file stays small, no byte is lost from the books."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.e2e.program import of_kind, plan_file, program, run, sweep
from tests.thirds import crossed

pytestmark = [pytest.mark.attack, pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")]

ANSWERED_S = 3.0
"""Measured: under 0.2 s on two busy cores."""


class Tap:
    """A pseudo-terminal that pours bytes at a rate until it is turned off; `sent` counts them."""

    def __init__(self, what: bytes, per_s: float) -> None:
        self.sent = 0
        self.off = threading.Event()
        self._what, self._per_s = what, per_s
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._thread = threading.Thread(target=self._pour, daemon=True)
        self._thread.start()

    def _pour(self) -> None:
        start_s = time.monotonic()
        block = self._what * max(1, int(self._per_s * 0.01) // len(self._what))
        while not self.off.is_set():
            if self.sent < self._per_s * (time.monotonic() - start_s):
                self.send(block)
            else:
                time.sleep(0.002)

    def send(self, data: bytes) -> None:
        """Send all of it, as fast as it is taken."""
        while data and not self.off.is_set():
            with contextlib.suppress(BlockingIOError):
                taken = os.write(self._master, data)
                self.sent += taken
                data = data[taken:]

    def end(self) -> None:
        """Turn it off."""
        self.off.set()
        self._thread.join()

    def close(self) -> None:
        """Give the terminal back."""
        self.end()
        os.close(self._master)
        os.close(self._slave)


@pytest.fixture
def tap() -> Iterator[Callable[[bytes, float], Tap]]:
    """Open taps, closed at the end."""
    made: list[Tap] = []

    def open_one(what: bytes, per_s: float) -> Tap:
        made.append(Tap(what, per_s))
        return made[-1]

    yield open_one
    for one in made:
        one.close()


FLOODS = {
    "text LF": ("text", b"\n"),
    "digits14 CRLF": ("digits14", b"\r\n"),
    "lcd14 LF": ("lcd14", b"\n"),
    "every byte": ("text", bytes(range(256))),
    "NUL": ("polled-line", b"\0"),
}


@pytest.mark.parametrize(("of", "per_s"), crossed(FLOODS, [1e6, 11_500.0], 2))
def test_a_flood_is_outrun(
    tmp_path: Path,
    tap: Callable[[bytes, float], Tap],
    of: str,
    per_s: float,
    attack: Callable[[str], Any],
) -> None:
    """A word and a signal are answered at once, the file stays under 10 kB a second and derives again."""
    out = tmp_path / "session.jsonl"
    family, what = FLOODS[of]
    flood = tap(what, per_s)
    plan = plan_file(tmp_path, sweep('"F1..F2"'))
    arguments = ["run", str(plan), "--port", flood.path, "--meter", family, "--unit", "B", "--out", str(out)]
    with attack("floods").trial(), program(*arguments) as metercap:
        metercap.until(lambda records: of_kind(records, "garbage"), "garbage")
        start_s = time.monotonic()
        time.sleep(0.7)
        said_s = time.monotonic()
        metercap.say("note hello")
        metercap.until(lambda records: of_kind(records, "operator"), "word")
        assert time.monotonic() - said_s < ANSWERED_S
        stopped_s = time.monotonic()
        metercap.signal(signal.SIGINT)
        assert metercap.wait().status == 130
        assert time.monotonic() - stopped_s < ANSWERED_S
        size = out.stat().st_size - len(out.read_bytes().splitlines()[0])
        assert size < 10_000 * (time.monotonic() - start_s + 1)
    assert run("replay", str(out), "--check").status == 0


def test_every_byte_of_a_flood_is_in_the_books(
    tmp_path: Path, tap: Callable[[bytes, float], Tap], attack: Callable[[str], Any]
) -> None:
    """What came before the flood's end is in readings and garbage, by count, to the byte."""
    out = tmp_path / "session.jsonl"
    flood = tap(b"#", 0.0)
    plan = plan_file(tmp_path, sweep('"F1..F2"'))
    arguments = ["run", str(plan), "--port", flood.path, "--meter", "text", "--unit", "B", "--out", str(out)]
    with attack("floods").trial(), program(*arguments) as metercap:
        metercap.until(lambda records: of_kind(records, "prompt"), "prompt")
        time.sleep(0.3)  # the port is open once the first prompt is out, or a moment later
        for block in (b"\n" * 200_000, b"OL ohm\n", b"x\n" * 100_000, bytes(range(128)) * 1000, b"\n0.2 ohm\n"):
            flood.send(block)
        metercap.until(lambda records: len(of_kind(records, "reading")) == 2, "reading after the flood")
        metercap.say("quit")
        metercap.wait()
    records = [json.loads(line) for line in out.read_bytes().splitlines()]
    booked = sum(len(record["raw"]) // 2 for record in of_kind(records, "reading"))
    booked += sum(record.get("size", len(record["raw"]) // 2) for record in of_kind(records, "garbage"))
    assert booked == flood.sent
    assert len(of_kind(records, "garbage")) < 200
