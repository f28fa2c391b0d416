"""A simulated shop: minutes to the fault in the plan's order, by the plan's chances alone, and as repairs are counted.

The plan is the demo's, its symptom that the output relays do not pull. How often the fault really is where is drawn for
each shop around the plan's chances (a Dirichlet distribution: the smaller its `concentration`, the worse the plan's
guess). A shop has repaired so many units, their faults drawn from its own truth; then the expected minutes of the walk
that is proposed are added up by the clock here, not by the room's: each step in its minutes, what it needs before it,
and after power the proof again, with the questions right before it. Steps that find nothing of this symptom are in no
walk, so that the plan's order is not made to look worse than it is. All figures are of this model; no bench was timed.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import NamedTuple

import pytest

from metercap.order import after, known, propose
from metercap.order.known import Shop
from metercap.plan.power import needs_dead, powers_up
from metercap.planfile import read_plan
from metercap.plankeys import SafeStep, StepBase
from metercap.profiles import find_plan

SYMPTOM = "the output relays do not pull"
HISTORIES = (0, 1, 3, 10, 30, 100, 300)
STEPS = tuple(read_plan(find_plan("greenhouse-controller")).steps)
BY_ID = {step.id: step for step in STEPS}
PRIOR = {step.id: step.finds[SYMPTOM] for step in STEPS if SYMPTOM in step.finds}
RULED = ("symptom", "earlier-work", "disconnect", "discharge", "dead", "leads")
"""What precedes by rule, done before every walk begins: it costs each of them the same."""
PROOF_MIN = 8.0
"""The proof again, and the questions that stand right before it in the plan: 2 + 1 + 2 + 2 + 1 minutes."""
ELSEWHERE = "elsewhere"


class Mean(NamedTuple):
    """A mean over shops and half the width of its 95 % interval (normal)."""

    minutes: float
    half: float

    def __str__(self) -> str:
        return f"{self.minutes:5.2f} ± {self.half:.2f}"


def mean(values: Sequence[float]) -> Mean:
    return Mean(statistics.fmean(values), 1.96 * statistics.stdev(values) / math.sqrt(len(values)))


def minutes_of(step: StepBase) -> float:
    return step.minutes or 0.0


def walk(next_step: Callable[[list[str], bool], str]) -> dict[str, float]:
    """Return, by step that may find the fault, the minutes until it was looked at."""
    done, hot, clock = list(RULED), False, 0.0
    out: dict[str, float] = {}
    while len(out) < len(PRIOR):
        step = BY_ID[next_step(done, hot)]
        if isinstance(step, SafeStep):
            clock, hot = clock + PROOF_MIN, False
            continue
        assert not (hot and needs_dead(step)), f"{step.id} was to be measured after power, without a proof"
        for name in step.teardown if isinstance(step.teardown, tuple) else ():
            assert name in done, f"{step.id} before {name}, which opens the way"
        clock += minutes_of(step)
        hot = hot or powers_up(step)
        done.append(step.id)
        if step.id in PRIOR:
            out[step.id] = clock
    return out


def by_plan(done: list[str], _hot: bool) -> str:
    """The plan's own order, what opens the way to the rails included; nothing in ohms comes after power there."""
    order = ["fuses", "coils", "cover", "sensor-cable", "bridge", "power-up", "rails"]
    return next(name for name in order if name not in done)


def proposed(chances: Mapping[str, float]) -> dict[str, float]:
    """Walk as is proposed, asked anew after each step."""

    def next_step(done: list[str], hot: bool) -> str:
        left = after(chances, [name for name in done if name in chances])
        found = propose(STEPS, SYMPTOM, left, lambda step: step.id in done, hot=hot)
        return next(name for name in PRIOR if name not in done) if found is None else found.step

    return walk(next_step)


