"""What a unit's next session in a job takes over: from its own last one, from the leads, and from the other units.

What was decided stands. An `unsure`, and starts that failed, are asked for again when nothing else of the unit is open.
Within one run of the program the lead null holds for every unit, waits go on by its clock, and a proof of being dead
may be taken up by a word and a touch; after a new start the leads are nulled anew, the proof is made anew, a discharge
begins anew, and other waits go on by the wall clock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from metercap.plankeys import ConfirmStep, SafeStep, StepBase, TrialsStep, ZeroStep
from metercap.records import Verdict, VerdictKind, at
from metercap.session.inherit import (
    Away,
    Inherited,
    Key,
    Lead,
    failed_of,
    handed_on,
    is_over,
    leads_of,
    moved_of,
    needs_proof,
    open_ohms,
    parts_of,
    recorded_only,
)
from metercap.session.machine import Session
from metercap.steps.exercise.presses import is_asked
from metercap.steps.rounds import Uncounted
from metercap.steps.stilldead import Proof


class Left(msgspec.Struct, frozen=True):
    """What a unit was left as: its last `session`, the verdicts that stand in its file, and the file's id.

    `shift_s` is what its times are more by than those of the session that will begin. `here`: both belong to one run of
    the program.
    """

    session: Session
    id: str
    standing: Mapping[Key, Verdict]
    shift_s: float
    here: bool


class Nulled(msgspec.Struct, frozen=True):
    """The lead null that holds in this run of the program, and the verdict of the step that took it."""

    leads: tuple[Lead, ...] = ()
    verdict: Verdict | None = None
    id: str = ""


def nulled(session: Session, session_id: str) -> Nulled:
    """Return the null that a session leaves to the next one."""
    zeros = [step.id for step in session.bench.steps if isinstance(step, ZeroStep)]
    taken = [each for (step, _), each in session.bench.verdicts.items() if step in zeros and each.value is not None]
    return Nulled(leads_of(session.bench), taken[-1] if taken else None, session_id)


def taken_over(
    mine: Left | None, steps: Sequence[StepBase], others: Mapping[str, Left], null: Nulled | None
) -> Inherited:
    """Return what the next session of a unit begins with.

    `mine` is how the unit was left, None for its first time; `steps` those it will have; `others` the other units by
    tag; `null` the lead null that holds, None after a new start of the program.
    """
    away = {tag: _away(left) for tag, left in others.items()}
    away = {tag: each for tag, each in away.items() if each.waits or each.standing}
    verdicts: dict[Key, Verdict] = {}
    if mine is None:
        borrowed = _borrowed(steps, {}, null)
        leads = null.leads if null is not None and borrowed else ()
        return Inherited("job", verdicts=tuple(borrowed.values()), leads=leads, others=away)
    bench = mine.session.bench
    known = {step.id: step for step in bench.steps}
    same = [step.id for step in steps if known.get(step.id) == step]
    planned = {step.id for step in steps}
    standing = {key: each for key, each in mine.standing.items() if key[0] in same or key[0] not in planned}
    standing = {key: each for key, each in standing.items() if key not in bench.outdated}
    asked = {key: standing[key] for key, counted in bench.before.items() if is_asked(counted) and key in standing}
    uncounted = _uncounted(bench.uncounted, standing)
    decided = _decided(steps, {key: each for key, each in standing.items() if key not in asked}, asked, uncounted)
    verdicts = _without_proof(steps, _nulled(steps, decided, uncounted, null))
    verdicts |= _borrowed(steps, verdicts, null)
    found = recorded_only(mine.id, standing).as_found
    found |= {"/".join(key): judgement.bare for key, judgement in bench.as_found.items()}
    leads = () if null is None else null.leads
    return Inherited(
        "job",
        mine.id,
        tuple(handed_on(verdict, mine.id, here=mine.here) for verdict in (verdicts | asked).values()),
        found,
        {"/".join(key): counted for key, counted in bench.before.items()},
        uncounted,
        leads,
        {"/".join(key): why for key, why in bench.unread.items()},
        dict(bench.standing),
        {"/".join(key): target for key, target in bench.targets.items()},
        tuple(bench.good_for),
        _waits(mine),
        _proof(mine),
        away,
        parts_of(bench),
        moved_of(bench),
        bench.symptom,
        failed_of(bench),
    )


def _uncounted(owed: Mapping[str, Uncounted], standing: Mapping[Key, Verdict]) -> dict[str, Uncounted]:
    """Leave out of each count check what has no verdict in the file: nobody heard a tick before it was on the disk."""
    out = {}
    for step, about in owed.items():
        ticked, since = (
            tuple(item for item in each if (step, item) in standing) for each in (about.ticked, about.since)
        )
        if ticked:
            out[step] = Uncounted(ticked, since)
    return out


def _decided(
    steps: Sequence[StepBase],
    verdicts: Mapping[Key, Verdict],
    asked: Mapping[Key, Verdict],
    uncounted: Mapping[str, Uncounted],
) -> dict[Key, Verdict]:
    """Return the verdicts that need not be given again: all while anything has none, else those that are certain."""
    tries = [step.id for step in steps if isinstance(step, TrialsStep)]
    planned = [step.id for step in steps]
    over = not asked and not uncounted and all(is_over(step, verdicts) for step in steps)
    if not over:
        return dict(verdicts)

    def certain(key: Key, verdict: Verdict) -> bool:
        failed = key[0] in tries and verdict.verdict is VerdictKind.FAIL
        if key[0] not in planned or verdict.accepted is not msgspec.UNSET:
            return True
        return verdict.verdict is not VerdictKind.UNSURE and not failed

    return {key: verdict for key, verdict in verdicts.items() if certain(key, verdict)}


def _nulled(
    steps: Sequence[StepBase], verdicts: dict[Key, Verdict], uncounted: Mapping[str, Uncounted], null: Nulled | None
) -> dict[Key, Verdict]:
    """Leave out the lead nulls where they must be taken anew: in a new run of the program, if ohms are still open."""
    zeros = [step.id for step in steps if isinstance(step, ZeroStep)]
    if null is not None or not open_ohms(steps, verdicts, uncounted):
        return verdicts
    return {key: verdict for key, verdict in verdicts.items() if key[0] not in zeros}


def _without_proof(steps: Sequence[StepBase], verdicts: dict[Key, Verdict]) -> dict[Key, Verdict]:
    """Leave out each proof of being dead that something open in ohms needs."""
    kept = verdicts
    for index, step in enumerate(steps):
        if isinstance(step, SafeStep) and not (is_over(step, kept) and not needs_proof(steps[index + 1 :], kept)):
            kept = {key: verdict for key, verdict in kept.items() if key[0] != step.id}
    return kept


def _borrowed(steps: Sequence[StepBase], verdicts: Mapping[Key, Verdict], null: Nulled | None) -> dict[Key, Verdict]:
    """Return the verdict of the first lead null where the leads were nulled with another unit on the mat."""
    first = next((step for step in steps if isinstance(step, ZeroStep)), None)
    if first is None or null is None or null.verdict is None or not null.leads:
        return {}
    key = (first.id, first.id)
    if key in verdicts:
        return {}
    return {key: handed_on(msgspec.structs.replace(null.verdict, step=first.id, item=first.id), null.id, here=True)}


def _waits(left: Left) -> dict[str, float]:
    """Return when the unit's waits are over, in seconds of the session that will begin."""
    bench = left.session.bench
    waits = {step: at(due_s + left.shift_s) for step, due_s in left.session.waits.items()}
    if left.here:
        return waits
    return {step: due_s for step, due_s in waits.items() if not is_discharge(bench.steps, step)}


def is_discharge(steps: Sequence[StepBase], step: str) -> bool:
    """Return whether a wait is one that a proof of being dead follows, other questions apart."""
    ids = [each.id for each in steps]
    later = steps[ids.index(step) + 1 :] if step in ids else ()
    after = next((each for each in later if not isinstance(each, ConfirmStep)), None)
    return isinstance(after, SafeStep)


def _proof(left: Left) -> Proof | None:
    proof = left.session.seat.proof if left.here else None
    if proof is None:
        return None
    return msgspec.structs.replace(proof, t_s=at(proof.t_s + left.shift_s))


def _away(left: Left) -> Away:
    waits = _waits(left)
    if left.here:  # what is over by now was called when it was
        waits = {step: due_s for step, due_s in waits.items() if due_s > 0.0}
    standing = {item: past for item, past in left.session.bench.standing.items() if past.believed}
    return Away(waits, standing)
