"""Recorded bytes with their times."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from metercap.clock import ScaledClock, VirtualClock
from metercap.errors import LinkError
from metercap.link.address import open_link
from metercap.link.tape import END_OF_TAPE, Arrival, read_tape, tape_lines
from metercap.meter import MeterProfile
from metercap.records import LinkState

ARRIVALS = [
    Arrival(t_s=0.058333, data=bytes.fromhex("1727 3d47")),
    Arrival(t_s=0.2, data=b"\x58"),
    Arrival(t_s=4.0, state=LinkState.LOST, why="cable pulled"),
    Arrival(t_s=6.5, state=LinkState.UP),
    Arrival(t_s=123456.789012, data=b"\x00"),
]


@pytest.fixture
def tape(tmp_path: Path) -> Path:
    path = tmp_path / "a.tape"
    path.write_text("".join(tape_lines(ARRIVALS)))
    return path


def test_reads_back_what_was_written(tape: Path) -> None:
    """A tape holds every byte, time and change, to the microsecond."""
    assert list(read_tape(tape)) == ARRIVALS


def test_remarks_and_empty_lines_are_passed_over(tmp_path: Path) -> None:
    """A person may write into a tape."""
    path = tmp_path / "b.tape"
    path.write_text("metercap tape 1\n# a fuse\n\n0.5 17\n")
    assert list(read_tape(path)) == [Arrival(t_s=0.5, data=b"\x17")]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "does not begin with"),
        ("metercap tape\n", "does not begin with"),
        ("metercap tape x\n", "does not begin with"),
        ("metercap tape 2\n", "newer"),
        ("metercap tape 1\nsoon 17\n", "line 2"),
        ("metercap tape 1\nnan 17\n", "line 2"),
        ("metercap tape 1\n-1 17\n", "line 2"),
        ("metercap tape 1\n1\n", "neither bytes"),
        ("metercap tape 1\n1 1g\n", "neither bytes"),
        ("metercap tape 1\n2 17\n1 17\n", "line 3: time runs back"),
        ("metercap tape 1\n1 " + "17 " * 40_000 + "\n", "too long"),
    ],
)
def test_what_is_no_tape_is_refused_with_its_place(tmp_path: Path, text: str, said: str) -> None:
    """A broken tape is a LinkError before anything is played."""
    path = tmp_path / "c.tape"
    path.write_text(text)
    with pytest.raises(LinkError, match=said):
        open_link(f"tape:{path}", MeterProfile(name="x", family="lcd14"))


def test_a_tape_that_is_not_there_or_not_text(tmp_path: Path) -> None:
    """Neither a missing file nor a binary one gives anything but a LinkError."""
    with pytest.raises(LinkError, match="cannot be read"):
        open_link(f"tape:{tmp_path / 'none'}", MeterProfile(name="x", family="lcd14"))
    (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(LinkError, match="not text"):
        open_link(f"tape:{tmp_path / 'binary'}", MeterProfile(name="x", family="lcd14"))


@pytest.mark.usefixtures("threads_end")
def test_plays_at_its_own_times_whatever_the_clock(tape: Path, sink: Any) -> None:
    """Unpaced, every arrival carries the tape's time, and the end of the tape is the link's end."""
    source = open_link(f"tape:{tape}", MeterProfile(name="x", family="lcd14"))
    source.start(sink, VirtualClock())
    sink.until(lambda s: END_OF_TAPE in s.whys, "end of tape")
    source.stop()
    assert [item[2] for item in sink.items if item[0] == "bytes"] == [0.058333, 0.2, 123456.789012]
    assert sink.states == [LinkState.UP, LinkState.LOST, LinkState.UP, LinkState.LOST]
    assert sink.data == bytes.fromhex("17273d475800")


@pytest.mark.usefixtures("threads_end")
def test_is_paced_by_session_time_and_stops_at_once(tape: Path, sink: Any) -> None:
    """At real pace the far arrival is not there yet, and stopping does not wait for it."""
    clock = ScaledClock(speed=20.0)
    source = open_link(f"tape:{tape}", MeterProfile(name="x", family="lcd14"))
    source.start(sink, clock)
    sink.until(lambda s: s.states[-1:] == [LinkState.UP] and len(s.states) == 3, "second up")
    assert clock.now_s() >= 6.5
    source.stop()
    assert sink.data == bytes.fromhex("17273d4758")