def truth_of(rng: Random, concentration: float) -> dict[str, float]:
    """Draw how often the fault is where, around the plan's chances; what no step finds included."""
    weights = {**PRIOR, ELSEWHERE: 1.0 - math.fsum(PRIOR.values())}
    drawn = {name: rng.gammavariate(concentration * weight, 1.0) for name, weight in weights.items()}
    total = math.fsum(drawn.values())
    return {name: value / total for name, value in drawn.items()}


def expected(truth: Mapping[str, float], reached: Mapping[str, float]) -> float:
    """Minutes to the fault of a unit whose fault some step finds."""
    found = math.fsum(truth[name] for name in PRIOR)
    return math.fsum(truth[name] * reached[name] for name in PRIOR) / found


def shops(n: int, seed: str, concentration: float, histories: Sequence[int]) -> dict[str, list[float]]:
    """Return the expected minutes of every shop: in the plan's order, by its truth, and after so many repairs."""
    out: dict[str, list[float]] = {name: [] for name in ("plan", "truth", *map(str, histories))}
    planned = walk(by_plan)
    for number in range(n):
        rng = Random(f"{seed} {concentration} {number}")
        truth = truth_of(rng, concentration)
        out["plan"].append(expected(truth, planned))
        out["truth"].append(expected(truth, proposed({name: truth[name] for name in PRIOR})))
        faults = rng.choices(list(truth), list(truth.values()), k=max(histories))
        for history in histories:
            # What no step finds is proved in none, and so in no count.
            seen = [name for name in faults[:history] if name != ELSEWHERE]
            counted = {name: seen.count(name) for name in PRIOR if name in seen}
            rests_on = known(STEPS, (SYMPTOM,), shop=Shop({SYMPTOM: len(seen)}, {SYMPTOM: counted}))
            out[str(history)].append(expected(truth, proposed(rests_on.chances[SYMPTOM])))
    return out


def gain(found: Mapping[str, Sequence[float]], one: str, other: str) -> Mean:
    """Return by how many minutes `other` is sooner than `one`, shop by shop."""
    return mean([a - b for a, b in zip(found[one], found[other], strict=True)])


def is_right(found: Mapping[str, Sequence[float]]) -> None:
    """Whoever knew the truth would be soonest, in every shop, by less than what rounding to 6 digits may cost."""
    for name, values in found.items():
        assert all(best <= value + 1e-3 for best, value in zip(found["truth"], values, strict=True)), name


def test_nobody_is_sooner_than_who_knows_the_truth() -> None:
    """A few shops, quickly: in each, the order by the true chances is the best of all these."""
    is_right(shops(8, "quick", 2.0, (0, 30)))


@pytest.mark.slow
@pytest.mark.parametrize("seed", ["first", "second"])
@pytest.mark.parametrize(("concentration", "guess"), [(2.0, "a poor guess"), (20.0, "a fair guess")])
def test_minutes_to_the_fault(seed: str, concentration: float, guess: str, told: Callable[[str], None]) -> None:
    """History pays: much where the plan's guess is poor, in the end where it is fair; a few repairs may mislead."""
    found = shops(200, seed, concentration, HISTORIES)
    is_right(found)
    told(f"{guess} (Dirichlet, {concentration:g}), seeds {seed!r}, 200 shops: plan {mean(found['plan'])}")
    told("  " + "   ".join(f"{history}: {mean(found[str(history)])}" for history in HISTORIES))
    told(f"  by the truth {mean(found['truth'])}; 300 repairs gain {gain(found, '0', '300')} over the prior alone")
    over_plan, over_prior = gain(found, "plan", "300"), gain(found, "0", "300")
    assert over_plan.minutes - over_plan.half > 0.0, "300 repairs are sooner than the plan's order"
    assert over_prior.minutes + over_prior.half > 0.0, "and no later than by the plan's chances alone"
    if concentration < 10.0:
        assert over_prior.minutes - over_prior.half > 0.0, "where the guess was poor they are sooner"
