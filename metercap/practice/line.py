"""The way that frames take from the meter to the computer: cable, adapter, radio.

A frame leaves the meter at the pace of its wire, and may be late: by chance, because several are handed over together,
or because everything stands still for a moment. Order is kept and nothing is lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from typing import NamedTuple

from metercap.practice.meter import MeterSpec
from metercap.records import at


class Chunk(NamedTuple):
    """Bytes whose last one arrived at `t_s`."""

    t_s: float
    data: bytes


class Line:
    """Gives the pieces of frames their time of arrival, by `jitter_s`, `burst` and the stalls of a meter's
    description."""

    def __init__(self, spec: MeterSpec, rng: Random) -> None:
        self._spec = spec
        self._rng = rng
        self._held: list[list[Chunk]] = []
        self._last_s = 0.0
        self._stall_s = self._next_stall(0.0)

    def carry(self, frame: Sequence[Chunk]) -> list[list[Chunk]]:
        """Take the pieces of a frame as they leave the meter; return the frames that are handed over now, in order."""
        spec = self._spec
        late_s = self._rng.uniform(0.0, spec.jitter_s) if spec.jitter_s else 0.0
        self._held.append([Chunk(piece.t_s + late_s, piece.data) for piece in frame])
        if len(self._held) < spec.burst:
            return []
        held, self._held = self._held, []
        ready_s = held[-1][-1].t_s if spec.burst > 1 else 0.0
        return [[Chunk(self._through(max(piece.t_s, ready_s)), piece.data) for piece in pieces] for pieces in held]

    def _through(self, t_s: float) -> float:
        while self._stall_s + self._spec.stall_s <= t_s:
            self._stall_s = self._next_stall(self._stall_s + self._spec.stall_s)
        if self._stall_s <= t_s:
            t_s = self._stall_s + self._spec.stall_s
        self._last_s = max(self._last_s, at(t_s))
        return self._last_s

    def _next_stall(self, from_s: float) -> float:
        a_minute = self._spec.stalls_per_min
        return from_s + self._rng.expovariate(a_minute / 60.0) if a_minute else float("inf")
