"""Cuts a stream of bytes into frames and garbage.

Every byte that goes in comes out exactly once, in order, in a reading or in garbage. What comes out depends on the
bytes and their times, not on how they were chunked. At most `HELD_BYTES` + `JUNK_BYTES` are held.
"""

from __future__ import annotations

import re
from functools import lru_cache

from metercap.reading import Reading
from metercap.records import at
from metercap.wire.accounts import LATENCY_S, Accounts, Item
from metercap.wire.fields import Codec, Fields

BLANK = b" \t\r\n"
EMPTY = "an empty line"
HELD_BYTES = 256
"""The longest free line."""
HELD_FIXED_BYTES = 64
"""The most that is held of a line that must have a fixed length."""
CACHED_FRAMES = 4096
"""A meter repeats itself: decoding the same bytes again costs one look-up. The least recently used go first."""


class FrameDecoder:
    """Base of the decoders: one codec, one stream. Subclasses say where frames begin and end."""

    longest: int
    """The most bytes a frame can have."""

    def __init__(self, codec: Codec, byte_s: float, latency_s: float = LATENCY_S) -> None:
        self._decode = codec.decode
        self.one_good_frame = lru_cache(CACHED_FRAMES)(self._one_good_frame)
        self._accounts = Accounts(byte_s, latency_s)
        self._ready = True

    @property
    def held(self) -> int:
        """How many bytes have come in and not gone out."""
        return self._accounts.held

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
            self._ready = not self.held and self._begins()
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

    No byte but the first can be taken for a first one, so a frame after any damage is found at once. Two different
    first bytes in a row are both dropped.
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
            if count == 1 == len(pending) and byte != pending:
                # One of the two is a stray byte, and nobody can tell which: it could carry AC for DC.
                accounts.junk_held(1, "two beginnings of a frame", t_s, out)
                accounts.junk(byte, "two beginnings of a frame", t_s, out)
                continue
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

    In a fixed line that is too long the last `size` bytes may be a frame behind something else, or bytes were lost
    or added inside. They count as a frame unless another byte than the one before them could be the stray one and leave
    another frame. `body` is for frames whose first byte looks like any other: the bytes they are made of; there,
    the byte before must be none of these. A frame lost is better than a wrong reading.

    Lines of nothing but blanks are junk, collected like any other: a stream of line ends costs no record each.

    `midstream`: the stream may begin inside a line. A free line without its beginning still looks like one ("187
    kohm"), so the first is dropped.
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
        blanks = re.escape(BLANK.replace(end, b""))
        self._empty_lines = re.compile(rb"(?:[%b]{0,%d}%b)+" % (blanks, self.longest - 2, re.escape(end)))
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
            if not accounts.pending and (empty := self._empty_lines.match(data, i)):
                accounts.junk(empty[0], EMPTY, t_s, out)
                i = empty.end()
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
        if len(pending) < self.longest and not pending.strip(BLANK):
            self._accounts.junk_held(len(pending), EMPTY, t_s, out)
        elif size is None or len(pending) == size:
            self._frame(0, t_s, out)
        elif len(pending) > size and self._begins_clearly(bytes(pending[-size - 1 :])):
            self._frame(len(pending) - size, t_s, out)
        else:
            self._accounts.junk_out(t_s, out)
            line, _ = self._accounts.take(0, t_s)
            self._accounts.garbage(line, f"a line of {len(line)} bytes, a frame has {size}", t_s, out)

    def _begins_clearly(self, tail: bytes) -> bool:
        """Whether the first byte of `tail` is stray, and no other can be."""
        frame = tail[1:]
        others = (tail[:n] + tail[n + 1 :] for n in range(1, len(tail)))
        return tail[0] not in self._body and all(
            other == frame or isinstance(self._decode(other), str) for other in others
        )

    def _overflow(self, t_s: float, out: list[Item]) -> None:
        """The line is too long. A fixed frame may still end it: keep one frame and the byte before it."""
        kept = 0 if self._size is None else self._size
        why = f"no line end within {self._held} bytes"
        self._accounts.junk_held(len(self._accounts.pending) - kept, why, t_s, out)
        if not kept:
            self._skipping = why
