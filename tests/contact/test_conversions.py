"""Conversions, not frames: rule 1 of contact and settling."""

from __future__ import annotations

import pytest
from bench_play import meter, parse

from metercap.contact import Conversions
from metercap.quantity import Quantity
from metercap.reading import Reading


def readings(script: str, step_s: float, from_s: float = 0.0) -> list[Reading]:
    """Return one reading for each token, `step_s` apart."""
    out = []
    for place, token in enumerate(script.split()):
        value, resolution, quantity, state, flags, _, _ = parse(token)
        out.append(
            Reading(round(from_s + place * step_s, 6), quantity, value, resolution, quantity.unit, state, flags, "")
        )
    return out


def begun(conversions: Conversions, script: str, step_s: float, from_s: float = 0.0) -> list[bool]:
    """Return which readings of a script are new conversions."""
    return [conversions.begins(reading) for reading in readings(script, step_s, from_s)]


def test_first_reading_is_a_conversion() -> None:
    """The first reading of all is a new conversion."""
    assert begun(Conversions(meter()), "0.2", 0.1) == [True]


def test_equal_readings_within_t_are_repeats() -> None:
    """Equal readings that arrive within one T are one conversion, however many they are."""
    assert begun(Conversions(meter(2.0)), "0.2 0.2 0.2 0.2 0.2", 0.1) == [True, False, False, False, False]


def test_equal_readings_one_t_apart_are_conversions() -> None:
    """Equal readings at least one T apart are different conversions."""
    assert begun(Conversions(meter(2.0)), "0.2 0.2 0.2", 0.5) == [True, True, True]


@pytest.mark.parametrize(
    "script",
    ["0.2 0.3", "0.2 0.20", "0.2 OL", "OL 0.2", "0.2 0.2c", "0.000M 0.0"],
    ids=["value", "range", "to over-range", "from over-range", "quantity", "range of zero"],
)
def test_what_differs_is_a_conversion(script: str) -> None:
    """A reading that differs in value, range, state or quantity is a new conversion at any distance."""
    assert begun(Conversions(meter(2.0)), script, 0.01) == [True, True]


def test_flags_make_no_conversion() -> None:
    """A flag that comes on changes no value, so it is no new conversion."""
    assert begun(Conversions(meter(2.0)), "0.2 0.2!auto", 0.1) == [True, False]


@pytest.mark.parametrize(("step_s", "new"), [(0.476, True), (0.474, False)])
def test_five_percent_of_jitter(step_s: float, new: bool) -> None:
    """Comparisons with T allow 5 % for arrival jitter, and no more."""
    assert begun(Conversions(meter(2.0)), "0.2 0.2", step_s) == [True, new]


def test_distance_is_from_the_last_conversion_not_the_last_frame() -> None:
    """T is counted from the last conversion's first frame, so steady repeats give one conversion each T."""
    assert begun(Conversions(meter(2.0)), "0.2 " * 11, 0.1) == [n % 5 == 0 for n in range(11)]


def test_blank_between_repeats_makes_no_conversion() -> None:
    """A display that was unreadable for a moment does not turn one conversion into two."""
    assert begun(Conversions(meter(2.0)), "0.2 -- 0.2 -- 0.2", 0.05) == [True, False, False, False, False]


def test_rate_by_quantity() -> None:
    """T is the quantity's own where the profile states one."""
    profile = meter(2.0, conversions_per_s_by={Quantity.CONTINUITY: 10.0})
    assert begun(Conversions(profile), "0.2c 0.2c 0.2c", 0.1) == [True, True, True]
    assert begun(Conversions(profile), "0.2 0.2 0.2", 0.1) == [True, False, False]


def flicker(conversions: Conversions, step_s: float, changes: int = 14) -> Quantity | None:
    """Let the last digit go up and down every `step_s`; return what was found slow."""
    slow = None
    for reading in readings(" ".join("0.2 0.3" for _ in range(changes // 2)), step_s):
        conversions.begins(reading)
        slow = conversions.take_slow() or slow
    return slow


def test_slower_meter_is_noticed_once() -> None:
    """A meter whose values never change closer together than twice T is slower than its profile: T is lengthened."""
    conversions = Conversions(meter(2.0))
    assert flicker(conversions, 1.0) is Quantity.RESISTANCE
    assert conversions.times_s[Quantity.RESISTANCE] == 1.0
    assert conversions.times_s[Quantity.VOLTAGE_DC] == 0.5
    assert conversions.take_slow() is None


def test_faster_meter_keeps_the_profiles_t() -> None:
    """A meter faster than its profile only costs time."""
    conversions = Conversions(meter(2.0))
    assert flicker(conversions, 0.1) is None
    assert conversions.times_s[Quantity.RESISTANCE] == 0.5


def test_frames_that_waited_tell_no_rate() -> None:
    """A backlog that arrives in one moment is no meter of infinite rate, and breaks nothing."""
    conversions = Conversions(meter(2.0))
    assert flicker(conversions, 0.0, changes=40) is None
    assert conversions.take_fast() is None


def test_hands_do_not_make_a_meter_slow() -> None:
    """Contact and air every few seconds are the hands', not the meter's."""
    conversions = Conversions(meter(2.0))
    assert not any(
        conversions.begins(reading) and conversions.take_slow() for reading in readings("OL 0.2 OL 0.3 " * 12, 1.2)
    )


@pytest.mark.parametrize("step_s", [1.0, 10.0])
def test_drift_does_not_make_a_meter_slow(step_s: float) -> None:
    """A value that creeps one way changes rarely on the fastest meter; T must not become ten seconds by that."""
    conversions = Conversions(meter(2.0))
    script = " ".join(f"{3.0 + n / 1000:.3f}V" for n in range(40))
    for reading in readings(script, step_s):
        conversions.begins(reading)
    assert conversions.times_s[Quantity.VOLTAGE_DC] == 0.5


def test_rare_flicker_does_not_make_a_meter_slow() -> None:
    """A last digit that moves every five seconds tells nothing about a meter: none is that slow."""
    conversions = Conversions(meter(2.0))
    assert flicker(conversions, 5.0, changes=40) is None


def test_a_faster_meter_is_told_once_with_its_rate() -> None:
    """Ten changes a second on a profile of two: stating the rate would save time."""
    conversions = Conversions(meter(2.0))
    told = []
    for reading in readings("0.2 0.3 " * 20, 0.1):
        conversions.begins(reading)
        told.append(conversions.take_fast())
    assert [rate for rate in told if rate is not None] == [10.0]


def test_a_meter_at_its_profiles_rate_is_not_called_fast() -> None:
    """Nor is one whose value changes seldom."""
    for step_s in (0.5, 0.6, 2.0):
        conversions = Conversions(meter(2.0))
        for reading in readings("0.2 0.3 " * 20, step_s):
            conversions.begins(reading)
            assert conversions.take_fast() is None
