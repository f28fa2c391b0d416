"""Keeps the books of one stream: what came in and has not gone out, when it came, where it stands.

*Timing.* A decoder knows when the last byte of each chunk arrived, nothing finer. A chunk may be late: the port's
driver collects bytes, the operating system schedules the reader when it can. So a frame may spread over twice its
time on the wire plus `latency_s` between the arrival of its first and of its last byte; beyond that it is garbage.
50 ms covers a USB converter's usual 16 ms collecting time and a scheduling delay on a busy machine (common
practice, no source), and is still below the pause between two frames of a meter that sends ten a second, where
splices come from. When session time runs N times as fast as real time, `latency_s` must be N times as large.

*Junk* that is no frame's part is collected into pieces of up to 64 bytes, so that a wrong baud rate does not make
a record a byte; a piece is handed out when it is full, at the next frame or line, or with the first byte fed after
0.25 s.
"""

from __future__ import annotations

from metercap.reading import Garbage, Reading

LATENCY_S = 0.05
"""How late bytes may reach us beyond their time on the wire, in seconds of session time."""
JUNK_BYTES = 64
JUNK_S = 0.25

Item = Reading | Garbage


class Accounts:
    """What has come in and not gone out: the frame being built, and junk. Knows bytes and times, no format."""

    def __init__(self, byte_s: float, latency_s: float) -> None:
        self.pending = bytearray()
        self._marks: list[tuple[int, float]] = []
        self._byte_s = byte_s
        self._latency_s = latency_s
        self._junk = bytearray()
        self._junk_why = ""
        self._junk_since_s = 0.0
        self._offset = 0

    @property
    def held(self) -> int:
        """How many bytes are held."""
        return len(self.pending) + len(self._junk)

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
        return 2.0 * n * self._byte_s + self._latency_s

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
