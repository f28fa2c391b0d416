"""Recorded values of a check under slow noise, as published series show it, and how often U holds the true one.

The series are first-order processes with the published lag-one autocorrelation, standard deviation and number of
digits, not the data themselves, which no package carries: Mavro (NIST StRD: mean 2.001856, sd 0.000429, lag-one 0.938,
ten readings a second); a standard resistor (NIST/SEMATECH e-Handbook 1.4.2.7: mean 28.01634, sd 0.06349, lag-one 0.972,
residual sd 0.0191 around a drift, at ten a second here).
"""

from __future__ import annotations

import random
from typing import NamedTuple

from tests.steps.bench_play import Play, check
from tests.steps.noisy import Noise

RATE = 10.0


class Series(NamedTuple):
    """Mean and standard deviation, lag-one autocorrelation, decimals shown, drift a second."""

    mean: float
    sd: float
    lag: float
    digits: int
    drift_per_s: float = 0.0


MAVRO = Series(2.001856, 0.000429, 0.938, 5)
RESISTOR = Series(28.01634, 0.0191, 0.972, 4, 0.0022)
COUNT = Series(100.0, 0.1, 0.94, 1)
"""Noise of one count."""


class Covered(NamedTuple):
    """Of `n` recorded values, how many U held: `first` of the first four items, `rest` of the others."""

    first: list[bool]
    rest: list[bool]
    spans: list[float]
    """U of the others, in standard deviations."""


def covered(series: Series, sessions: int, contacts: int, *, items: int = 8, seed: int = 1) -> Covered:
    """Check `items` of one and the same value in each session; 0.4 s to settle, 2.5 s from contact to contact."""
    rng = random.Random(seed)
    first: list[bool] = []
    rest: list[bool] = []
    spans: list[float] = []
    for _ in range(sessions):
        names = [f"R{n}" for n in range(1, items + 1)]
        play = Play(check(*names, min=None, max=None, contacts=contacts), rate=RATE)("OL*15")
        noise = Noise(rng, series.sd, series.lag)
        conversions = 0
        while not play.session.finished:
            heard = len(play.ticks), len(play.cues)
            play(f"{series.mean * 1.5:.{series.digits}f}")
            item = play.machine.item
            for _ in range(30):
                conversions += 1
                value = series.mean + noise() + series.drift_per_s * conversions / RATE
                play(f"{value:.{series.digits}f}")
                if play.ticks[heard[0] :] or f"again {item}" in play.cues[heard[1] :]:
                    break
            play("OL*25")
            noise(25)
            conversions += 25
        for name, given in play.verdicts.items():
            held = abs((given.value or 0.0) - series.mean) <= (given.expanded or 0.0)
            (first if int(name[1:]) <= 4 else rest).append(held)
            if int(name[1:]) > 4:
                spans.append((given.expanded or 0.0) / series.sd)
    return Covered(first, rest, spans)
