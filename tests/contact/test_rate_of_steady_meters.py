"""T of meters whose true T is known: right to a tenth, or not claimed at all.

The meters are made here, conversion by conversion, with what hands and circuits do to them: a last digit that walks,
volts that change rarely, a pencil line, touches and lifts; and with what a link does to their frames. Expectations are
the true T of the generator.
"""

from __future__ import annotations

import random

import pytest

from metercap.contact import Conversions
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading, State

RATES = (1.25, 2.0, 3.0303, 5.0, 10.0)
SHOWN = {
    "volts that change rarely": 0.07,
    "a cell with noise under one count": 0.25,
    "a walk of ohms": 0.55,
    "touches": 0.5,
    "a pencil line": 0.95,
}
"""What is shown, and the share of conversions in which it changes."""
LINKS = ("smooth", "jitter", "bursts", "backlog")
OHMS = Quantity.RESISTANCE


def conversions_shown(kind: str, rng: random.Random, number: int) -> list[float | None]:
    """Return what the display shows, conversion by conversion; None is over-range."""
    share, out = SHOWN[kind], []
    count = 1580
    touches_for = rng.randint(4, 12)
    on = kind != "touches"
    for _ in range(number):
        touches_for -= 1
        if kind == "touches" and touches_for <= 0:
            on, touches_for = not on, rng.randint(4, 12)
            out.append(count * 2.7 / 1000 if on or rng.random() < 0.5 else None)  # partly open
            continue
        if rng.random() < share:
            count += rng.choice((-1, 1)) if kind != "a pencil line" else rng.choice((-37, -5, 4, 41))
        out.append(round(count / 1000, 3) if on else None)
    return out


def frames(shown: list[float | None], t_s: float, each: int, link: str, rng: random.Random) -> list[Reading]:
    """Return the frames of these conversions, `each` of a conversion, as the link hands them over."""
    gap_s, out, arrived_s = t_s / each, [], 0.0
    sent = [value for value in shown for _ in range(each)]
    for place, value in enumerate(sent):
        late = 0.0
        if link == "jitter":
            late = rng.uniform(0.0, 0.4)  # ±20 % of a gap
        elif link == "bursts":
            late = 2.0 - place % 3
        elif link == "backlog":
            late = max(0.0, 9.0 - place) + rng.uniform(0.0, 0.05)  # what waited in the port as it was opened
        arrived_s = max(arrived_s, (place + late) * gap_s)
        state = State.OVER if value is None else State.OK
        out.append(Reading(round(arrived_s, 6), OHMS, value, 0.001, "ohm", state, (), ""))
    return out


def claims(conversions: Conversions, sent: list[Reading]) -> list[float]:
    """Return every T that was used after it was said to be measured."""
    found = []
    for reading in sent:
        conversions.begins(reading)
        if conversions.is_measured(OHMS):
            found.append(conversions.pace.conversion_s)
    return found


EACH = [(rate, each, link) for rate in RATES for each in (1, 2, 4) for link in LINKS]


@pytest.mark.parametrize(("rate", "each", "link"), EACH)
@pytest.mark.parametrize("kind", SHOWN)
def test_t_is_right_or_not_claimed(kind: str, rate: float, each: int, link: str) -> None:
    """Rule 1: from a profile of 2/s, T of the meter to a tenth, or the profile's word."""
    for seed in range(2):
        rng = random.Random(f"{kind} {rate} {each} {link} {seed}")
        sent = frames(conversions_shown(kind, rng, 300), 1.0 / rate, each, link, rng)
        found = claims(Conversions(MeterProfile(name="model", family="text", conversions_per_s=2.0)), sent)
        wrong = [t_s for t_s in found if not 0.9 / rate < t_s < 1.1 / rate]
        assert not wrong, f"seed {seed}: {sorted(set(wrong))} of a true {1.0 / rate:.3f}"


@pytest.mark.parametrize("each", [1, 2, 4])
@pytest.mark.parametrize("link", LINKS)
@pytest.mark.parametrize("rate", RATES)
def test_a_pencil_line_measures_t(rate: float, link: str, each: int) -> None:
    """Half a minute of readings that change with almost every conversion: T is claimed, whatever the link."""
    rng = random.Random(f"{rate} {link} {each}")
    shown = conversions_shown("a pencil line", rng, max(40, int(30 * rate)))
    conversions = Conversions(MeterProfile(name="model", family="text", conversions_per_s=2.0))
    found = claims(conversions, frames(shown, 1.0 / rate, each, link, rng))
    assert found
    assert found[-1] == pytest.approx(1.0 / rate, rel=0.05)


@pytest.mark.parametrize("kind", SHOWN)
@pytest.mark.parametrize("rate", RATES)
def test_changes_one_frame_apart_refute_any_longer_t(rate: float, kind: str) -> None:
    """However rarely values change: once two changes came one frame apart, T is never longer than before."""
    for seed in range(4):
        rng = random.Random(f"{kind} {rate} {seed}")
        conversions = Conversions(MeterProfile(name="model", family="text", conversions_per_s=rate))
        first = frames([1.58, 1.581, 1.58, 1.581, *conversions_shown(kind, rng, 400)], 1.0 / rate, 1, "jitter", rng)
        for reading in first:
            conversions.begins(reading)
            assert conversions.pace.conversion_s <= 1.1 / rate


