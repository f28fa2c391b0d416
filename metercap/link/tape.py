"""Recorded bytes with their times, played as a meter: `tape:FILE`.

    metercap tape 1
    # a fuse, 0.3 ohm, lcd14
    0.058333 17 27 3d 47
    0.116667 58
    4 lost cable pulled
    6.5 up

One line is one arrival: session time of its last byte in seconds, then the bytes in hex. `lost WHY` and `up` in place
of bytes change the link. Times never run back. What follows `#` at a line's start is a remark. A tape is played at its
own times: arrivals carry the tape's time, not the moment the thread got round to them, so a tape gives the same session
every time.
"""

from __future__ import annotations

import contextlib
import io
import threading
from collections.abc import Iterable, Iterator
from pathlib import Path

import msgspec

from metercap.clock import SessionClock
from metercap.errors import LinkError
from metercap.files import open_file
from metercap.link.source import Sink
from metercap.quantity import Quantity
from metercap.records import LinkState, at

VERSION = 1
_HEAD = "metercap tape"
_MOST_LINE = 65_536
END_OF_TAPE = "the tape is at its end"
STOP_S = 1.5


class Arrival(msgspec.Struct, frozen=True):
    """What happened on the link at `t_s`: bytes, or (when `state` is set) a change with its reason."""

    t_s: float
    data: bytes = b""
    state: LinkState | None = None
    why: str = ""


def read_tape(path: Path) -> Iterator[Arrival]:
    """Yield a tape's arrivals in order. LinkError, naming the line, for anything that is no tape."""
    try:
        with open_file(path) as raw, io.TextIOWrapper(raw, encoding="utf-8", errors="strict") as file:
            last_s = 0.0
            number = 0
            while line := file.readline(_MOST_LINE):
                number += 1
                if number == 1:
                    _check_head(line, path)
                elif line.strip() and not line.startswith("#"):
                    arrival = _arrival(line, f"{path}, line {number}")
                    if arrival.t_s < last_s:
                        raise LinkError("time runs back", where=f"{path}, line {number}")
                    last_s = arrival.t_s
                    yield arrival
            if number == 0:
                _check_head("", path)
    except OSError as error:
        raise LinkError(f"the tape cannot be read: {error.strerror}", where=str(path)) from error
    except UnicodeDecodeError as error:
        raise LinkError("this is no tape: it is not text", where=str(path)) from error


def tape_lines(arrivals: Iterable[Arrival]) -> Iterator[str]:
    """Yield the lines of a tape, newline included, that `read_tape` reads back as `arrivals`."""
    yield f"{_HEAD} {VERSION}\n"
    for arrival in arrivals:
        what = arrival.data.hex(" ") if arrival.state is None else f"{arrival.state} {arrival.why}".strip()
        yield f"{at(arrival.t_s):.6f} {what}\n"


def _check_head(line: str, path: Path) -> None:
    words = line.split()
    if " ".join(words[:2]) != _HEAD or len(words) != 3 or not words[2].isdecimal():
        raise LinkError(f"this is no tape: it does not begin with '{_HEAD} {VERSION}'", where=str(path))
    if int(words[2]) > VERSION:
        raise LinkError(
            f"tape version {words[2]} is newer than this program's {VERSION}", where=str(path), hint="a newer metercap"
        )


def _arrival(line: str, where: str) -> Arrival:
    if not line.endswith("\n") and len(line) >= _MOST_LINE:
        raise LinkError("the line is too long for a tape", where=where)
    time_text, _, rest = line.strip().partition(" ")
    try:
        t_s = float(time_text)
    except ValueError:
        raise LinkError(f"not a time in seconds: {time_text!r}", where=where) from None
    if not 0 <= t_s < 1e9:
        raise LinkError(f"not a time of a session: {time_text!r}", where=where)
    word, _, why = rest.strip().partition(" ")
    if word in (LinkState.LOST, LinkState.UP):
        return Arrival(t_s=at(t_s), state=LinkState(word), why=why.strip())
    try:
        data = bytes.fromhex(rest)
    except ValueError:
        data = b""
    if not data:
        raise LinkError(f"neither bytes in hex nor lost nor up: {rest[:40]!r}", where=where)
    return Arrival(t_s=at(t_s), data=data)


class TapeSource:
    """Plays a tape. The whole tape is checked at once, so a bad line is a LinkError before the session begins."""

    identity = ""

    def __init__(self, path: Path) -> None:
        self.path = path
        for _ in read_tape(path):
            pass
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, sink: Sink, clock: SessionClock) -> None:
        """Begin to play; the tape's 0 is now."""
        self._thread = threading.Thread(target=self._run, args=(sink, clock), name=f"tape {self.path}", daemon=True)
        self._thread.start()

    def want(self, quantity: Quantity | None, range_si: float | None) -> None:
        """What is recorded cannot be told anything."""

    def stop(self) -> None:
        """Stop playing."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(STOP_S)

    def _run(self, sink: Sink, clock: SessionClock) -> None:
        with contextlib.ExitStack() as stack:
            stack.callback(self._stop.set)
            try:
                self._play(sink, clock)
            except Exception as error:
                sink.put_fault(error)

    def _play(self, sink: Sink, clock: SessionClock) -> None:
        from_s = end_s = clock.now_s()
        sink.put_link(LinkState.UP, f"tape {self.path}", from_s)
        for arrival in read_tape(self.path):
            end_s = from_s + arrival.t_s
            if self._stop.wait(clock.wait_s(end_s)):
                return
            if arrival.state is None:
                sink.put_bytes(arrival.data, end_s)
            else:
                sink.put_link(arrival.state, arrival.why, end_s)
        sink.put_link(LinkState.LOST, END_OF_TAPE, end_s)
