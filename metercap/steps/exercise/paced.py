"""How long a press or a release may take: the meter's conversions and the hand, by the newest reading."""

from __future__ import annotations

from metercap.judging.judge import Limits
from metercap.plankeys import ExerciseStep
from metercap.quantity import Quantity
from metercap.steps.bench import Bench
from metercap.steps.exercise.closure import LEAST, Closure
from metercap.steps.listed import Listed

HAND_S = 2.0
"""From a prompt to a finger that has moved, four standard deviations above the mean of 0.7 ± 0.3 s (common practice, no
source). Only a press that shows nothing takes so long."""
LET_GO_S = 1.5
"""How long a finger gets that moves while the contact shows nothing; a later one is waited for where it shows."""


class Paced(Listed):
    """The times of half a press, asked for at `_asked_s`; `_still`: the contact was already as it should become."""

    def __init__(self, step: ExerciseStep, bench: Bench) -> None:
        super().__init__(step, bench, Limits(None, step.max, "ohm", step.rule or bench.rule))
        self._step = step
        self._seen = Closure()
        self._overdue = self._still = False
        self._asked_s = 0.0

    def _phase_s(self) -> float:
        if self._step.pace_s is not None:
            return self._step.pace_s
        return (LEAST + 1) * self._conversion_s() + HAND_S

    def _conversion_s(self) -> float:
        quantity = Quantity.RESISTANCE if self.reading is None else self.reading.quantity
        return self.bench.conversions.times_s[quantity]

    def _forget_press(self) -> None:
        self._seen.forget()
        self._overdue = False

    def _too_soon(self) -> bool:
        """Return whether a finger may still be on its way, since nothing had to change at the contact."""
        return self._still and self.bench.t_s < self._asked_s + min(LET_GO_S, self._phase_s())

    def _stalled(self) -> bool:
        """Return whether the meter has sent no conversion for so long that the contact may have changed unseen."""
        return self.bench.t_s - self._seen.last_s > 2.0 * self._conversion_s()
