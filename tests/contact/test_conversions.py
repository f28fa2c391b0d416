"""Conversions, not frames: rule 1 of contact and settling."""

from __future__ import annotations

import pytest

from metercap.contact import Conversions
from metercap.quantity import Quantity
from metercap.reading import Reading
from tests.steps.bench_play import meter, parse


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


# --- T, measured


def feed(conversions: Conversions, script: str, frame_s: float, frames: int = 1, from_s: float = 0.0) -> float:
    """Feed each token in so many frames, `frame_s` apart; return when the next one would come."""
    t_s = from_s
    for token in script.split():
        for reading in readings(" ".join([token] * frames), frame_s, t_s):
            conversions.begins(reading)
        t_s += frames * frame_s
    return t_s


def news(conversions: Conversions) -> tuple[Quantity, bool] | None:
    """Return what is to be told, if anything."""
    return conversions.take_news() if conversions.pace.news else None


def ohms_s(conversions: Conversions) -> float:
    """Return T in ohms."""
    return conversions.pace_of(Quantity.RESISTANCE).conversion_s


FLICKER = "0.2 0.3 " * 20


@pytest.mark.parametrize("frames", [1, 2, 3, 5])
@pytest.mark.parametrize("rate", [3.0, 5.0, 10.0])
def test_a_faster_meter_is_measured_and_told_once(rate: float, frames: int) -> None:
    """A last digit that moves with every conversion shows T, however often each is sent."""
    conversions = Conversions(meter(2.0))
    feed(conversions, FLICKER, 1.0 / rate / frames, frames)
    assert ohms_s(conversions) == pytest.approx(1.0 / rate, rel=0.01)
    assert news(conversions) == (Quantity.RESISTANCE, False)
    assert conversions.times_s[Quantity.RESISTANCE] == pytest.approx(1.0 / rate, rel=0.01)
    assert conversions.times_s[Quantity.VOLTAGE_DC] == 0.5
    feed(conversions, FLICKER, 1.0 / rate / frames, frames, 1000.0)
    assert news(conversions) is None


@pytest.mark.parametrize("frames", [1, 2, 3, 5])
@pytest.mark.parametrize("slower", [1.15, 1.3, 2.0])
def test_a_slower_meter_is_measured_and_told(slower: float, frames: int) -> None:
    """A last digit that goes up and down and never sooner than that: T is longer than the profile says."""
    conversions = Conversions(meter(2.0))
    feed(conversions, FLICKER, 0.5 * slower / frames, frames)
    assert ohms_s(conversions) == pytest.approx(0.5 * slower, rel=0.01)
    assert news(conversions) == (Quantity.RESISTANCE, True)


def test_a_meter_at_its_profiles_rate_is_measured_and_nothing_is_said() -> None:
    """T stays exactly the profile's, and is more than its word now."""
    conversions = Conversions(meter(2.0))
    assert not conversions.is_measured(Quantity.RESISTANCE)
    feed(conversions, FLICKER, 0.25, 2)
    assert ohms_s(conversions) == 0.5
    assert conversions.is_measured(Quantity.RESISTANCE)
    assert news(conversions) is None


def test_range_walks_and_touches_teach() -> None:
    """Ten a second in a profile of two: three touches, each with its walk of five ranges, one conversion each."""
    conversions = Conversions(meter(2.0))
    touch = "OL OL OL OL OL OL 0.00M 0.0k 0.20k 9.0 0.2 0.2 0.2 "
    feed(conversions, touch * 3, 0.1)
    assert ohms_s(conversions) == pytest.approx(0.1, rel=0.01)


def test_readings_that_stand_still_teach_nothing() -> None:
    """No change, no bound: T stays the profile's word."""
    conversions = Conversions(meter(2.0))
    feed(conversions, "0.2 " * 400, 0.1)
    assert ohms_s(conversions) == 0.5
    assert not conversions.is_measured(Quantity.RESISTANCE)


def test_hands_do_not_make_a_meter_slow() -> None:
    """Contact and air every few seconds are the hands', not the meter's."""
    conversions = Conversions(meter(2.0))
    feed(conversions, "OL OL OL 0.2 0.2 0.2 OL OL OL 0.3 0.3 0.3 " * 12, 0.5)
    assert ohms_s(conversions) == 0.5


@pytest.mark.parametrize("conversions_each", [2, 20])
def test_drift_does_not_make_a_meter_slow(conversions_each: int) -> None:
    """A value that creeps one way changes rarely on the fastest meter; T must not become ten seconds by that."""
    conversions = Conversions(meter(2.0))
    feed(conversions, " ".join(f"{3.0 + n / 1000:.3f}V " * conversions_each for n in range(40)), 0.5)
    assert conversions.pace.conversion_s == 0.5


def test_rare_flicker_does_not_make_a_meter_slow() -> None:
    """A last digit that moves every five seconds tells nothing about a meter: none is that slow."""
    conversions = Conversions(meter(2.0))
    feed(conversions, ("0.2 " * 10 + "0.3 " * 10) * 20, 0.5)
    assert ohms_s(conversions) == 0.5


def test_frames_that_waited_tell_no_rate() -> None:
    """A backlog that arrives in one moment is no meter of infinite rate, and breaks nothing."""
    conversions = Conversions(meter(2.0))
    t_s = feed(conversions, "0.2 0.3 " * 6, 0.5)
    feed(conversions, "0.2 0.3 " * 4, 0.0, from_s=t_s + 7 * 0.5)
    feed(conversions, "0.2 0.3 " * 10, 0.5, from_s=t_s + 8 * 0.5)
    assert ohms_s(conversions) == pytest.approx(0.5, rel=0.03)


