"""Judging a value: lead null, uncertainty and rule together."""

from __future__ import annotations

import msgspec
import pytest

from metercap.judging.judge import Judge, Limits
from metercap.meter import Accuracy
from metercap.metrology.budget import LeadNull
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import VerdictKind
from tests.steps.bench_play import meter

TEN_PERCENT = (Accuracy(Quantity.RESISTANCE, percent=10.0, counts=0.0),)
LIMITS = Limits(None, 2.0, "ohm", "guarded")


def reading(value: float) -> Reading:
    """A reading in ohms with one digit after the point."""
    return Reading(1.0, Quantity.RESISTANCE, value, 0.1, "ohm", State.OK, (), "")


def nulled(lead_ohm: float) -> Judge:
    """A judge whose meter is off by up to 10 %, with leads taken off."""
    judge = Judge(meter(accuracy=TEN_PERCENT))
    judge.take_lead(reading(lead_ohm), LeadNull(lead_ohm, 0.0))
    return judge


def test_accuracy_is_of_what_was_displayed() -> None:
    """A data sheet's percentage is of the reading (worked by hand): 10 % of 50 Ω displayed, not of the 10 Ω left."""
    judged = nulled(40.0).judge(reading(50.0), LIMITS, conversions=(10.0, 10.0))
    # u² = (0.1·50)²/3 + 0.1²/12 + one count of repeatability²; k = 2
    by_hand = 2.0 * (25.0 / 3.0 + 0.01 / 12.0 + 0.01) ** 0.5
    assert judged.value == 10.0
    assert judged.expanded == pytest.approx(by_hand, rel=1e-5)


def test_a_given_value_is_a_corrected_one() -> None:
    """A value given already corrected has the same U as the reading it came from."""
    judge = nulled(40.0)
    own = judge.judge(reading(50.0), LIMITS)
    given = judge.judge(reading(50.0), LIMITS, value=10.0)
    assert (own.value, own.expanded) == (given.value, given.expanded)
    assert judge.expanded(reading(50.0)) == judge.expanded(reading(0.0), value=10.0)


def test_without_leads_nothing_is_put_back() -> None:
    """Where no null was taken, what was displayed is the value itself."""
    judge = Judge(meter(accuracy=TEN_PERCENT))
    assert judge.expanded(reading(50.0)) == judge.expanded(reading(1.0), value=50.0)


def test_without_limits_it_is_recorded() -> None:
    """A value without limits passes, and says that it was only recorded."""
    judged = nulled(0.2).judge(reading(5.2), Limits(None, None, "ohm", "guarded"))
    assert judged.verdict is VerdictKind.PASS
    assert judged.value == 5.0
    assert "recorded" in judged.reason


def test_a_null_holds_for_its_range_only() -> None:
    """In another range the leads are another number of counts: nothing is taken off."""
    other = Reading(1.0, Quantity.RESISTANCE, 50.0, 1.0, "ohm", State.OK, (), "")
    assert nulled(0.2).corrected(other) == 50.0


def test_a_null_holds_for_the_function_of_a_scpi_meter() -> None:
    """Its written digits follow the value's decade: 0.08 Ω of leads come off 361.28 Ω all the same."""
    judge = Judge(msgspec.structs.replace(meter(), family="scpi"))
    judge.take_lead(Reading(1.0, Quantity.RESISTANCE, 0.08, 1e-10, "ohm", State.OK, (), ""), LeadNull(0.08, 0.0))
    coil = Reading(1.0, Quantity.RESISTANCE, 361.28, 1e-6, "ohm", State.OK, (), "")
    assert judge.corrected(coil) == 361.2
