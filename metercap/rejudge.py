"""Judging a recorded session again under another plan's limits, targets and rule.

The session is not run again, since the hands answered the old prompts. Every verdict names its readings (`from_s` …
`t_s`); these are judged anew for the same step id and item. What only one of the two plans has is listed, not judged.
Pure: records in, a report out.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence

import msgspec

from metercap.metrology.domain import round6
from metercap.plan import Plan
from metercap.reading import Reading
from metercap.records import Record, SessionRecord, Verdict, VerdictKind
from metercap.session import derive
from metercap.steps import StepBase, TuneStep
from metercap.steps.good import Goods
from metercap.steps.items import WalkStep, walked
from metercap.steps.judge import Judgement, Limits, judged
from metercap.steps.keys import Rule
from metercap.steps.trimmer import AS_FOUND, REFERENCE


class Rejudged(msgspec.Struct, frozen=True):
    """One item under both plans. `changed` is true when the verdict differs, `before` and `after` hold both."""

    step: str
    item: str
    before: Verdict
    after: Verdict
    changed: bool


class Unjudged(msgspec.Struct, frozen=True):
    """An item that could not be judged again, and why."""

    step: str
    item: str
    why: str


class Rejudgement(msgspec.Struct, frozen=True):
    """Everything that another plan says of a session."""

    rows: tuple[Rejudged, ...]
    not_judged: tuple[Unjudged, ...]

    @property
    def changed(self) -> tuple[Rejudged, ...]:
        """The items whose verdict differs."""
        return tuple(row for row in self.rows if row.changed)


def rejudge(first: SessionRecord, records: Iterable[Record], other: Plan) -> Rejudgement:
    """Judge the standing verdicts of a session again under `other`; `records` are those after the first."""
    readings: list[Reading] = []
    known = derive(first, _noting(records, readings))
    goods = Goods(first)
    times = [reading.t_s for reading in readings]
    steps = {step.id: step for step in other.steps}
    rows: list[Rejudged] = []
    left: list[Unjudged] = []
    for (step_id, item), verdict in known.standing.items():
        step = steps.get(step_id)
        limits = None if step is None else limits_for(step, item, verdict, first, other.rule, goods)
        if step is None or limits is None:
            left.append(Unjudged(step_id, item, "only the session's plan has it"))
        elif verdict.value is None or verdict.from_s is None or verdict.expanded is None:
            left.append(Unjudged(step_id, item, "decided by a word, not by a value"))
        elif limits.unit != verdict.unit:
            left.append(
                Unjudged(step_id, item, f"the other plan wants {limits.unit or 'no unit'}, it is {verdict.unit}")
            )
        else:
            after = _again(verdict, limits, known.judged.get((step_id, item)), _between(readings, times, verdict))
            rows.append(Rejudged(step_id, item, verdict, after, after.verdict is not verdict.verdict))
    for step in other.steps:
        left.extend(
            Unjudged(step.id, name, "only the other plan has it, or it was never decided")
            for name in step.item_names
            if (step.id, name) not in known.standing
        )
    return Rejudgement(tuple(rows), tuple(left))


def limits_for(
    step: StepBase, item: str, verdict: Verdict, first: SessionRecord, rule: Rule, goods: Goods
) -> Limits | None:
    """Return the limits a plan's step sets for an item, or None when it judges no value of that item.

    `goods` are the good units that the session was given; they judge what the plan sets no limits for.
    """
    if isinstance(step, WalkStep):
        for each in walked(step.items):
            if each.name == item:
                return step.limits_of(each, rule, goods)
        return None
    if isinstance(step, TuneStep) and item in step.item_names:
        target = _target(step, item, verdict, first)
        if target is None:
            return None
        band = step.band(target)
        return Limits(band.low, band.high, step.unit or step.wanted[0].unit, step.rule or rule)
    return None


def _target(step: TuneStep, item: str, verdict: Verdict, first: SessionRecord) -> float | None:
    if step.target == REFERENCE:
        value = first.reference.get(f"{step.id}/{item}", {}).get("value")
        return None if value is None else float(value)
    if step.target == AS_FOUND:
        return verdict.as_found if isinstance(verdict.as_found, float) else None
    return float(step.target)


def _between(readings: Sequence[Reading], times: Sequence[float], verdict: Verdict) -> list[Reading]:
    low = bisect_left(times, verdict.from_s or 0.0)
    high = bisect_right(times, verdict.t_s)
    return [
        reading
        for reading in readings[low:high]
        if reading.value is not None and reading.resolution == verdict.resolution and reading.unit == verdict.unit
    ]


def _again(verdict: Verdict, limits: Limits, rests: Judgement | None, readings: Sequence[Reading]) -> Verdict:
    """Judge a verdict's value again; one taken before a plateau rests on its readings, and these must all agree."""
    value, expanded, resolution = verdict.value or 0.0, verdict.expanded or 0.0, verdict.resolution or 0.0
    quantity, budget = (None, None) if rests is None else (rests.quantity, rests.budget)
    judgement = judged(value, expanded, resolution, limits, quantity, budget)
    kind, reason = judgement.verdict, judgement.reason
    if not verdict.settled and readings:
        lead = round6((readings[-1].value or 0.0) - value)
        each = [
            judged(round6((reading.value or 0.0) - lead), expanded, resolution, limits).verdict for reading in readings
        ]
        if any(one is not kind for one in each):
            kind, reason = (
                VerdictKind.UNSURE,
                "taken before a plateau, and its readings do not agree under these limits",
            )
    held = judgement.held(limits)
    return msgspec.structs.replace(verdict, verdict=kind, reason=reason, rule=held.rule, min=held.low, max=held.high)


def _noting(records: Iterable[Record], readings: list[Reading]) -> Iterator[Record]:
    for record in records:
        if isinstance(record, Reading):
            readings.append(record)
        yield record
