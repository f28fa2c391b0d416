"""The whole rule, by a meter and hands of their own: slips that must not count, lifts that must, and how long it takes.

The figures are the design's; expectations come from it and from arithmetic, never from the code. The big study, with a
second set of seeds, is in `tests/benchmarks`.
"""

from __future__ import annotations

import math
import random
import statistics

import pytest

from metercap.contact.ranging import Walk
from metercap.quantity import Quantity
from tests.contact.tips_model import MOVE_S, REACT_S, Bench, Meter
from tests.thirds import some_of

RATES = (2.0, 3.0, 5.0, 10.0)
RECONTACT_S = 0.5


def kept(rate: float) -> dict[Quantity, float]:
    """T as an earlier session measured it."""
    return {Quantity.RESISTANCE: 1.0 / rate}


def classes(rate: float) -> list[Meter]:
    """Meters of one rate that no slip may fool: fixed range with every link, and auto range of each kind of walk."""
    fixed = [
        Meter("one frame", rate, rate),
        Meter("three frames, mostly closed reads", rate, rate, 3, partly="mostly"),
        Meter("late frames", rate, rate, 3, late_s=0.03),
        Meter("bursts of three", rate, rate, 3, burst=3, late_s=0.02),
        Meter("stalls", rate, rate, 2, stalls=0.1),
        Meter("stalls that lose frames", rate, rate, 2, stalls=0.1, loses=True),
        Meter("30 % slower than stated", rate, 1.3 * rate, 2),
        Meter("30 % slower, one frame", rate, 1.3 * rate),
        Meter("faster than stated", rate, 1.0, 2),
    ]
    auto = [
        Meter(f"{walk} {jumps:d} {dwell}", rate, 2.0, 2, walk=walk, jumps=jumps, dwell=dwell)
        for walk in ("shown", "ranged", "hidden")
        for jumps in (False, True)
        for dwell in (1, 2)
        if not (walk == "hidden" and jumps)  # sent to a fixed range
    ]
    return [*fixed, *auto, Meter("hidden, names the top range", rate, 2.0, 2, walk="hidden", says_top=True)]


EACH = [pytest.param(meter, id=f"{meter.rate:g}/s {meter.name}") for rate in RATES for meter in classes(rate)]


@pytest.mark.parametrize("first", some_of((0, 2), 2))
@pytest.mark.parametrize("meter", EACH)
def test_no_slip_ticks_the_next_item(meter: Meter, first: int) -> None:
    """Rule 4: whatever the meter and its link, no slip of up to `recontact_s` is credited to the next item."""
    wrong = slipped = 0
    for seed in (first, first + 1):
        bench = Bench(meter, random.Random(f"{meter.name} {meter.rate} {seed}"), slips=0.8, slip_s=RECONTACT_S)
        bench.run(ticks=25, until_s=2000.0)
        assert bench.ticks == 25, "honest hands must get on"
        wrong += bench.wrong
        slipped += bench.slipped
    assert slipped > 30
    assert wrong == 0


@pytest.mark.parametrize(("partly", "conversions"), [("open", 2), ("mostly", 3)])
@pytest.mark.parametrize("walk", ["", "shown"])
@pytest.mark.parametrize("rate", RATES)
def test_a_lift_of_recontact_and_two_or_three_conversions_is_credited(
    rate: float, walk: str, partly: str, conversions: int
) -> None:
    """Rule 11: hands that wait for nothing, off for `recontact_s` + 2T (3T where a mostly closed part reads)."""
    meter = Meter("pace", rate, rate, 2, walk=walk, partly=partly)
    off_s = max(RECONTACT_S + conversions / rate + 0.001, 0.9)  # and not within 0.8 s of the tick
    for seed in range(5):
        bench = Bench(meter, random.Random(f"{rate} {walk} {seed}"), kept=kept(rate), move_s=off_s, obeys=False)
        bench.run(ticks=8)  # until T is known again
        before = bench.refused
        bench.run(ticks=40)
        assert bench.refused == before


# ≤ seconds from lift to lift of the design's hands (1.3 s to move, 0.25 s to react); two conversions make a tick
# where the first counts as well, as it does under an upper limit.
FIXED = {2.0: 3.4, 3.0: 2.7, 5.0: 2.0, 10.0: 1.8}
AUTO = {
    (3.0, "shown"): 2.7,
    (2.0, "shown"): 3.4,
    (3.0, "ranged"): 3.3,
    (2.0, "ranged"): 4.8,
    (3.0, "hidden"): 4.0,
    (2.0, "hidden"): 5.9,
}


def cycle_s(meter: Meter, *, whole: int) -> float:
    """The mean cycle of good fuses, T known, the first few left out."""
    found: list[float] = []
    for seed in range(4):
        rng = random.Random(f"{meter} {seed}")
        bench = Bench(meter, rng, kept=kept(meter.rate), whole=whole, unsteady=0.0).run(ticks=60)
        found += bench.cycles[10:]
        assert (bench.wrong, bench.refused) == (0, 0)
    return statistics.mean(found)


@pytest.mark.parametrize("rate", RATES)
def test_whole_cycle_in_a_fixed_range(rate: float) -> None:
    """Section 13: the cycle of a good fuse, two conversions a tick."""
    assert cycle_s(Meter("fixed", rate, rate, 2), whole=1) <= FIXED[rate] + 1e-6


@pytest.mark.parametrize(("rate", "walk"), AUTO)
@pytest.mark.parametrize("jumps", [False, True])
def test_whole_cycle_on_auto_range(rate: float, walk: str, jumps: bool) -> None:
    """Section 13: five ranges walked, one conversion each, and so much more."""
    found = cycle_s(Meter("auto", rate, rate, 2, walk=walk, jumps=jumps), whole=2)
    assert found <= 5.0 / rate + AUTO[rate, walk] + 1e-6


@pytest.mark.parametrize("rate", RATES)
def test_the_air_is_the_rules_own(rate: float) -> None:
    """`go` comes with the first frame of conversion n, so the tips are off no longer than that and a reaction."""
    n = math.ceil(RECONTACT_S * rate) + 2
    bench = Bench(Meter("air", rate, rate, 3), random.Random(4), kept=kept(rate)).run(ticks=60)
    longest = max(n / rate + 1.2 * REACT_S, 1.2 * MOVE_S) + 0.01
    assert max(bench.air[10:]) <= longest


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("walk", ["shown", "ranged", "hidden"])
def test_the_kind_of_walk_is_seen(rate: float, walk: str) -> None:
    """What the meter shows of its walk is told from its contacts, wherever in the ladder the next one begins."""
    bench = Bench(Meter("kind", rate, rate, 2, walk=walk), random.Random(9), kept=kept(rate))
    for ticks in range(3, 30):
        bench.run(ticks=ticks)
        assert bench.touch.ranging.walk is Walk(walk)


@pytest.mark.parametrize("rate", RATES)
def test_a_refused_hand_loses_one_lift(rate: float) -> None:
    """A hand that comes too early each time, lifts when told and waits for `go` then: one lift lost an item."""
    bench = Bench(Meter("early", rate, rate, 2), random.Random(2), kept=kept(rate), early_s=0.4)
    bench.run(ticks=13, until_s=200.0)
    assert bench.ticks == 13
    assert bench.refused == 12
    assert bench.wrong == 0
