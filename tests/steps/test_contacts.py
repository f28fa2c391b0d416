"""Which contacts agree, and what they say together: unlikely orders that a session reaches seldom."""

from __future__ import annotations

import pytest

from metercap.judging.contacts import Taken, agreeing, together
from metercap.judging.judge import Limits
from metercap.quantity import Quantity
from metercap.reading import Reading, State


def taken(value: float) -> Taken:
    """Return a settled contact of one value."""
    reading = Reading(1.0, Quantity.RESISTANCE, value, 0.1, "ohm", State.OK, (), "")
    return Taken(reading, value, (value, value), 0.5, wide=False, span=0.0)


@pytest.mark.parametrize(
    ("low", "high", "values", "chosen"),
    [
        (None, 2.0, [9.0, 4.0, 9.1, 4.2], [4.0, 4.2]),
        (None, -2.0, [-9.0, -4.0, -9.1, -4.2], [-4.0, -4.2]),
        (90.0, 110.0, [100.0, 108.0, 109.0], [108.0, 109.0]),
        (None, 110.0, [100.0, 108.0, 109.0], [100.0, 108.0]),
        (None, None, [0.1, 0.3], [0.1, 0.3]),
        (None, None, [0.1, 0.4], None),
    ],
)
def test_two_that_agree(low: float | None, high: float | None, values: list[float], chosen: list[float] | None) -> None:
    """The lowest in magnitude, for a band the nearest to each other; a tenth of the higher one or two counts."""
    found = agreeing([taken(value) for value in values], 2, Limits(low, high, "ohm", "guarded"))
    assert (None if found is None else [each.value for each in found]) == chosen


def test_three_wanted_must_all_agree() -> None:
    """A plan that asks for three contacts gets three within a tenth, not two and a far one."""
    limits = Limits(None, 2.0, "ohm", "guarded")
    assert agreeing([taken(5.0), taken(5.2), taken(9.0)], 3, limits) is None
    found = agreeing([taken(5.0), taken(9.0), taken(5.2), taken(5.1)], 3, limits)
    assert found is not None and [each.value for each in found] == [5.0, 5.2, 5.1]


@pytest.mark.parametrize(
    ("low", "high", "recorded", "value"),
    [(90.0, 110.0, True, 101.0), (None, 110.0, True, 100.0), (None, None, True, 101.0), (90.0, 110.0, False, 100.0)],
)
def test_value_of_contacts(low: float | None, high: float | None, recorded: bool, value: float) -> None:
    """A recorded value is the mean, but the lower one under an upper limit alone, where contacts only add."""
    assert together([taken(100.0), taken(102.0)], Limits(low, high, "ohm", "guarded"), recorded=recorded)[0] == value
