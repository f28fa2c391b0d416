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
    for reading in frames(steady, 0.33, 1, "smooth", rng):
        conversions.begins(reading)
    assert conversions.pace.conversion_s == 0.77
    for reading in frames([*steady, 1.581, 1.582, 1.583, 1.584], 0.33, 1, "smooth", rng)[30:]:
        conversions.begins(reading)
    assert conversions.pace.conversion_s <= 0.5
