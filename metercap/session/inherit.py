"""What a session takes over from an earlier one of the same unit.

`continue` goes on with an interrupted session: what it decided stands (but for `unsure`), and so does as found. Proof
that the unit is dead and the lead null are asked for again where something is still to be measured in ohms, since time
has passed. A count check that was not answered is asked before anything else of its step. `after` takes up the unit
later: only as found, and what trials and exercises counted, come along.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Literal

import msgspec

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

How = Literal["", "continue", "after"]
Key = tuple[str, str]
"""A step's id and an item's name."""


class Lead(msgspec.Struct, frozen=True):
    """A lead null and the function and resolution it was read in."""

    quantity: Quantity
    resolution: float
    value: float
    u: float
    dof: float | None = None
    """None where it is infinite, which JSON cannot say."""


class Inherited(msgspec.Struct, frozen=True):
    """What is taken over; keys of `as_found` and `before` are "step/item". Part of a journal's first record.

    `uncounted` holds, by step, what its unanswered count check is about; `leads` the nulls that a later `zero` compares
    itself with, where none is asked for again; `unread` why a trimmer has no value as found, by "step/item": it was
    moved, so it never will; `standing` the trimmers past a hazard limit, by item.
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
        for lead in self.leads:
            null = LeadNull(lead.value, lead.u, math.inf if lead.dof is None else lead.dof)
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
        return Inherited(how, session_id, as_found=found, before=before, unread=unread, standing=dict(bench.standing))
    steps = to_do or bench.steps
    asked = {key: verdicts[key] for key, counted in bench.before.items() if is_asked(counted) and key in verdicts}
    kept = _kept(steps, {key: each for key, each in verdicts.items() if key not in asked}, bench.uncounted)
    source = f"from session {session_id}"
    return Inherited(
        how,
        session_id,
        tuple(
            msgspec.structs.replace(
                verdict,
                t_s=0.0,
                from_s=None,
                contacts=msgspec.UNSET,
                budget=msgspec.UNSET,
                reason=f"{source}; {verdict.reason}" if verdict.reason else source,
            )
            for verdict in (kept | asked).values()
        ),
        found,
        before,
        dict(bench.uncounted),
        () if _open_ohms(steps, kept, bench.uncounted) else _leads(bench),
        unread,
        dict(bench.standing),
    )


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


def _leads(bench: Bench) -> tuple[Lead, ...]:
    return tuple(
        Lead(quantity, resolution, null.value, null.u, None if math.isinf(null.dof) else null.dof)
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
    again = {step.id for step in steps if isinstance(step, ZeroStep) and _open_ohms(steps, kept, uncounted)}
    kept = {key: verdict for key, verdict in kept.items() if key[0] not in again}
    for index, step in enumerate(steps):
        if isinstance(step, SafeStep) and not (_over(step, kept) and not _needs_proof(steps[index + 1 :], kept)):
            kept = {key: verdict for key, verdict in kept.items() if key[0] != step.id}
    return kept


def _open_ohms(steps: Sequence[StepBase], kept: Mapping[Key, Verdict], uncounted: Mapping[str, Uncounted]) -> bool:
    """Return whether something is still to be measured in ohms, from which the leads are taken off."""
    return any(
        step.in_ohms and not isinstance(step, ZeroStep) and (step.id in uncounted or not _over(step, kept))
        for step in steps
    )


def _needs_proof(later: Sequence[StepBase], kept: Mapping[Key, Verdict]) -> bool:
    """Return whether anything in ohms is open before the next proof."""
    for step in later:
        if isinstance(step, SafeStep):
            return False
        if step.in_ohms and not _over(step, kept):
            return True
    return False


def _over(step: StepBase, kept: Mapping[Key, Verdict]) -> bool:
    return all((step.id, item) in kept for item in step.item_names)


def _pair(key: str) -> Key:
    step, _, item = key.partition("/")
    return step, item
