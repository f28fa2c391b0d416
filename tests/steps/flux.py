"""Hands that touch sound fuses through flux: a share of contacts adds some ohms, drawn anew at each touch."""

from __future__ import annotations

import math
import random
from collections import Counter

from tests.steps.bench_play import Play, fuses

FUSE_OHM = 0.15
LIFT = "OL*5"


def sound_fuses(many: int, share: float, *, seed: int = 1, span: tuple[float, float] = (3.0, 300.0)) -> Counter[str]:
    """Touch `many` sound fuses of at most 2 Ω, a `share` of the touches through flux; count verdicts.

    Flux adds between the ends of `span` in ohms, evenly in its logarithm. The meter shows tenths, converts twice a
    second and blends the first conversion with air. A hand that hears `again` lifts and touches once more.
    """
    rng = random.Random(seed)
    given: Counter[str] = Counter()
    for _ in range(many):
        play = Play(fuses(1))(LIFT)
        while not play.session.finished:
            added = math.exp(rng.uniform(*map(math.log, span))) if rng.random() < share else 0.0
            shown = f"{FUSE_OHM + added:.1f}"
            play(f"{FUSE_OHM + added + rng.uniform(0.1, 400.0):.1f}")
            heard = len(play.cues)
            for _ in range(20):
                if play.session.finished or "again F1" in play.cues[heard:]:
                    break
                play(shown)
            play(LIFT)
        given[play.verdicts["F1"].verdict.value] += 1
    return given
