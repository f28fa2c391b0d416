"""The order of least expected minutes, against textbooks and against every order there is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

import pytest

from metercap.order import Look, best_order, minutes_to_fault
from metercap.order.schedule import EXACT, by_ratio
from tests.order.brute import best_of_all, every_order, search, walked


def looks(weights: list[float], minutes: list[float], needs: dict[int, tuple[int, ...]] | None = None) -> list[Look]:
    needs = needs or {}
    rows = enumerate(zip(weights, minutes, strict=True))
    return [Look(f"j{at + 1}", weight, took, needs.get(at, ())) for at, (weight, took) in rows]


CHAINS = looks(
    [6, 18, 12, 8, 8, 17, 18],
    [3, 6, 6, 5, 4, 8, 10],
    {1: (0,), 2: (1,), 3: (2,), 5: (4,), 6: (5,)},
)
"""Two chains 1-2-3-4 and 5-6-7 with weights and times of an example in Pinedo, Scheduling: Theory, Algorithms, and
Systems, chapter on single machines, total weighted completion time and chains (Example 3.1.5; from memory)."""


@pytest.mark.parametrize("order", [best_order, by_ratio])
def test_the_textbook_chains(order: Callable[[Sequence[Look]], tuple[int, ...]]) -> None:
    """The book's answer: 1 and 2 (24/9 is more than 25/12), then 5 and 6 (25/12 more than 12/6), then 3, 7, 4."""
    assert [CHAINS[at].id for at in order(CHAINS)] == ["j1", "j2", "j5", "j6", "j3", "j7", "j4"]


@pytest.mark.parametrize("order", [best_order, by_ratio])
def test_the_ratio_rule(order: Callable[[Sequence[Look]], tuple[int, ...]]) -> None:
    """Smith 1956 (from memory): without conditions by weight over time. 4/2, 3/1, 5/5, 6/4: second, first, fourth,
    third; expected minutes by hand: 3·1 + 4·3 + 6·7 + 5·12 = 117."""
    jobs = looks([4, 3, 5, 6], [2, 1, 5, 4])
    found = order(jobs)
    assert found == (1, 0, 3, 2)
    assert minutes_to_fault(jobs, found) == 117.0


def test_a_teardown_is_paid_for_once() -> None:
    """By hand: a lid of 6 min before two looks of 1 min and 0.3 each (0.6/8), beside one of 4 min and 0.2 (0.2/4):
    alone each (0.3/7) comes after 0.2/4 = 0.05, together (0.075) before it."""
    jobs = looks([0, 0.3, 0.3, 0.2], [6, 1, 1, 4], {1: (0,), 2: (0,)})
    for order in (best_order, by_ratio):
        assert order(jobs) == (0, 1, 2, 3)
    assert minutes_to_fault(jobs, (0, 1, 2, 3)) == pytest.approx(0.3 * 7 + 0.3 * 8 + 0.2 * 12)


def test_proving_dead_again_is_paid_for() -> None:
    """By hand: A (dead, 0.3, 1 min), B (power, 0.32, 1 min), proof again 10 min. Alone B is the better look, but then A
    costs 11: B first 0.32·1 + 0.3·12 = 3.92, A first 0.3·1 + 0.32·2 = 0.94."""
    jobs = [Look("A", 0.3, 1.0, dead=True, again=10.0), Look("B", 0.32, 1.0, powers=True)]
    assert best_order(jobs) == (0, 1)
    assert minutes_to_fault(jobs, (1, 0)) == pytest.approx(3.92)
    assert minutes_to_fault(jobs, (0, 1)) == pytest.approx(0.94)
    assert best_order(jobs, hot=True) == (1, 0), "where it must be proved again anyhow, the powered look is cheap"


def test_equal_looks_keep_the_order_of_the_plan() -> None:
    """Nothing is gained by another order, so none is proposed."""
    assert best_order(looks([0.1] * 6, [2.0] * 6)) == (0, 1, 2, 3, 4, 5)
    assert by_ratio(looks([0.1] * 6, [2.0] * 6)) == (0, 1, 2, 3, 4, 5)


def against_all(seeds: range) -> int:
    """Hold the room's order against the best of all for random searches; return how many had power in them."""
    powered = 0
    for seed in seeds:
        jobs = search(Random(f"order {seed}"))
        order = best_order(jobs)
        mine, best = walked(jobs, order), best_of_all(jobs)
        assert sorted(order) == list(range(len(jobs)))
        assert mine is not None, (seed, "something was not open")
        assert mine == pytest.approx(best, rel=1e-9, abs=1e-12), seed
        assert minutes_to_fault(jobs, order) == pytest.approx(mine, rel=1e-9, abs=1e-12), seed
        powered += any(look.powers for look in jobs)
    return powered


def test_no_order_is_better() -> None:
    """120 random searches of up to 9 looks with teardown and power: none of all orders reaches the fault sooner."""
    assert against_all(range(120)) > 20


def test_the_check_itself() -> None:
    """The pruned search and plain enumeration of every order agree, on searches of up to 6 looks."""
    for seed in range(40):
        jobs = search(Random(seed), 6)
        assert best_of_all(jobs) == pytest.approx(min(every_order(jobs)))


@pytest.mark.slow
def test_no_order_is_better_of_2000() -> None:
    """The same for 2 000 random searches."""
    assert against_all(range(2000)) > 400


def test_beyond_a_dozen_it_stays_near() -> None:
    """By ratio, on 300 searches whose best order is known: on average within 0.5 % (measured: 0.05)."""
    losses = []
    for seed in range(300):
        jobs = search(Random(f"near {seed}"))
        mine = walked(jobs, by_ratio(jobs))
        best = walked(jobs, best_order(jobs))
        assert mine is not None and best is not None
        losses.append(mine / best - 1.0 if best else 0.0)
    assert sum(losses) / 300 < 0.005


@pytest.mark.parametrize("n", [EXACT + 1, 41, 300])
def test_many_looks(n: int) -> None:
    """Every look once, what is needed before it, in a time that a bench does not notice."""
    rng = Random(n)
    jobs = [
        Look(f"s{at}", rng.random() / n, rng.uniform(0.5, 9.0), tuple(b for b in range(at) if rng.random() < 1.5 / n))
        for at in range(n)
    ]
    order = best_order(jobs)
    assert sorted(order) == list(range(n)) and walked(jobs, order) is not None


def test_a_circle_ends_too() -> None:
    """A journal from elsewhere may hold such a plan: each look comes once, and nothing hangs."""
    jobs = looks([0.2, 0.3, 0.1], [1, 1, 1], {0: (1,), 1: (0,)})
    assert sorted(best_order(jobs)) == [0, 1, 2]