def late(script: str, gap_s: float, frames: int, delays_s: list[float]) -> list[Reading]:
    """Return frames `gap_s` apart, each delayed by what is listed (in turn), never overtaking."""
    tokens = [token for token in script.split() for _ in range(frames)]
    out: list[Reading] = []
    arrived_s = 0.0
    for place, token in enumerate(tokens):
        arrived_s = max(arrived_s, place * gap_s + delays_s[place % len(delays_s)])
        out += readings(token, 1.0, arrived_s)
    return out


@pytest.mark.parametrize("frames", [1, 2, 3])
@pytest.mark.parametrize(
    "delays",
    [[0.0, 0.45, 0.1, 0.3], [2.0, 1.0, 0.0], [3.0, 2.0, 1.0, 0.0]],
    ids=["jitter", "bursts of three", "bursts of four"],
)
def test_jitter_and_bursts_neither_make_nor_lose_a_conversion(frames: int, delays: list[float]) -> None:
    """Steady values: after the first frames, exactly one conversion for each `frames` frames, whenever they arrive."""
    conversions = Conversions(meter(2.0))
    gap_s = 0.5 / frames
    sent = late("0.2 " * 100, gap_s, frames, [delay * gap_s for delay in delays])
    begun = [conversions.begins(reading) for reading in sent]
    assert sum(begun[-60 * frames :]) == 60


@pytest.mark.parametrize("stall_s", [0.8, 3.0])
def test_a_stall_makes_no_conversion(stall_s: float) -> None:
    """A pause in which frames are lost changes neither the usual gap nor T."""
    conversions = Conversions(meter(2.0))
    t_s = 0.0
    for _ in range(6):
        t_s = stall_s + feed(conversions, FLICKER, 0.1, 5, t_s)
    assert conversions.pace.gap_s == pytest.approx(0.1, rel=0.02)
    assert ohms_s(conversions) == pytest.approx(0.5, rel=0.02)


def test_a_conversion_whose_first_frame_was_lost_tells_no_time() -> None:
    """Two frames a conversion; after each pause the first frame that comes is a second one: T is never one frame."""
    conversions = Conversions(meter(2.0))
    t_s = feed(conversions, "0.2 0.3 " * 10, 0.25, 2)
    for _ in range(12):
        t_s = feed(conversions, "0.4 ", 0.25, 1, t_s + 1.25)
        t_s = feed(conversions, "0.2 0.3 " * 4, 0.25, 2, t_s)
    assert ohms_s(conversions) == pytest.approx(0.5, rel=0.02)


# --- T, kept from an earlier session


def test_a_kept_t_that_is_longer_is_taken_at_once() -> None:
    """It was measured on this profile and port: the profile is wrong about this meter."""
    conversions = Conversions(meter(2.0), {Quantity.RESISTANCE: 0.65})
    assert ohms_s(conversions) == conversions.times_s[Quantity.RESISTANCE] == 0.65
    assert conversions.is_measured(Quantity.RESISTANCE)


@pytest.mark.parametrize(("changes", "taken"), [(2, False), (3, True)])
def test_a_kept_t_that_is_shorter_needs_three_changes(changes: int, taken: bool) -> None:
    """The cable may have got another meter: three changes of this session must come as close as the kept T."""
    conversions = Conversions(meter(2.0), {Quantity.RESISTANCE: 0.1})
    t_s = feed(conversions, "OL " * 30, 0.1)
    assert ohms_s(conversions) == 0.5
    feed(conversions, "0.2 " + " ".join(("0.3", "0.2", "0.3")[:changes]), 0.1, from_s=t_s)
    assert (ohms_s(conversions) == 0.1) is taken


def test_a_kept_t_that_does_not_agree_is_not_taken() -> None:
    """Another meter, at 3/s: its own T is measured, never the kept one."""
    conversions = Conversions(meter(2.0), {Quantity.RESISTANCE: 0.1})
    feed(conversions, FLICKER, 1 / 3)
    assert ohms_s(conversions) == pytest.approx(1 / 3, rel=0.01)


def test_what_was_measured_can_be_kept() -> None:
    """Only what this session measured, by quantity."""
    conversions = Conversions(meter(2.0))
    feed(conversions, FLICKER, 0.1)
    assert conversions.measured_s == {Quantity.RESISTANCE: pytest.approx(0.1, rel=0.01)}


@pytest.mark.parametrize("stated", [1.0, 2.0, 2.6])
def test_a_steady_value_that_repeats_itself_does_not_make_t_longer(stated: float) -> None:
    """One frame a conversion, two a second; by chance some conversions show the value before.

    Changes then come 1, 2 or 3 conversions apart. The one apart is the conversion: T is 0.5 s, never 1.25 s as of a
    meter whose frames run on a clock of their own and whose changes are never that near.
    """
    apart = (1, 2, 1, 3, 1, 1, 2, 3, 2, 1, 1, 4, 2, 3, 1, 2, 1, 1, 3, 2) * 6
    script, value = "", 0.2
    for n, conversions in enumerate(apart):
        script += f"{value:.1f} " * conversions
        value = (0.3, 0.2, 0.1, 0.2)[n % 4]
    conversions = Conversions(meter(stated))  # type: ignore[assignment]
    begun(conversions, script, 0.5)  # type: ignore[arg-type]
    assert ohms_s(conversions) == pytest.approx(0.5, rel=0.03)  # type: ignore[arg-type]
