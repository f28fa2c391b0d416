"""Cuts a stream of bytes into frames and garbage: buffers, timing, accounts.

Every byte that goes in comes out exactly once, in order, in a reading or in garbage. What comes out depends on the
bytes and their times, not on how they were chunked. Buffers are bounded by `longest` + `JUNK_BYTES`.

*Timing.* `feed` knows when the last byte of each chunk arrived, nothing finer. A chunk may be late: the port's
driver collects bytes, the operating system schedules the reader when it can. So a frame may spread over twice its
time on the wire plus `latency_s` between the arrival of its first and of its last byte; beyond that it is garbage.
50 ms covers a USB converter's usual 16 ms collecting time and a scheduling delay on a busy machine (common
practice, no source), and is still far below the pause between two frames of a meter that converts a few times a
second, where splices come from. When session time runs N times as fast as real time, `latency_s` must be N times
as large.

*Junk* that is no frame's part is collected into pieces of up to 64 bytes, so that a wrong baud rate does not make
a record a byte; a piece is handed out when it is full, at the next frame or line, or with the first byte fed after
0.25 s.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from metercap.reading import Garbage, Reading
from metercap.records import at
from metercap.wire.fields import Codec, Fields

LATENCY_S = 0.05
"""How late bytes may reach us beyond their time on the wire, in seconds of session time."""
JUNK_BYTES = 64
JUNK_S = 0.25
HELD_BYTES = 256
"""The longest free line."""
HELD_FIXED_BYTES = 64
"""The most that is held of a line that must have a fixed length."""
CACHED_FRAMES = 4096
"""A meter repeats itself: decoding the same bytes again costs one look-up. The least recently used go first."""

Item = Reading | Garbage


class Accounts:
    """What has come in and not gone out: the frame being built, and junk. Knows bytes and times, no format."""

    def __init__(self, frame_s: Callable[[int], float], latency_s: float) -> None:
        self.pending = bytearray()
        self._marks: list[tuple[int, float]] = []
        self._frame_s = frame_s
        self._latency_s = latency_s
        self._junk = bytearray()
        self._junk_why = ""
        self._junk_since_s = 0.0
        self._offset = 0

    @property
    def clean(self) -> bool:
        """Nothing is held."""
        return not self.pending and not self._junk

    def passed(self, n: int) -> None:
        """Account for `n` bytes that became a reading without being held."""
        self._offset += n

    def hold(self, data: bytes, t_s: float) -> None:
        """Append bytes that arrived at `t_s` to the frame being built."""
        if not self._marks or self._marks[-1][1] != t_s:
            self._marks.append((len(self.pending), t_s))
        self.pending += data

    def allowed_s(self, n: int) -> float:
        """Return how far the bytes of a frame of `n` bytes may be apart, first to last arrival, in seconds."""
        return 2.0 * self._frame_s(n) + self._latency_s

    def idle_s(self, t_s: float) -> float:
        """Return how long before `t_s` the newest held byte arrived, in seconds."""
        return t_s - self._marks[-1][1] if self._marks else 0.0

    def take(self, start: int, t_s: float) -> tuple[bytes, float]:
        """Take the held bytes from `start` on as a frame; return them and how long they took to arrive."""
        first_s = max((mark for mark in self._marks if mark[0] <= start), default=(0, t_s))[1]
        frame = bytes(self.pending[start:])
        self._drop()
        return frame, t_s - first_s

    def _drop(self) -> None:
        self.pending.clear()
        self._marks.clear()

    def junk_held(self, n: int, why: str, t_s: float, out: list[Item]) -> None:
        """The first `n` held bytes belong to no frame."""
        junk = bytes(self.pending[:n])
        del self.pending[:n]
        later = [(max(0, start - n), mark_s) for start, mark_s in self._marks]
        # Of several marks that now start at 0, the last one tells when the first byte left arrived.
        self._marks = [mark for i, mark in enumerate(later) if i + 1 == len(later) or later[i + 1][0] > 0]
        if not self.pending:
            self._marks.clear()
        self.junk(junk, why, t_s, out)

    def junk(self, data: bytes, why: str, t_s: float, out: list[Item]) -> None:
        """Collect bytes that belong to no frame."""
        if self._junk and self._junk_why != why:
            self.junk_out(t_s, out)
        while data:
            if not self._junk:
                self._junk_why, self._junk_since_s = why, t_s
            room = JUNK_BYTES - len(self._junk)
            self._junk += data[:room]
            data = data[room:]
            if len(self._junk) == JUNK_BYTES:
                self.junk_out(t_s, out)

    def junk_out(self, t_s: float, out: list[Item]) -> None:
        """Hand out collected junk."""
        if self._junk:
            self.garbage(bytes(self._junk), self._junk_why, t_s, out)
            self._junk.clear()

    def junk_old(self, t_s: float) -> bool:
        """Whether junk has waited long enough."""
        return bool(self._junk) and t_s - self._junk_since_s > JUNK_S

    def garbage(self, data: bytes, why: str, t_s: float, out: list[Item]) -> None:
        """Hand out bytes as one piece of garbage, now."""
        out.append(Garbage(t_s, data.hex(), why, self._offset))
        self._offset += len(data)


class FrameDecoder:
    """Base of the decoders: one codec, one stream. Subclasses say where frames begin and end."""

    longest: int
    """The most bytes a frame can have."""

    def __init__(self, codec: Codec, byte_s: float, latency_s: float = LATENCY_S) -> None:
        self._decode = codec.decode
        self.one_good_frame = lru_cache(CACHED_FRAMES)(self._one_good_frame)
        self._accounts = Accounts(lambda n: n * byte_s, latency_s)
        self._ready = True

    def feed(self, data: bytes, t_s: float) -> list[Item]:
        """Take bytes whose last one arrived at `t_s`, seconds of session time; return what they completed, in order.

        Never raises, whatever the bytes. A reading comes out when its last byte goes in.
        """
        t_s = at(t_s)
        if self._ready and len(data) <= self.longest:
            fields = self.one_good_frame(data)
            if fields is not None:
                self._accounts.passed(len(data))
                return [Reading(t_s, *fields)]
        out: list[Item] = []
        if data:
            self._age(t_s, out)
            self._run(bytes(data), t_s, out)
            self._ready = self._accounts.clean and self._begins()
        return out

    def flush(self, t_s: float) -> list[Item]:
        """The link ended or was lost: what is still held becomes garbage; the next byte begins anew."""
        t_s = at(t_s)
        out: list[Item] = []
        self._accounts.junk_held(len(self._accounts.pending), "the link ended inside a frame", t_s, out)
        self._accounts.junk_out(t_s, out)
        self._restart()
        self._ready = self._begins()
        return out

    def _age(self, t_s: float, out: list[Item]) -> None:
        accounts = self._accounts
        if accounts.pending and accounts.idle_s(t_s) > accounts.allowed_s(self.longest):
            accounts.junk_held(len(accounts.pending), "the rest of the frame did not come", t_s, out)
            self._broke_off()
        if accounts.junk_old(t_s):
            accounts.junk_out(t_s, out)

    def _frame(self, start: int, t_s: float, out: list[Item]) -> None:
        """The held bytes from `start` on are one frame by their framing."""
        accounts = self._accounts
        if start:
            accounts.junk_held(start, "bytes before a frame", t_s, out)
        accounts.junk_out(t_s, out)
        frame, took_s = accounts.take(0, t_s)
        allowed_s = accounts.allowed_s(len(frame))
        if took_s > allowed_s:
            why = f"its bytes came over {took_s:.3f} s, a frame takes at most {allowed_s:.3f} s"
            accounts.garbage(frame, why, t_s, out)
            return
        fields = self._decode(frame)
        if isinstance(fields, str):
            accounts.garbage(frame, fields, t_s, out)
            return
        accounts.passed(len(frame))
        out.append(Reading(t_s, *fields))

    def _one_good_frame(self, data: bytes) -> Fields | None:
        """Return the fields when `data`, fed to a fresh decoder, is exactly one good frame."""
        raise NotImplementedError

    def _run(self, data: bytes, t_s: float, out: list[Item]) -> None:
        raise NotImplementedError

    def _begins(self) -> bool:
        """Whether a frame may begin with the next byte."""
        return True

    def _broke_off(self) -> None:
        """Held bytes were given up because nothing followed."""

    def _restart(self) -> None:
        """The link begins anew."""


class CountedDecoder(FrameDecoder):
    """Frames whose bytes count themselves: byte n has the high nibble n, from 1 to the frame's length.

    No byte but the first can be taken for a first one, so a frame after any damage is found at once.
    """

    def __init__(self, codec: Codec, byte_s: float, latency_s: float = LATENCY_S) -> None:
        super().__init__(codec, byte_s, latency_s)
        self.longest = codec.frame_bytes

    def _one_good_frame(self, data: bytes) -> Fields | None:
        if len(data) != self.longest or any(byte >> 4 != n for n, byte in enumerate(data, 1)):
            return None
        fields = self._decode(data)
        return None if isinstance(fields, str) else fields

    def _run(self, data: bytes, t_s: float, out: list[Item]) -> None:
        accounts, size = self._accounts, self.longest
        pending = accounts.pending
        i = 0
        while i < len(data):
            count = data[i] >> 4
            if count == 1 and not pending and (fields := self.one_good_frame(data[i : i + size])):
                accounts.junk_out(t_s, out)
                accounts.passed(size)
                out.append(Reading(t_s, *fields))
                i += size
                continue
            byte = data[i : i + 1]
            i += 1
            if count != len(pending) + 1 and pending:
                accounts.junk_held(len(pending), "a frame cut short", t_s, out)
            if count != len(pending) + 1:
                accounts.junk(byte, "no beginning of a frame", t_s, out)
                continue
            accounts.hold(byte, t_s)
            if count == size:
                self._frame(0, t_s, out)


class LineDecoder(FrameDecoder):
    """Frames that end with one byte: fixed lines and free ones.

    `size`: the length of a fixed line, or None for free lines of up to 256 bytes.
    `body`: for fixed lines whose beginning looks like any other of their bytes: all bytes that a frame may hold.
    In a line that is too long, its last `size` bytes count as a frame only if the byte before them is none of
    these; else where the frame began cannot be told (bytes may be lost, or added, in its middle), and a wrong
    reading is worse than none. `midstream`: the stream may begin inside a line. A free line without its beginning
    still looks like one ("187 kohm"), so the first is dropped.
    """

    def __init__(
        self,
        codec: Codec,
        byte_s: float,
        latency_s: float = LATENCY_S,
        *,
        end: bytes,
        size: int | None,
        body: frozenset[int] = frozenset(),
        midstream: bool = False,
    ) -> None:
        super().__init__(codec, byte_s, latency_s)
        self._held = HELD_BYTES if size is None else HELD_FIXED_BYTES
        self.longest = self._held if size is None else size
        self._end = end
        self._size = size
        self._body = body
        self._midstream = midstream and size is None
        self._skipping = ""
        self._restart()
        self._ready = self._begins()

    def _begins(self) -> bool:
        return not self._skipping

    def _restart(self) -> None:
        self._skipping = "the line's beginning was not seen" if self._midstream else ""

    def _broke_off(self) -> None:
        if self._size is None:
            self._skipping = "the line's beginning came too early"

    def _one_good_frame(self, data: bytes) -> Fields | None:
        if data.find(self._end) != len(data) - 1 or (self._size is not None and len(data) != self._size):
            return None
        fields = self._decode(data)
        return None if isinstance(fields, str) else fields

    def _run(self, data: bytes, t_s: float, out: list[Item]) -> None:
        accounts = self._accounts
        i = 0
        while i < len(data):
            end = data.find(self._end, i) + 1
            stop = end or len(data)
            if self._skipping:
                accounts.junk(data[i:stop], self._skipping, t_s, out)
                i = stop
                if end:
                    self._skipping = ""
                    accounts.junk_out(t_s, out)
                continue
            if not accounts.pending and end and stop - i <= self.longest:
                fields = self.one_good_frame(data[i:stop])
                if fields is not None:
                    accounts.junk_out(t_s, out)
                    accounts.passed(stop - i)
                    out.append(Reading(t_s, *fields))
                    i = stop
                    continue
            taken = data[i : min(stop, i + self._held - len(accounts.pending))]
            i += len(taken)
            accounts.hold(taken, t_s)
            if taken.endswith(self._end):
                self._line(t_s, out)
            elif len(accounts.pending) == self._held:
                self._overflow(t_s, out)

    def _line(self, t_s: float, out: list[Item]) -> None:
        pending, size = self._accounts.pending, self._size
        if size is None or len(pending) == size:
            self._frame(0, t_s, out)
        elif len(pending) > size and pending[-size - 1] not in self._body:
            self._frame(len(pending) - size, t_s, out)
        else:
            self._accounts.junk_out(t_s, out)
            line, _ = self._accounts.take(0, t_s)
            self._accounts.garbage(line, f"a line of {len(line)} bytes, a frame has {size}", t_s, out)

    def _overflow(self, t_s: float, out: list[Item]) -> None:
        """The line is too long. A fixed frame may still end it: keep one frame and the byte before it."""
        kept = 0 if self._size is None else self._size
        why = f"no line end within {self._held} bytes"
        self._accounts.junk_held(len(self._accounts.pending) - kept, why, t_s, out)
        if not kept:
            self._skipping = why
