"""A trace in bounded memory: no spike is lost, few readings are all kept, time runs one way."""

from __future__ import annotations

import itertools
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from metercap.report.traces import Trace

VALUES = st.floats(-1e9, 1e9)
STEPS = st.floats(0.0, 1e4)


def filled(pairs: Any, bins: Any = 16) -> Any:
    """Return a trace of (seconds since the last, value) pairs."""
    trace, t_s = Trace("ohm", bins), 0.0
    for step_s, value in pairs:
        t_s += step_s
        trace.add(t_s, value)
    return trace


def test_few_readings_are_all_kept_in_order() -> None:
    """A minute at two values a second comes back as it went in."""
    trace = Trace("ohm")
    sent = [(n * 0.5, float(n % 7)) for n in range(120)]
    for t_s, value in sent:
        trace.add(t_s, value, 1.0)
    assert [(point.t_s, point.value) for point in trace.points()] == sent
    assert all(point.resolution == 1.0 for point in trace.points())


@given(st.lists(st.tuples(STEPS, VALUES), min_size=1, max_size=300))
def test_no_spike_is_lost(pairs: Any) -> None:
    """Whatever comes, the extremes are kept, and so are both ends; the room never grows; time never runs back."""
    trace = filled(pairs)
    values = [value for _, value in pairs]
    points = list(trace.points())
    kept = [point.value for point in points]
    assert (min(kept), max(kept)) == (min(values), max(values))
    assert (kept[0], kept[-1]) == (values[0], values[-1])
    assert (trace.low.value, trace.high.value) == (min(values), max(values))
    assert (trace.first, trace.last) == (points[0], points[-1]) or len(points) == 1
    assert len(points) <= 4 * 16
    assert all(before.t_s <= after.t_s for before, after in itertools.pairwise(points))
    assert trace.n == len(pairs)


def test_a_spike_of_one_reading_in_a_day_keeps_its_time_and_value() -> None:
    """One reading among 100 000 is found again in 640 bins, at its own time."""
    trace = Trace("ohm")
    for n in range(100_000):
        trace.add(n * 0.864, 9999.0 if n == 51_234 else 2000.0, 1.0)
    assert (trace.high.t_s, trace.high.value) == (51_234 * 0.864, 9999.0)
    assert 9999.0 in [point.value for point in trace.points()]


def test_values_at_one_time_are_told_apart() -> None:
    """Two readings stamped alike, as after a stall, both stay."""
    trace = filled([(1.0, 5.0), (0.0, 900.0), (0.0, 7.0)])
    assert sorted({point.value for point in trace.points()}) == [5.0, 7.0, 900.0]


def test_lost_contact_breaks_the_line() -> None:
    """The first value after a gap begins a new line, and so does the very first."""
    trace = Trace("ohm")
    for n in range(6):
        if n == 3:
            trace.gap()
        trace.add(float(n), 1.0)
    assert [point.gap for point in trace.points()] == [True, False, False, True, False, False]


def test_a_time_that_runs_back_is_taken_for_the_last() -> None:
    """A file may say anything; the trace stays in order."""
    trace = Trace("ohm")
    for t_s in (5.0, 3.0, 6.0):
        trace.add(t_s, t_s)
    assert [point.t_s for point in trace.points()] == [5.0, 5.0, 6.0]


def test_nothing_has_no_ends() -> None:
    """Of an empty trace there is nothing to say."""
    trace = Trace("ohm")
    assert (trace.low, trace.high, trace.first, trace.last, list(trace.points())) == (None, None, None, None, [])
