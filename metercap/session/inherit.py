"""What a session takes over from an earlier one of the same unit.

`continue` goes on with an interrupted session: what it decided stands (but for `unsure`), and so does as found. Proof
that the unit is dead and the lead null are asked for again where something is still to be measured in ohms, since time
has passed. A count check that was not answered is asked before anything else of its step. `after` takes up the unit
later: only as found, and what trials and exercises counted, come along. What a unit of a job takes over is in `taken`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Literal

import msgspec
from msgspec import UNSET

from metercap.errors import PlanError
from metercap.judging.judge import Judgement
from metercap.metrology.budget import LeadNull
from metercap.plankeys import SafeStep, StepBase, TrialsStep, ZeroStep
from metercap.quantity import Quantity
from metercap.records import Verdict, VerdictKind
from metercap.steps.bench import Bench
from metercap.steps.exercise.presses import is_asked, taken_up_later
from metercap.steps.hazard import Standing
from metercap.steps.rounds import Uncounted
from metercap.steps.stilldead import Proof

How = Literal["", "continue", "after", "job"]
Key = tuple[str, str]
"""A step's id and an item's name."""


FROM = "from session "
"""How the reason of a verdict begins that was taken over."""


class Lead(msgspec.Struct, frozen=True):
    """A lead null and the function and resolution it was read in."""

    quantity: Quantity
    resolution: float
    value: float
    u: float
    dof: float | None = None
    """None where it is infinite, which JSON cannot say."""
    noise: float = 0.0


class Away(msgspec.Struct, frozen=True, omit_defaults=True):
    """Another unit of the job: when its `waits` are over, by step, and what of it is `standing` past a hazard limit."""

    waits: dict[str, float] = {}
    standing: dict[str, Standing] = {}


class Inherited(msgspec.Struct, frozen=True):
    """What is taken over; keys of `as_found` and `before` are "step/item". Part of a journal's first record.

    `uncounted` holds, by step, what its unanswered count check is about; `leads` the nulls that a later `zero` compares
    itself with, where none is asked for again; `unread` why a trimmer has no value as found, by "step/item": it was
    moved, so it never will; `standing` the trimmers past a hazard limit, by item; `targets` what the operator said to
    turn to and `parts` what he called what is new, both by "step/item"; `good_for` the steps that he called the unit
    good for; `moved` the trimmers seen elsewhere than as found since, by "step/item"; `symptom` what the unit does, as
    the operator said it, `failed` what failed once, by "step/item". In a job also when `waits` are
    over, by step, and when the unit was proved dead (`proof`), in seconds of this session, and the `others` by tag.
    """

    how: How = ""
    session: str = ""
    verdicts: tuple[Verdict, ...] = ()
    as_found: dict[str, Judgement] = {}
    before: dict[str, dict[str, Any]] = {}
    uncounted: dict[str, Uncounted] = {}
    leads: tuple[Lead, ...] = ()
    unread: dict[str, str] = {}
    standing: dict[str, Standing] = {}
    targets: dict[str, float] = {}
    good_for: tuple[str, ...] = ()
    waits: dict[str, float] = {}
    proof: Proof | None = None
    others: dict[str, Away] = {}
    parts: dict[str, str] = {}
    moved: tuple[str, ...] = ()
    symptom: str = ""
    failed: tuple[str, ...] = ()

    @classmethod
    def of(cls, data: dict[str, Any]) -> Inherited:
        """Read the form that a first record carries; PlanError when it is another."""
        try:
            return msgspec.convert(data, cls)
        except msgspec.ValidationError as error:
            raise PlanError(f"what the session inherits cannot be read: {error}") from error

    def as_builtins(self) -> dict[str, Any]:
        """Return the form that a first record carries."""
        out: dict[str, Any] = msgspec.to_builtins(self)
        return out

    def into(self, bench: Bench) -> None:
        """Give a new session's bench what was taken over."""
        asked = [_pair(key) for key, counted in self.before.items() if is_asked(counted)]
        bench.kept = frozenset((v.step, v.item) for v in self.verdicts if (v.step, v.item) not in asked)
        bench.as_found = {_pair(key): judgement for key, judgement in self.as_found.items()}
        bench.before = {_pair(key): counted for key, counted in self.before.items()}
        bench.uncounted = dict(self.uncounted)
        bench.unread = {_pair(key): why for key, why in self.unread.items()}
        bench.standing = dict(self.standing)
        bench.targets = {_pair(key): target for key, target in self.targets.items()}
        bench.good_for = dict.fromkeys(self.good_for)
        bench.moved = {_pair(key): True for key in self.moved}
        bench.failed = {_pair(key): None for key in self.failed}
        bench.parts = {_pair(key): part for key, part in self.parts.items()}
        for lead in self.leads:
            null = LeadNull(lead.value, lead.u, math.inf if lead.dof is None else lead.dof, lead.noise)
            bench.judge.keep_lead(lead.quantity, lead.resolution, null)


