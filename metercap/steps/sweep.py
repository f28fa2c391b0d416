"""sweep: items in natural order, ticked off hands-free, with a count check at the end of each look."""

from __future__ import annotations

from metercap.quantity import Quantity
from metercap.steps.bench import Bench
from metercap.steps.items import WalkStep
from metercap.steps.keys import Groups
from metercap.steps.walk import Walk


class SweepStep(WalkStep, frozen=True, tag="sweep", kw_only=True):
    """Keys of a `sweep` step. With ohm limits and no `quantity`, resistance and continuity both count.

    `count_check` asks at the end of each look whether the last tick was where it should be; `clusters`, groups of items
    that stand together, have it asked after each of them as well, so that a `no` costs one group.
    """

    count_check: bool = True
    clusters: Groups = ()

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """The plan's quantity, else what the limits' unit stands for."""
        first = super().wanted
        if self.quantity is None and first == (Quantity.RESISTANCE,):
            return (Quantity.RESISTANCE, Quantity.CONTINUITY)
        return first


class Sweep(Walk):
    """A walk that ticks as soon as a limit is decided, and asks whether the last tick was where it should be."""

    def __init__(self, step: SweepStep, bench: Bench) -> None:
        groups = {name: number for number, group in enumerate(step.clusters) for name in group}
        super().__init__(step, bench, decisive=step.contacts == 1, count_check=step.count_check, groups=groups)
