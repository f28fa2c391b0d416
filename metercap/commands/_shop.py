"""What the shop's jobs teach about the units of one job: where these jobs lie, and how long reading them may take."""

from __future__ import annotations

from collections.abc import Sequence

from metercap.commands._saying import tell
from metercap.errors import FileProblem
from metercap.faults import taught
from metercap.job import Folder
from metercap.order import Shop, known, matched, propose
from metercap.order.wording import share
from metercap.plan import Plan

LOOK_S = 3.0
"""How long a start may read journals that nobody read before; what is left is read at the next one."""
LOOK_AGAIN_S = 0.5
"""The same between two units of a running job, whose meter is sending."""


def shop_of(
    folder: Folder, plan: Plan, tag: str, jobs: Sequence[str], *, within_s: float = LOOK_S, alone: bool = False
) -> Shop:
    """Return what all units but `tag` teach: of this job and those beside it, or of the folders `jobs` and this one;
    `alone`: of this job only, and nothing is kept. FileProblem for a folder that is not there."""
    from metercap.archive.repairs import beside, repairs, where
    from metercap.archive.store import usual_place

    own = str(folder.path.absolute())
    named = [each for each in jobs if each != own]
    folders = [own] if alone else [*named, own] if named else beside(folder.path)
    try:
        found = repairs(folders, (folder.path, tag), None if alone else usual_place(), tell, within_s)
    except FileProblem:
        if named:
            raise
        return Shop()
    return taught(found, plan.model, plan.symptoms, where(named or folders, named=bool(named)))


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