def inherited_from(
    bench: Bench,
    how: How,
    session_id: str,
    *,
    to_do: Sequence[StepBase] = (),
    standing: Mapping[Key, Verdict] | None = None,
) -> Inherited:
    """Return what the bench of an earlier session, played to its end, hands on.

    `to_do` are the steps of the session that will go on (default: the same), `standing` the verdicts that its file
    holds (default: those on the bench).
    """
    verdicts = bench.verdicts if standing is None else standing
    found = recorded_only(session_id, verdicts).as_found
    found |= {"/".join(key): judgement.bare for key, judgement in bench.as_found.items()}
    before = {"/".join(key): counted for key, counted in bench.before.items()}
    unread = {"/".join(key): why for key, why in bench.unread.items()}
    if how != "continue":
        later = {key: taken_up_later(counted) for key, counted in before.items()}
        before = {key: counted for key, counted in later.items() if counted}
        return Inherited(
            how,
            session_id,
            as_found=found,
            before=before,
            unread=unread,
            standing=dict(bench.standing),
            moved=moved_of(bench),
        )
    verdicts = {key: each for key, each in verdicts.items() if key not in bench.outdated}
    steps = to_do or bench.steps
    asked = {key: verdicts[key] for key, counted in bench.before.items() if is_asked(counted) and key in verdicts}
    kept = _kept(steps, {key: each for key, each in verdicts.items() if key not in asked}, bench.uncounted)
    return Inherited(
        how,
        session_id,
        tuple(handed_on(verdict, session_id) for verdict in (kept | asked).values()),
        found,
        before,
        dict(bench.uncounted),
        () if open_ohms(steps, kept, bench.uncounted) else leads_of(bench),
        unread,
        dict(bench.standing),
        {"/".join(key): target for key, target in bench.targets.items()},
        tuple(bench.good_for),
        parts=parts_of(bench),
        moved=moved_of(bench),
        symptom=bench.symptom,
        failed=failed_of(bench),
    )


def moved_of(bench: Bench) -> tuple[str, ...]:
    """Return the trimmers that were seen elsewhere than as found since, as "step/item"."""
    return tuple("/".join(key) for key, moved in bench.moved.items() if moved)


def failed_of(bench: Bench) -> tuple[str, ...]:
    """Return what failed once, as "step/item"."""
    return tuple("/".join(key) for key in bench.failed)


def handed_on(verdict: Verdict, session_id: str, *, here: bool = False) -> Verdict:
    """Return a verdict as a later session of the unit takes it over; it names the session that it was given in.

    What its U rests on is kept only `here`, in the same run of the program: what two values share holds there.
    """
    source, reason = f"from session {session_id}", verdict.reason
    if not reason.startswith(FROM):
        reason = f"{source}; {reason}" if reason else source
    budget = verdict.budget if here else UNSET
    return msgspec.structs.replace(verdict, t_s=0.0, from_s=None, contacts=UNSET, budget=budget, reason=reason)


def parts_of(bench: Bench) -> dict[str, str]:
    """Return what is new in the unit, by "step/item"."""
    return {"/".join(key): part for key, part in bench.parts.items()}


def recorded_only(session_id: str, standing: Mapping[Key, Verdict]) -> Inherited:
    """Return what a unit that is taken up later inherits where only the verdicts of the earlier session are known."""
    found = {}
    before = {}
    for key, verdict in standing.items():
        if isinstance(verdict.as_found, float):
            found["/".join(key)] = Judgement(
                VerdictKind.PASS, verdict.as_found, verdict.expanded or 0.0, verdict.resolution or 0.0, ""
            )
        if isinstance(verdict.k, int) and isinstance(verdict.runs, int):
            before["/".join(key)] = {"k": verdict.k, "runs": verdict.runs}
    return Inherited("after", session_id, as_found=found, before=before)


def leads_of(bench: Bench) -> tuple[Lead, ...]:
    """Return the nulls that the bench has."""
    return tuple(
        Lead(quantity, resolution, null.value, null.u, None if math.isinf(null.dof) else null.dof, null.noise)
        for (quantity, resolution), null in bench.judge.leads.items()
    )


def _kept(
    steps: Sequence[StepBase], verdicts: Mapping[Key, Verdict], uncounted: Mapping[str, Uncounted]
) -> dict[Key, Verdict]:
    """Return the verdicts that need not be given again."""
    planned = {step.id for step in steps}
    kept = {
        key: verdict
        for key, verdict in verdicts.items()
        if verdict.verdict is not VerdictKind.UNSURE
        or verdict.accepted is not msgspec.UNSET
        or key[0] not in planned  # nobody would ask for it again
    }
    failed = {step.id for step in steps if isinstance(step, TrialsStep)}  # a fix may follow: it goes on from its counts
    kept = {
        key: each
        for key, each in kept.items()
        if key[0] not in failed or each.verdict is not VerdictKind.FAIL or each.accepted is not msgspec.UNSET
    }
    again = {step.id for step in steps if isinstance(step, ZeroStep) and open_ohms(steps, kept, uncounted)}
    kept = {key: verdict for key, verdict in kept.items() if key[0] not in again}
    for index, step in enumerate(steps):
        if isinstance(step, SafeStep) and not (is_over(step, kept) and not needs_proof(steps[index + 1 :], kept)):
            kept = {key: verdict for key, verdict in kept.items() if key[0] != step.id}
    return kept


def open_ohms(steps: Sequence[StepBase], kept: Mapping[Key, Verdict], uncounted: Mapping[str, Uncounted]) -> bool:
    """Return whether something is still to be measured in ohms, from which the leads are taken off."""
    return any(
        step.in_ohms and not isinstance(step, ZeroStep) and (step.id in uncounted or not is_over(step, kept))
        for step in steps
    )


def needs_proof(later: Sequence[StepBase], kept: Mapping[Key, Verdict]) -> bool:
    """Return whether anything in ohms is open before the next proof."""
    for step in later:
        if isinstance(step, SafeStep):
            return False
        if step.in_ohms and not is_over(step, kept):
            return True
    return False


def is_over(step: StepBase, kept: Mapping[Key, Verdict]) -> bool:
    """Return whether every item of the step has a verdict."""
    return all((step.id, item) in kept for item in step.item_names)


def _pair(key: str) -> Key:
    step, _, item = key.partition("/")
    return step, item
