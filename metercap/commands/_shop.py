"""What the shop's jobs teach about the units of one job: where these jobs lie, and how long reading them may take."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from metercap.commands._saying import tell
from metercap.faults import Repair, taught
from metercap.job import Folder
from metercap.order import Shop, known, matched, propose
from metercap.order.wording import share
from metercap.plan import Plan

LOOK_S = 3.0
"""How long a start may read journals that nobody read before; what is left is read at the next one."""
LOOK_AGAIN_S = 0.5
"""The same between two units of a running job, whose meter is sending."""


class Nearby:
    """What units of this job and of others teach: of the jobs beside it, or in the folders `jobs`; `alone`: of this job
    only, and nothing is kept. Other jobs are read once, this one each time, since it changes while it is worked on."""

    def __init__(self, folder: Folder, jobs: Sequence[str] = (), *, alone: bool = False) -> None:
        self._folder, self._alone = folder, alone
        self._named = [each for each in jobs if Path(each).absolute() != folder.path.absolute()]
        self._others: tuple[Repair, ...] | None = None
        self._where = ""

    def shop(self, plan: Plan, tag: str) -> Shop:
        """Return what all units but `tag` teach. FileProblem for a folder that was named and is not there."""
        from metercap.archive.repairs import beside, repairs, where
        from metercap.archive.store import usual_place

        own, place = self._folder.path, None if self._alone else usual_place()
        if self._others is None:
            folders = self._named or ([str(own)] if self._alone else beside(own))
            self._where = where(folders, named=bool(self._named))
            self._others = repairs(folders, (own, None), place, tell, LOOK_S)
        mine = repairs([str(own)], (own, tag), place, tell, LOOK_AGAIN_S)
        return taught((*self._others, *mine), plan.model, plan.symptoms, self._where)


def foretold(plan: Plan, said: str, shop: Shop) -> str:
    """Return what is proposed for a unit that has not begun, in one line, as its session will tell it first.

    Empty where its symptom is none of the plan's.
    """
    symptom, _ = matched(said, plan.symptoms)
    if not symptom:
        return ""
    rests_on = known(plan.steps, plan.symptoms, said, shop)
    proposed = propose(
        plan.steps,
        symptom,
        rests_on.chances[symptom],
        lambda _: False,
        faults=rests_on.faults.get(symptom),
        units=rests_on.units.get(symptom, 0),
    )
    if proposed is None:
        return ""
    then = ", ".join(f"{each.step} {share(each.chance)}" for each in proposed.order[1:4])
    return f"{proposed.why}{f'; then {then}' if then else ''}"
