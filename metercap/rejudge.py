"""Judging a recorded session again under another plan's limits, targets and rule.

The session is not run again, since the hands answered the old prompts. Every verdict names its contacts, and these are
judged anew for the same step id and item; a contact that was rejected stays so. Only what rested on limits is judged:
an `unsure` for any other reason and a word stay what they were, and what stands past a hazard limit of the other plan
fails whatever its band says. What only one of the two plans has, and what the other one asks more contacts for, is
listed, not judged. Pure: records in, a report out.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence

import msgspec

from metercap.judging.good import BY_REFERENCE, Goods
from metercap.judging.judge import Judgement, Limits, judged, limits_of
from metercap.judging.rests import judgement_of
from metercap.metrology.decide import decide
from metercap.metrology.domain import round6
from metercap.plan import Plan, from_builtins
from metercap.plankeys import StepBase, TuneStep
from metercap.plankeys.base import Rule
from metercap.plankeys.tune import AS_FOUND, REFERENCE
from metercap.plankeys.walk import WalkStep, walked
from metercap.reading import Reading
from metercap.records import Record, SessionRecord, Verdict, VerdictKind
from metercap.rests import Touched

BESIDE = ("not counted, since they differ: ", "unsteady contact: ", "an earlier contact read ", "differs from ")
"""How what a verdict says beside its limits may begin; any other reason in front of theirs is one of its own."""

ONLY_HERE = "only the session's plan has it"
NO_LIMITS = "no limits of a plan decide it"
BY_WORD = "decided by a word, not by a value"


class Rejudged(msgspec.Struct, frozen=True):
    """One item under both plans. `changed` is true when the verdict differs, `before` and `after` hold both."""

    step: str
    item: str
    before: Verdict
    after: Verdict
    changed: bool


class Unjudged(msgspec.Struct, frozen=True):
    """An item that could not be judged again, and why; `stays` is its verdict where the other plan has it, too."""

    step: str
    item: str
    why: str
    stays: Verdict | None = None


class Rejudgement(msgspec.Struct, frozen=True):
    """Everything that another plan says of a session."""

    rows: tuple[Rejudged, ...]
    not_judged: tuple[Unjudged, ...]

    @property
    def changed(self) -> tuple[Rejudged, ...]:
        """The items whose verdict differs."""
        return tuple(row for row in self.rows if row.changed)

    @property
    def good(self) -> bool:
        """Whether every verdict that stands under the other plan is pass or absent; a word's stands as it was."""
        stand = [*(row.after for row in self.rows), *(each.stays for each in self.not_judged if each.stays is not None)]
        return all(verdict.verdict in (VerdictKind.PASS, VerdictKind.ABSENT) for verdict in stand)


def rejudge(first: SessionRecord, records: Iterable[Record], other: Plan) -> Rejudgement:
    """Judge the standing verdicts of a session again under `other`; `records` are those after the first."""
    readings: list[Reading] = []
    standing: dict[tuple[str, str], Verdict] = {}
    for record in records:
        if isinstance(record, Reading):
            readings.append(record)
        elif isinstance(record, Verdict):
            standing[record.step, record.item] = record
    goods = Goods(first)
    times = [reading.t_s for reading in readings]
    steps = {step.id: step for step in other.steps}
    before = {step.id: step for step in from_builtins(first.plan).steps}
    rows: list[Rejudged] = []
    left: list[Unjudged] = []
    for (step_id, item), verdict in standing.items():
        step = steps.get(step_id)
        planned = step is not None and item in step.item_names
        why = _kept_apart(verdict, step, before.get(step_id)) if step is not None and planned else ONLY_HERE
        limits = None if step is None or why else limits_for(step, item, verdict, first, other.rule, goods)
        if not why and limits is None:
            why = NO_LIMITS
        if limits is not None and limits.unit != verdict.unit:
            why = f"the other plan wants {limits.unit or 'no unit'}, it is {verdict.unit}"
        if why or step is None or limits is None:
            left.append(Unjudged(step_id, item, why, verdict if planned else None))
            continue
        after = verdict
        if rests_on_limits(verdict):
            after = _again(verdict, limits, judgement_of(verdict, first.meter), _between(readings, times, verdict))
            after = _past_hazard(step, item, first, after)
        rows.append(Rejudged(step_id, item, verdict, after, after.verdict is not verdict.verdict))
    for step in other.steps:
        left.extend(
            Unjudged(step.id, name, "only the other plan has it, or it was never decided")
            for name in step.item_names
            if (step.id, name) not in standing
        )
    return Rejudgement(tuple(rows), tuple(left))