def test_a_kept_longer_t_is_dropped_when_changes_refute_it() -> None:
    """T = 0.77 s was kept of a meter of 3.03/s: with the third change one frame after another it is gone."""
    profile = MeterProfile(name="model", family="text", conversions_per_s=2.0)
    conversions = Conversions(profile, {OHMS: 0.77})
    rng = random.Random(1)
    steady = [1.58] * 30
    for reading in frames(steady, 0.33, 1, "smooth", rng):  # type: ignore[arg-type]
        conversions.begins(reading)
    assert conversions.pace.conversion_s == 0.77
    *two, third = frames([*steady, 1.581, 1.582, 1.583, 1.584], 0.33, 1, "smooth", rng)[30:]
    for reading in two:
        conversions.begins(reading)
    assert conversions.pace.conversion_s == 0.77
    conversions.begins(third)
    assert conversions.pace.conversion_s <= 0.5


def at(times_s: list[float], values: list[float]) -> list[Reading]:
    """Return readings of these values at these times."""
    return [
        Reading(round(t_s, 6), OHMS, value, 0.001, "ohm", State.OK, (), "")
        for t_s, value in zip(times_s, values, strict=True)
    ]


def fed(rate: float, sent: list[Reading]) -> Conversions:
    """Return what is known after these readings, with a profile of `rate`."""
    conversions = Conversions(MeterProfile(name="model", family="text", conversions_per_s=rate))
    for reading in sent:
        conversions.begins(reading)
    return conversions


def apart(distances: list[int], gap_s: float) -> list[Reading]:
    """Return frames whose value changes after so many frames each, after half a block in which it stands still."""
    values = [1.0] * 24
    for n, frames_each in enumerate(distances):
        values += [1.1 + 0.1 * (n % 2)] * frames_each
    return at([n * gap_s for n in range(len(values))], values)


def test_one_change_that_came_sooner_keeps_t_from_being_longer() -> None:
    """Forty changes two frames apart would make T two frames; one before them came after one."""
    assert fed(4.0, apart([2] * 40, 0.25)).pace.conversion_s == pytest.approx(0.5)
    assert fed(4.0, apart([1] + [2] * 40, 0.25)).pace.conversion_s == 0.25


@pytest.mark.parametrize(("distances", "t_s"), [([2] + [4] * 20, 0.4), ([2, 4] * 10, 0.2)])
def test_the_shortest_distance_must_be_seen_more_than_once(distances: list[int], t_s: float) -> None:
    """One change two frames after another may be a torn frame: it makes no T of two frames."""
    assert fed(2.0, apart(distances, 0.1)).pace.conversion_s == pytest.approx(t_s)


@pytest.mark.parametrize(("changes", "t_s"), [(20, 0.5), (40, 0.25)])
def test_out_of_step_takes_more_changes(changes: int, t_s: float) -> None:
    """Conversions of two and a half frames: now two, now three; so may be steady values of one frame, for a while."""
    assert fed(2.0, apart([2, 3] * (changes // 2), 0.1)).pace.conversion_s == pytest.approx(t_s, rel=0.03)


def test_a_gap_that_stalls_made_too_long_leaves_no_short_t_behind() -> None:
    """Two stalls while the usual gap is first measured: T is longer for a while, then the profile's again, and five
    frames a conversion stay one conversion."""
    gaps_s = [0.1] * 8 + [6.0, 0.0, 0.0] + [0.1] * 4 + [6.0] + [0.1] * 200
    times_s = [0.0]
    for gap_s in gaps_s:
        times_s.append(times_s[-1] + gap_s)
    conversions = Conversions(MeterProfile(name="model", family="text", conversions_per_s=2.0))
    begun = [conversions.begins(reading) for reading in at(times_s, [1.0] * len(times_s))]
    assert conversions.pace.conversion_s == 0.5
    assert sum(begun[-50:]) == 10


@pytest.mark.parametrize("waited", [7, 18, 30])
def test_frames_that_waited_in_the_port_make_no_meter_fast(waited: int) -> None:
    """However many come in one moment as the port is opened, each with another value: the meter makes ten a second."""
    times_s = [0.0] * waited + [0.1 * n for n in range(1, 60)]
    found = claims(
        Conversions(MeterProfile(name="model", family="text", conversions_per_s=2.0)),
        at(times_s, [1.0 + 0.1 * (n % 2) for n in range(len(times_s))]),
    )
    assert found
    assert all(0.09 < t_s < 0.11 for t_s in found)


def test_bursts_from_the_start_are_no_backlog() -> None:
    """Bursts of four, the first one among them: the usual gap over whole bursts is the meter's."""
    times_s = [0.4 * (n // 4) for n in range(40)]
    assert fed(2.0, at(times_s, [1.0] * 40)).pace.gap_s == pytest.approx(0.1, rel=0.01)


def test_a_stall_at_the_start_makes_no_backlog_of_all_before_it() -> None:
    """Three seconds without a frame, after fifteen of them: neither the usual gap nor T is any longer by that."""
    sent = at([0.33 * n + (3.0 if n > 14 else 0.0) for n in range(20)], [1.0] * 20)
    for number in range(16, 21):
        pace = fed(2.0, sent[:number]).pace
        assert pace.gap_s == pytest.approx(0.33, rel=0.01)
        assert pace.conversion_s == 0.5
