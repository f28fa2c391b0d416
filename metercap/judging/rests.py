"""What a value's U rests on, as a verdict lists it, and back: a record tells by itself what a session knew.

So nothing has to be played again to compare two values, to take a U apart or to judge by other limits.
"""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from metercap.errors import MetercapError
from metercap.judging.judge import Judgement
from metercap.meter import MeterProfile
from metercap.metrology.budget import Budget, budget_of, parts_of
from metercap.records import Verdict, VerdictKind
from metercap.rests import Found, Rests


def rests_of(judged: Judgement | None) -> Rests | UnsetType:
    """Return what a record says that the U of a judgement rests on; UNSET where that is not known."""
    if judged is None or judged.quantity is None or judged.budget is None:
        return UNSET
    return Rests(judged.quantity, parts_of(judged.budget), judged.budget.k)


def judgement_of(record: Verdict | Found, profile: MeterProfile) -> Judgement | None:
    """Return what a record's value rests on, as the session of a meter of `profile` had it; None without value or U.

    Parts that do not come to the recorded U are not those of the value: then nothing is known but U.
    """
    if record.value is None or record.expanded is None:
        return None
    kind, reason = (record.verdict, record.reason) if isinstance(record, Verdict) else (VerdictKind.PASS, "")
    resolution = record.resolution or 0.0
    rests = record.budget
    budget = None if isinstance(rests, UnsetType) else _budget(rests, resolution, profile)
    if isinstance(rests, UnsetType) or budget is None or budget.expanded != record.expanded:
        return Judgement(kind, record.value, record.expanded, resolution, reason)
    return Judgement(kind, record.value, record.expanded, resolution, reason, rests.quantity, budget)


def _budget(rests: Rests, resolution: float, profile: MeterProfile) -> Budget | None:
    """Return the budget, or None where a file lists what cannot be one."""
    try:
        return budget_of(rests.parts, rests.quantity, resolution, profile, rests.k)
    except MetercapError:
        return None
