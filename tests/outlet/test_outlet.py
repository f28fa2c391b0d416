"""Outputs behind a thread: what is dropped, what is never dropped, what overtakes, how it ends."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

import pytest

from metercap.outlet import MOST_DATA_BYTES, MOST_TEXT_BYTES, Outlet

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="fills a pipe")


class Pipe:
    """A pipe whose reader takes only what is asked for."""

    def __init__(self) -> None:
        self.reads, writes = os.pipe()
        self.stream: TextIO = os.fdopen(writes, "w", encoding="utf-8")
        self.outlet = Outlet(self.stream)

    def fill(self) -> None:
        """Fill the pipe itself, so that nothing can be written."""
        fd = self.stream.fileno()
        os.set_blocking(fd, False)
        with contextlib.suppress(BlockingIOError):
            while True:
                os.write(fd, b"#" * 4096)
        with contextlib.suppress(BlockingIOError):
            while True:
                os.write(fd, b"#")
        os.set_blocking(fd, True)

    def read(self) -> bytes:
        """Read all that comes, until nothing did for a while."""
        seen = b""
        os.set_blocking(self.reads, False)
        quiet_s = time.monotonic() + 0.5
        while time.monotonic() < quiet_s:
            try:
                seen += os.read(self.reads, 65536)
                quiet_s = time.monotonic() + 0.3
            except BlockingIOError:
                time.sleep(0.01)
        return seen.replace(b"#", b"")


@pytest.fixture
def pipe() -> Iterator[Pipe]:
    """A pipe with an outlet in front."""
    made = Pipe()
    yield made
    os.close(made.reads)
    with contextlib.suppress(OSError):
        made.stream.close()


def test_text_drops_its_oldest_and_says_how_many(pipe: Pipe) -> None:
    """Bounded; the newest lines come, before them one line with the count, which adds up."""
    pipe.fill()
    pipe.outlet.live()
    lines = 2 * MOST_TEXT_BYTES // 100
    start_s = time.monotonic()
    for n in range(lines):
        pipe.outlet.write(f"{n:098d}\n")
    assert time.monotonic() - start_s < 2.0
    shown = pipe.read().decode().splitlines()
    told = [line for line in shown if "not shown" in line]
    assert 1 <= len(told) <= 2  # where the machine is busy, what is written may be taken up once in the middle
    numbers = [int(line) for line in shown if "not shown" not in line]
    assert numbers[-1] == lines - 1
    assert sum(int(line.strip().split()[0].strip("(")) for line in told) == lines - len(numbers)
    assert sum(map(len, shown)) < MOST_TEXT_BYTES + 5000


def test_data_ends_where_it_is_full_and_has_no_hole(pipe: Pipe) -> None:
    """Bytes for programs: what was printed is the beginning of what was written; the writer learns that it ended."""
    told: list[int] = []
    pipe.fill()
    pipe.outlet.live(lambda: told.append(1))
    block = b"x" * 65535 + b"\n"
    written = b""
    with pytest.raises(OSError):
        for _ in range(2 + MOST_DATA_BYTES // len(block)):
            pipe.outlet.buffer.write(block)
            written += block
    assert told == [1]
    with pytest.raises(OSError):
        pipe.outlet.buffer.write(b"later\n")
    assert told == [1]


def test_a_slow_reader_gets_every_byte_of_data(pipe: Pipe) -> None:
    """Much more than text may hold, read late: all of it, in order."""
    pipe.fill()
    pipe.outlet.live()
    lines = b"".join(b"%06d\n" % n for n in range(MOST_TEXT_BYTES // 3))
    for start in range(0, len(lines), 7000):
        pipe.outlet.buffer.write(lines[start : start + 7000])
    assert pipe.read() == lines


def test_a_hazard_overtakes(pipe: Pipe) -> None:
    """What overtakes comes before what waits, save what is on its way already."""
    pipe.fill()
    pipe.outlet.live()
    for n in range(1000):
        pipe.outlet.write(f"{n:098d}\n")
    pipe.outlet.overtake("HAZARD\n")
    assert pipe.read().decode().splitlines().index("HAZARD") <= 42


def test_the_end_waits_for_a_reader_and_not_for_a_dead_one(pipe: Pipe) -> None:
    """Told to end, an outlet that does not move is given up within a second, and no later write waits."""
    pipe.outlet.live()
    pipe.outlet.write("first\n")
    pipe.outlet.settle(patient=True)
    pipe.fill()
    pipe.outlet.write("second\n")
    start_s = time.monotonic()
    pipe.outlet.settle(patient=False)
    assert 0.3 < time.monotonic() - start_s < 2.0
    pipe.outlet.write("third\n")
    pipe.outlet.flush()
    assert pipe.read() == b"first\nsecond\n"


def test_a_reader_that_went_away_is_an_error_of_the_next_write(pipe: Pipe) -> None:
    """As with a plain stream: whoever writes learns it."""
    pipe.outlet.live()
    os.close(pipe.reads)
    with pytest.raises(OSError):
        for _ in range(200):
            pipe.outlet.write("x\n")
            time.sleep(0.01)
    pipe.reads, other = os.pipe()
    os.close(other)


def test_direct_text_is_gated_utf8_whatever_the_streams_encoding(tmp_path: Path) -> None:
    """Without `live` it writes through, in UTF-8, with what drives a terminal escaped."""
    path = tmp_path / "out"
    with path.open("w", encoding="ascii") as stream:
        outlet = Outlet(stream)
        outlet.write("2 Ω \x1b[31m\udcff\n")
        outlet.flush()
    assert path.read_bytes() == "2 Ω \\x1b[31m\\udcff\n".encode()


def test_an_outlet_that_is_thrown_away_leaves_its_stream_alone(tmp_path: Path) -> None:
    """Python closes it then: neither is the stream closed by that, nor is one that was closed before flushed."""
    with (tmp_path / "out").open("w", encoding="utf-8") as stream:
        outlet, later = Outlet(stream), Outlet(stream)
        outlet.write("first\n")
        outlet.close()
        stream.write("second\n")
    later.close()
    assert (tmp_path / "out").read_text(encoding="utf-8") == "first\nsecond\n"
