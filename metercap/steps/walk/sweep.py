"""sweep: items in natural order, ticked off hands-free, with a count check at the end of each look."""

from __future__ import annotations

from metercap.plankeys import SweepStep
from metercap.steps.bench import Bench
from metercap.steps.walk.machine import Walk


class Sweep(Walk):
    """A walk that ticks as soon as a limit is decided, and asks whether the last tick was where it should be."""

    def __init__(self, step: SweepStep, bench: Bench) -> None:
        groups = {name: number for number, group in enumerate(step.clusters) for name in group}
        super().__init__(step, bench, decisive=step.contacts == 1, count_check=step.count_check, groups=groups)
