"""sweep and check: what each adds to the walk.

A sweep ticks as soon as a limit is decided, and counts its ticks. A check records one settled value per item, against
limits or a reference, from separate contacts.

The spread between contacts is pooled over the step: its first four items are touched twice, and the pooled spread
enters every U of the step. What was judged before it was known is judged anew, and given anew, when the step ends.
"""

from __future__ import annotations

from metercap.judging.pool import Pool
from metercap.plankeys import CheckStep, SweepStep
from metercap.steps.bench import Bench
from metercap.steps.probing import Probing, Result
from metercap.steps.walk.machine import Walk

UNPLANNED = "unplanned"
"""The step id of an item that the plan does not have (`probe NAME`): alone, it has nothing to pool with."""
ANEW = "the spread between contacts is known now, from all items of the step: the first ones are judged anew with it"


class Sweep(Walk):
    """A walk that ticks as soon as a limit is decided, and asks whether the last tick was where it should be."""

    def __init__(self, step: SweepStep, bench: Bench) -> None:
        groups = {name: number for number, group in enumerate(step.clusters) for name in group}
        super().__init__(step, bench, decisive=step.contacts == 1, count_check=step.count_check, groups=groups)


class Check(Walk):
    """A walk that records settled values."""

    def __init__(self, step: CheckStep, bench: Bench) -> None:
        super().__init__(step, bench, decisive=False)
        self._pool = None if step.id == UNPLANNED else Pool()
        self._early: dict[str, Probing] = {}

    def decide(self) -> None:
        """Remember what was judged before the spread was known."""
        self._early.pop(self.item, None)
        if self._pool is not None and not self._pool.known:
            self._early[self.item] = self._probing
        super().decide()

    def be_left(self) -> None:
        """The step is left: what it holds is judged with the spread that is known by now."""
        super().be_left()
        self.finish()

    def finish(self) -> None:
        """Judge it anew."""
        anew = [(item, result) for item, probing in self._early.items() if (result := self._anew(item, probing))]
        if anew:
            self.bench.note(ANEW)
        for item, result in anew:
            limits = self._early[item].aim.limits
            self.bench.give(item, result.verdict, limits=limits, **result.told)
        self._early.clear()

    def _anew(self, item: str, probing: Probing) -> Result | None:
        """Return what the pooled spread makes of a verdict that stands; None where it changes nothing."""
        before, stands = probing.result, self.bench.verdicts.get((self.step.id, item))
        if before is None or stands is None or stands.contacts != before.contacts:
            return None
        result = probing.anew()
        return None if result is None or result.judged.expanded == before.judged.expanded else result
