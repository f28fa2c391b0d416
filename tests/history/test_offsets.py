"""A meter that reads everything high is found: the rank test against scipy, and meters made by hand."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from metercap.history import History, Place, Sight
from metercap.history.offsets import offsets, rank_sum
from metercap.metrology.tally import Tally

SOME = st.lists(st.integers(0, 12).map(float), min_size=2, max_size=15)


@given(SOME, SOME)
def test_one_stratum_is_the_rank_sum_test(a: list[float], b: list[float]) -> None:
    """With one place it is the Mann–Whitney test, ties and all, as scipy has it without continuity correction."""
    if len({*a, *b}) < 2:
        assert rank_sum([(Tally.of(a), Tally.of(b))]) == (0.0, 1.0)
        return
    z, p = rank_sum([(Tally.of(a), Tally.of(b))])
    outside = stats.mannwhitneyu(a, b, method="asymptotic", use_continuity=False)
    assert p == pytest.approx(float(outside.pvalue), rel=1e-5)
    assert math.copysign(1.0, z) == (1.0 if outside.statistic >= len(a) * len(b) / 2 else math.copysign(1.0, z))


@given(st.lists(st.tuples(SOME, SOME), min_size=2, max_size=5))
def test_strata_are_put_together_by_their_weights(pairs: list[tuple[list[float], list[float]]]) -> None:
    """Σw(W − E)/√Σw²V with scipy's mid-ranks, w = 1/(N + 1); V by the ranks' own variance (another formula)."""
    above = spread = 0.0
    for a, b in pairs:
        ranks = stats.rankdata([*a, *b])
        m, n = len(a), len(b)
        weight = 1.0 / (m + n + 1)
        above += weight * (float(sum(ranks[:m])) - m * (m + n + 1) / 2)
        # Without replacement, the sum of m of N ranks has the variance m·n/N of the ranks' own (divisor N − 1).
        spread += weight**2 * m * n / (m + n) * float(ranks.var(ddof=1))
    z, _ = rank_sum([(Tally.of(a), Tally.of(b)) for a, b in pairs])
    assert z == pytest.approx(above / math.sqrt(spread) if spread else 0.0, rel=1e-5, abs=1e-9)


def shop(
    gains: Mapping[str, float], sessions: int, seed: int, places: int = 10, spread: float = 0.03, aspect: str = ""
) -> History:
    """Return the history of meters with their gains, each in `sessions` units whose parts differ by `spread`."""
    rng, out = random.Random(seed), History()
    values = [150.0 * 1.7**n for n in range(places)]
    for meter, gain in gains.items():
        for n in range(sessions):
            out.session(meter, "north", "2026-03-01")
            for at, value in enumerate(values):
                resolution = 10.0 ** (math.floor(math.log10(value)) - 3)
                shown = round(value * gain * rng.gauss(1.0, spread) / resolution) * resolution
                place = Place("GC-8", "coils", f"K{at}", "ohm", aspect)  # type: ignore[arg-type]
                sight = Sight("pass", float(f"{shown:.6g}"), resolution, meter, "north", "2026-03-01", job=str(n))
                out.add(place, sight)
    return out


def test_the_one_that_reads_high_is_told() -> None:
    """Of four meters one reads 2 % high: that one is told, by how much, and none of the others for being lower."""
    found = offsets(shop({"a": 1.0, "b": 1.02, "c": 1.0, "d": 1.0}, 30, seed=5))
    assert [one.meter for one in found if one.told] == ["b"]
    assert found[0].shift == pytest.approx(0.02, abs=0.004)
    assert (found[0].places, found[0].n, found[0].unit, found[0].either) == (10, 300, "ohm", "")


def test_two_that_differ_leave_open_which() -> None:
    """With two meters nobody can say which of them is off: both are told, each naming the other."""
    found = offsets(shop({"a": 1.0, "b": 0.97}, 30, seed=6))
    assert {one.meter: one.either for one in found if one.told} == {"a": "b", "b": "a"}
    assert {one.meter: one.shift > 0 for one in found} == {"a": True, "b": False}


def test_chance_tells_of_none() -> None:
    """Honest meters, 60 shops of five: no meter is told, though the units lie 3 % apart."""
    told = [one for seed in range(60) for one in offsets(shop(dict.fromkeys("abcde", 1.0), 6, seed)) if one.told]
    assert told == []


def test_wild_values_do_not_make_a_meter_wrong() -> None:
    """Three broken units in ten, all read with one meter: parts of a tenth and of ten times the value."""
    history = shop({"a": 1.0, "b": 1.0, "c": 1.0}, 10, seed=3)
    for at in range(10):
        for wild in (0.1, 0.1, 10.0):
            value = float(f"{150.0 * 1.7**at * wild:.4g}")
            history.add(Place("GC-8", "coils", f"K{at}", "ohm"), Sight("fail", value, 0.1, "b", "north"))
    assert not any(one.told for one in offsets(history))


def test_values_as_left_say_nothing_of_a_meter() -> None:
    """A trimmer is turned until its meter shows the target, so as left is passed over, as found is not."""
    assert offsets(shop({"a": 1.0, "b": 1.05}, 30, seed=6, aspect="as left")) == ()
    assert any(one.told for one in offsets(shop({"a": 1.0, "b": 1.05}, 30, seed=6, aspect="as found")))


def test_two_places_are_too_few() -> None:
    """Two places can be off by themselves: nothing is said."""
    assert offsets(shop({"a": 1.0, "b": 1.05}, 30, seed=6, places=2)) == ()


def test_few_digits_say_nothing() -> None:
    """Fuses of 0.3 ohm at 0.1: leads and the last digit are larger than any gain."""
    history = History()
    for meter, value in (("a", 0.2), ("b", 0.3)):
        for n in range(30):
            for at in range(9):
                history.add(Place("GC-8", "fuses", f"F{at}", "ohm"), Sight("pass", value, 0.1, meter, job=str(n)))
    assert offsets(history) == ()


def test_a_part_of_a_percent_is_no_news() -> None:
    """Half a percent, however sure, is within what handheld meters promise."""
    found = offsets(shop({"a": 1.0, "b": 1.005, "c": 1.0}, 200, seed=9, spread=0.003))
    assert all(not one.told for one in found)
    assert min(one.p for one in found) < 1e-6
