"""The way of frames to the computer: late by chance, handed over together, held up; never out of order."""

from __future__ import annotations

import itertools
from random import Random

import pytest

from metercap.practice.line import Chunk, Line
from metercap.practice.meter import MeterSpec


def carried(spec: MeterSpec, frames: int = 400, gap_s: float = 0.1) -> list[tuple[float, Chunk]]:
    """Send a piece every `gap_s`; return when each left and as what it arrived."""
    line = Line(spec, Random(3))
    left = [Chunk(n * gap_s, bytes([n % 256])) for n in range(1, frames + 1)]
    out = [piece for sent in left for pieces in line.carry([sent]) for piece in pieces]
    return [(sent.t_s, got) for sent, got in zip(left, out, strict=False)]


def test_a_plain_line_delays_nothing() -> None:
    """What leaves at a moment is there at that moment."""
    assert all(got.t_s == pytest.approx(left_s, abs=1e-6) for left_s, got in carried(MeterSpec()))


def test_jitter_makes_late_by_so_much_at_most_and_keeps_the_order() -> None:
    """Up to 80 ms late where frames come 50 ms apart, some of it used, none before the one ahead of it."""
    got = carried(MeterSpec(jitter_s=0.08), gap_s=0.05)
    late = [arrived.t_s - left_s for left_s, arrived in got]
    assert min(late) >= -1e-6
    assert 0.07 < max(late) <= 0.08 + 1e-6
    assert all(a.t_s <= b.t_s for (_, a), (_, b) in itertools.pairwise(got))
    assert [arrived.data[0] for _, arrived in got] == [n % 256 for n in range(1, 401)]


def test_a_burst_is_handed_over_with_its_last_frame() -> None:
    """Three frames at 0.1, 0.2, 0.3 s all arrive at 0.3 s."""
    got = carried(MeterSpec(burst=3), frames=9)
    assert [arrived.t_s for _, arrived in got] == pytest.approx([0.3] * 3 + [0.6] * 3 + [0.9] * 3)


def test_stalls_hold_everything_up_and_lose_nothing() -> None:
    """Thirty a minute of half a second: what is sent meanwhile arrives together at the stall's end."""
    got = carried(MeterSpec(stalls_per_min=30.0, stall_s=0.5), frames=3000)
    late = [arrived.t_s - left_s for left_s, arrived in got]
    assert len(got) == 3000
    assert 0.4 < max(late) <= 0.5 + 1e-6
    stalls = sum(1 for a, b in itertools.pairwise(late) if b > 0.01 and b > a)
    assert 60 <= stalls <= 220  # 300 s at 30 a minute and 0.5 s each: about 120, by chance
    assert all(a.t_s <= b.t_s for (_, a), (_, b) in itertools.pairwise(got))