def rests_on_limits(verdict: Verdict) -> bool:
    """Return whether a verdict is what the limits it names make of its value, and not the outcome of anything else.

    So the decision on its value is made once more by its own limits: a count check, leakage, a capacitor or drifting
    leads gave another verdict than that, or put their reason before its own.
    """
    if verdict.value is None or verdict.expanded is None or verdict.verdict is VerdictKind.ABSENT:
        return False
    if verdict.rule in ("guarded", "simple"):
        rule: Rule = "simple" if verdict.rule == "simple" else "guarded"
        by_limits = decide(verdict.value, verdict.expanded, verdict.min, verdict.max, rule, verdict.resolution or 0.0)
        if by_limits.verdict is not verdict.verdict:
            # Taken before a plateau, past a hazard limit: a fail or pass that limits made all the same.
            return verdict.verdict is VerdictKind.FAIL
        own = by_limits.reason
    else:
        own = "" if verdict.rule == BY_REFERENCE or verdict.verdict is VerdictKind.PASS else "?"
    if verdict.verdict is not VerdictKind.UNSURE:
        return True
    parts = verdict.reason.split("; ")
    ahead = parts[: parts.index(own)] if own in parts else parts[:1]
    return all(part.startswith(BESIDE) for part in ahead)


def _kept_apart(verdict: Verdict, step: StepBase, before: StepBase | None) -> str:
    """Return why a verdict's value cannot be judged by another plan's step; "" where it can."""
    if verdict.value is None or verdict.expanded is None:
        return BY_WORD
    if verdict.from_s is None:
        return "taken over from an earlier session, whose readings are not in this file"
    asked = getattr(step, "contacts", 1)
    there = len(verdict.contacts) if isinstance(verdict.contacts, tuple) else getattr(before, "contacts", 1)
    if asked > there:
        return f"the other plan asks for {asked} contacts, and there {'is' if there == 1 else 'are'} {there}"
    return ""


def _past_hazard(step: StepBase, item: str, first: SessionRecord, verdict: Verdict) -> Verdict:
    """Return the verdict, failed where its value lies past a hazard limit of the other plan."""
    target = _target(step, item, verdict, first) if isinstance(step, TuneStep) else None
    if not isinstance(step, TuneStep) or target is None or verdict.value is None:
        return verdict
    side = step.band(target).beyond(verdict.value, 0.0)
    if side is None:
        return verdict
    reason = "; ".join(part for part in (f"left {side} its hazard limit", verdict.reason) if part)
    return msgspec.structs.replace(verdict, verdict=VerdictKind.FAIL, reason=reason)


def limits_for(
    step: StepBase, item: str, verdict: Verdict, first: SessionRecord, rule: Rule, goods: Goods
) -> Limits | None:
    """Return the limits a plan's step sets for an item, or None when it judges no value of that item.

    `goods` are the good units that the session was given; they judge what the plan sets no limits for.
    """
    if isinstance(step, WalkStep):
        for each in walked(step.items, step.order):
            if each.name == item:
                return limits_of(step, each, rule, goods, good=first.known_good)
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
        if value is not None:
            return float(value)
        return verdict.target if isinstance(verdict.target, float) else None  # the operator said it
    if step.target == AS_FOUND:
        return verdict.as_found if isinstance(verdict.as_found, float) else None
    return float(step.target)


def _between(readings: Sequence[Reading], times: Sequence[float], verdict: Verdict) -> list[Reading]:
    """Return the readings of the contacts that counted, in the verdict's range."""
    spans: Sequence[Touched] = verdict.contacts if isinstance(verdict.contacts, tuple) else ()
    if not spans:
        spans = (Touched(verdict.from_s or 0.0, verdict.t_s, 0.0),)
    return [
        reading
        for span in spans
        for reading in readings[bisect_left(times, span.from_s) : bisect_right(times, span.t_s)]
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
