"""A flood of garbage becomes a record a second: what is alike is counted, and no byte goes unaccounted.

A meter that sends nothing but line ends, a port that floats, a wrong baud rate give thousands of pieces a second, each
a record many times as long as its bytes. The first few of a second are records of their own, as everything is in
ordinary times; the rest of that second becomes one record, which tells the first piece, how many there were, and how
many bytes.
Pure: time is the pieces' own.
"""

from __future__ import annotations

import msgspec

from metercap.reading import Garbage

FREE = 10
"""Pieces a second that are records of their own."""
WINDOW_S = 1.0
MIXED = ", and other kinds"


class Heap:
    """Takes pieces of garbage, gives back what to record now; `deadline_s` is when what it holds must out."""

    def __init__(self) -> None:
        self.deadline_s: float | None = None
        self._since_s = float("-inf")
        self._passed = 0
        self._first: Garbage | None = None
        self._last_s = 0.0
        self._count = 0
        self._size = 0
        self._mixed = False

    def take(self, piece: Garbage) -> Garbage | None:
        """Take one piece; return it where it is a record of its own."""
        if self._first is None:
            if piece.t_s - self._since_s >= WINDOW_S:
                self._since_s, self._passed = piece.t_s, 0
            if self._passed < FREE:
                self._passed += 1
                return piece
            self._first, self._count, self._size, self._mixed = piece, 0, 0, False
            self.deadline_s = self._since_s + WINDOW_S
        self._count += 1
        self._size += piece.bytes
        self._last_s = piece.t_s
        self._mixed = self._mixed or piece.why != self._first.why
        return None

    def out(self) -> Garbage | None:
        """Return the record of all that is held, stamped with its last piece, or None."""
        first, self._first, self.deadline_s = self._first, None, None
        if first is None or self._count == 1:
            return first
        why = first.why + (MIXED if self._mixed else "")
        return msgspec.structs.replace(first, t_s=self._last_s, why=why, count=self._count, size=self._size)
