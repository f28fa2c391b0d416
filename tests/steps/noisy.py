"""A meter of many digits whose noise is many counts: leads, then fuses, sound or with a voltage in the circuit."""

from __future__ import annotations

import math
import random
from collections import Counter

from tests.steps.bench_play import Play, fuses, zero

LEADS_OHM = 0.15
DIGITS = 4
RATE = 10.0


class Noise:
    """First-order noise of one standard deviation, in ohms; `lag` is its lag-one autocorrelation."""

    def __init__(self, rng: random.Random, sd_ohm: float, lag: float) -> None:
        self.rng, self.sd_ohm, self.lag = rng, sd_ohm, lag
        self.now = rng.gauss(0.0, sd_ohm)

    def __call__(self, conversions: int = 1) -> float:
        """Let so many conversions go by, and return the noise of the last."""
        for _ in range(conversions):
            self.now = self.lag * self.now + math.sqrt(1.0 - self.lag**2) * self.rng.gauss(0.0, self.sd_ohm)
        return self.now


def sweep(
    rng: random.Random, many: int, *, sd_ohm: float, lag: float, below_ohm: float = 0.0, most: int = 40
) -> Counter[str]:
    """Null the leads, touch `many` fuses of 0 to 50 mΩ; count what each led to first.

    `below_ohm`: so far a voltage in the circuit brings each reading down; 0 for none.
    """
    noise = Noise(rng, sd_ohm, lag)

    def touch(play: Play, ohm: float, until: str) -> str:
        heard = len(play.ticks), len(play.cues)
        play(f"{ohm + rng.uniform(0.2, 5.0):.{DIGITS}f}")
        for _ in range(most):
            play(f"{ohm + noise():.{DIGITS}f}")
            if play.ticks[heard[0] :] or until in play.cues[heard[1] :]:
                break
        new = [tick.split()[1] for tick in play.ticks[heard[0] :]]
        said = new[0] if new else "stop" if until in play.cues[heard[1] :] else "nothing"
        play("OL*15")
        noise(15)
        return said

    play = Play(zero(), fuses(many), rate=RATE)("OL*15")
    assert touch(play, LEADS_OHM, "") == "pass"
    led: Counter[str] = Counter()
    for n in range(many):
        led[touch(play, LEADS_OHM + rng.uniform(0.0, 0.05) - below_ohm, f"stop F{n + 1}")] += 1
        if play.machine is not None and play.machine.item == f"F{n + 1}":
            play(":skip OL*15")
    return led
