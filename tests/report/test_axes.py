"""Scales: idle time folds without disorder, a few values off the scale flatten nothing, ticks are round."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.report.axes import Scale, TimeAxis, scale

TIMES = st.lists(st.floats(0.0, 1e6), min_size=2, max_size=40).map(sorted)


@given(TIMES, st.lists(st.floats(0.0, 1e6), min_size=2, max_size=20).map(sorted))
def test_later_never_stands_before_earlier(busy: Any, asked: Any) -> None:
    """Folded or not, time runs from left to right, inside the picture."""
    clock = TimeAxis(busy, 10.0, 710.0)
    places = [clock.x(t_s) for t_s in asked]
    assert all(before <= after + 1e-6 for before, after in itertools.pairwise(places))
    assert all(10.0 - 1e-6 <= place <= 710.0 + 1e-6 for place in places)


def test_without_idle_time_places_are_in_proportion() -> None:
    """A minute without a fold is drawn as it was."""
    clock = TimeAxis([float(t_s) for t_s in range(0, 61, 10)], 0.0, 600.0)
    assert clock.folds == []
    assert [clock.x(t_s) for t_s in (0.0, 15.0, 60.0)] == [0.0, 150.0, 600.0]
    assert list(clock.ticks(8)) == [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]


def test_a_long_pause_folds() -> None:
    """Ten seconds, an hour's pause, ten seconds: both ends take a good part of the picture."""
    clock = TimeAxis([0.0, 5.0, 10.0, 3610.0, 3615.0, 3620.0], 0.0, 100.0)
    (fold,) = clock.folds
    assert fold.t_s == 3610.0
    assert clock.x(10.0) > 4.0
    assert clock.x(3620.0) == pytest.approx(100.0)
    assert clock.x(3620.0) - clock.x(3610.0) == pytest.approx(clock.x(10.0) - clock.x(0.0))
    middle = fold.t_s - fold.s / 2.0
    assert clock.x(middle - 100.0) == pytest.approx(clock.x(middle + 100.0))
    assert not [t_s for t_s in clock.ticks(8) if 200.0 < t_s < 3400.0]


@pytest.mark.parametrize("busy", [[], [7.0], [7.0, 7.0], [1e308, 1e308], [0.0, 1e308], [-1e308, 1e308]])
def test_odd_times_end(busy: Any) -> None:
    """No time at all, one moment, and times that no step can be added to: ticks come to an end."""
    clock = TimeAxis(busy, 0.0, 100.0)
    assert len(list(clock.ticks(8))) < 40
    assert 0.0 <= clock.x(5.0) <= 100.0


def test_one_spike_does_not_flatten_the_rest() -> None:
    """A single 9.999 kΩ among 2 kΩ is off the scale, and by how much is told."""
    found = scale([2000.0 + n % 5 for n in range(500)] + [9999.0], [], 200.0, 0.0)
    assert found.high < 2100.0
    assert found.beyond(9999.0) > 1.0
    assert found.y(9999.0) == 0.0
    assert found.beyond(2002.0) == 0.0


def test_what_must_be_shown_is_on_the_scale() -> None:
    """Band, as found, as left and excursions are never off it, however far apart."""
    found = scale([1500.0] * 50, [2187.0, 1107.0], 200.0, 0.0)
    assert found.beyond(2187.0) == found.beyond(1107.0) == 0.0
    assert found.y(1107.0) > found.y(2187.0)


def test_a_few_values_within_reach_are_shown() -> None:
    """Of values at most three times as wide as the rest, all are on the scale."""
    assert scale([*[float(n) for n in range(100)], 180.0], [], 200.0, 0.0).beyond(180.0) == 0.0


@pytest.mark.parametrize("values", [[], [0.0], [5.0], [-3.0, -3.0], [1e300, 5.0], [1e-12, 2e-12]])
def test_odd_values_have_a_scale(values: Any) -> None:
    """Nothing, one value, a value no meter shows: there is always a scale with width and ticks."""
    found = scale(values, [], 200.0, 0.0)
    assert found.low < found.high < 1e30
    assert 1 <= len(list(found.ticks(5))) <= 6


def test_ticks_are_round() -> None:
    """Steps are 1, 2 or 5 times a power of ten."""
    assert list(Scale(1190.0, 2200.0, 0.0, 1.0).ticks(5)) == [1500.0, 2000.0]
    assert list(Scale(-0.1, 0.31, 0.0, 1.0).ticks(5)) == [-0.1, 0.0, 0.1, 0.2, 0.3]
