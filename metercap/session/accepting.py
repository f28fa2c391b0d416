"""Accepting: whether the operator may leave a verdict as it is, with a reason, and count it as good.

The verdict stays what it is. Never accepted is a proof of being dead, a trimmer that stands past a hazard limit, and
what was not done: a word is no measurement.
"""

from __future__ import annotations

from msgspec import UNSET

from metercap.plankeys import SafeStep, StepBase
from metercap.records import Verdict, VerdictKind
from metercap.steps import Bench

GOOD = (VerdictKind.PASS, VerdictKind.ABSENT)


def refused(step: StepBase, item: str, bench: Bench, *, is_open: bool) -> str:
    """Return why the verdict on an item is not accepted, or an empty text; `is_open`: it is asked for (again)."""
    verdict = bench.verdicts.get((step.id, item))
    if isinstance(step, SafeStep):
        return f"{item} belongs to {step.id}, the proof that the unit is dead: that is measured and never accepted"
    past = bench.standing.get(item)
    if past is not None and past.believed:
        return f"{past.said(item)}: turn it back, that is never accepted"
    if verdict is None or not _was_done(verdict):
        return f"{item} was not done: there is nothing to accept"
    if verdict.verdict in GOOD:
        return f"{item} is {verdict.verdict}: there is nothing to accept"
    return f"{item} is asked for again: its verdict does not stand yet" if is_open else ""


def _was_done(verdict: Verdict) -> bool:
    """Return whether a verdict rests on a value, a count or a word about the item; one that was skipped does not."""
    counted = verdict.runs is not UNSET and verdict.runs is not None
    return verdict.verdict is not VerdictKind.UNSURE or verdict.value is not None or counted
