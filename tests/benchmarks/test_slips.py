"""Slips, lifts and cycles by the thousand: run with -m slow. METERCAP_SEEDS names another set of seeds.

The meters and hands are those of `tests/contact/tips_model.py`, which share nothing with the practice bench. Bounds:
none in n → less than 3.0/n at 95 % (−ln 0.05 = 3.0; Clopper and Pearson's one-sided bound, 1934).
"""

from __future__ import annotations

import math
import os
import random
import statistics
from collections.abc import Callable

import pytest

from tests.contact.test_pace_of_hands import RATES, RECONTACT_S, classes, kept
from tests.contact.tips_model import Bench, Meter

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]

SLIPS = int(os.environ.get("METERCAP_SLIPS", "5000"))
SEEDS = os.environ.get("METERCAP_SEEDS", "first,second").split(",")


def slips(meter: Meter, seeds: str, *, least: int = SLIPS, **more: object) -> tuple[int, int, float]:
    """Return how many sessions credited a slip, of how many slips, and the median cycle."""
    wrong = slipped = session = 0
    cycles: list[float] = []
    while slipped < least:
        session += 1
        rng = random.Random(f"{seeds} {meter.name} {meter.rate} {session}")
        bench = Bench(meter, rng, slips=0.7, slip_s=RECONTACT_S, **more).run(ticks=40, until_s=3000.0)  # type: ignore[arg-type]
        wrong += bench.wrong > 0
        slipped += bench.slipped
        cycles += bench.cycles
    return wrong, slipped, statistics.median(cycles)


@pytest.mark.parametrize("seeds", SEEDS)
@pytest.mark.parametrize("rate", RATES)
def test_slips_by_the_thousand(rate: float, seeds: str, told: Callable[[str], None]) -> None:
    """No slip of up to `recontact_s` ticks the next item, on any meter that is not sent to a fixed range."""
    total = 0
    for meter in classes(rate):
        wrong, slipped, cycle_s = slips(meter, seeds)
        total += wrong
        told(
            f"{rate:g}/s {meter.name}: {wrong} of {slipped} slips credited ({seeds} seeds), < {3.0 / slipped:.2%}; "
            f"cycle with slips {cycle_s:.2f} s"
        )
    assert total == 0


@pytest.mark.parametrize("rate", RATES)
def test_what_is_not_promised(rate: float, told: Callable[[str], None]) -> None:
    """Told, not pinned: a hidden walk that jumps up, frames on their own clock, and a T that is 30 % too small."""
    for meter in (
        Meter("hidden walk that jumps up", rate, 2.0, 2, walk="hidden", jumps=True),
        Meter("frames on a clock of their own", rate, 2.0, own_frames=2.37 * rate),
    ):
        wrong, slipped, _ = slips(meter, SEEDS[0], least=min(SLIPS, 2000))
        told(f"{rate:g}/s {meter.name}: {wrong} sessions of {math.ceil(slipped / 28)} credited one of {slipped} slips")
    wrong = slipped = 0
    for session in range(60):
        bench = Bench(
            Meter("wrong", rate, 1.43 * rate, 2, noisy=0.0), random.Random(session), slips=0.7, slip_s=RECONTACT_S
        )
        pace = bench.conversions.pace_of(next(iter(kept(rate))))
        pace.measured = True
        bench.run(ticks=40, until_s=3000.0)
        wrong, slipped = wrong + bench.wrong, slipped + bench.slipped
    told(f"{rate:g}/s T 30 % too small and believed: {wrong} of {slipped} slips credited")


@pytest.mark.parametrize("rate", RATES)
def test_cycles(rate: float, told: Callable[[str], None]) -> None:
    """Whole cycles of good fuses, T known: clockwork hands as the design's, and hands within a fifth of them."""
    for walk, jumps in (("", False), ("shown", False), ("ranged", False), ("ranged", True), ("hidden", False)):
        for unsteady in (0.0, 0.2):
            cycles: list[float] = []
            air: list[float] = []
            for session in range(10):
                rng = random.Random(f"{SEEDS[-1]} {session}")
                meter = Meter("cycle", rate, rate, 2, walk=walk, jumps=jumps)
                bench = Bench(meter, rng, kept=kept(rate), whole=2 if walk else 1, unsteady=unsteady).run(ticks=60)
                cycles += bench.cycles[10:]
                air += bench.air[10:]
            told(
                f"{rate:g}/s {walk or 'fixed'}{' jumps' if jumps else ''}, hands ± {unsteady:.0%}: cycle "
                f"{statistics.mean(cycles):.2f} s, of which in the air {statistics.mean(air):.2f} s"
            )
