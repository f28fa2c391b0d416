"""Faults: where the fault of a repaired unit was, from the records of all its sittings. Pure.

The fault is in the step whose repair was followed by proof. A proof is a `trials` step that passes, or, in a plan
without one, a session that ends with everything good. What was mended before a start that failed was not it. Of several
repairs before one proof, the one that the operator named in answer to a failed start (`fixed S1 cleaned`) counts, else
nobody knows which it was.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

import msgspec
from msgspec import UNSET

from metercap.order import Shop, matched
from metercap.order.found import mended_of
from metercap.outcome import Fold
from metercap.plankeys import TrialsStep
from metercap.records import Note, Operator, Prompt, Record, SessionRecord, Verdict, VerdictKind
from metercap.rests import Count
from metercap.session.inherit import FROM, Inherited

VERSION = 1
"""Of what a sitting is told to say; what another version kept is read anew."""
MENDED, FAILED, FIXED, PROVED = "mended", "failed", "fixed", "proved"


class Told(msgspec.Struct, frozen=True, array_like=True):
    """What one sitting says of a repair: the `model`, the plan's `symptom` ("" where none is known), and what happened,
    in order: MENDED and FIXED with the step, FAILED and PROVED. `suspects` are the steps that may find the fault."""

    model: str
    symptom: str
    suspects: tuple[str, ...]
    happened: tuple[tuple[str, str], ...]


class Sitting:
    """Takes the records of a session one by one, the first included; then `told` has what they say of a repair."""

    def __init__(self) -> None:
        self.fold = Fold()
        self._symptom = ""
        self._bad: dict[tuple[str, str], bool] = {}
        self._happened: dict[tuple[str, str], None] = {}
        self._asked, self._failed_s = "", -1.0

    def add(self, record: Record) -> None:
        """Take the next record. Raises PlanError for a session whose plan this program cannot run."""
        self.fold.add(record)
        if isinstance(record, SessionRecord):
            said = Inherited.of(record.inherited).symptom
            self._say(said or ("" if record.symptom is UNSET else record.symptom.said))
        elif isinstance(record, Verdict):
            self._verdict(record)
        elif isinstance(record, Note) and record.outdated is not UNSET:
            self._bad[record.outdated] = True
        elif isinstance(record, Prompt):
            self._asked = record.step
        elif isinstance(record, Count):
            if record.step in self._trials and record.t_s == self._failed_s:
                self._happens(FAILED)
        elif isinstance(record, Operator):
            self._word(record)

    def _word(self, said: Operator) -> None:
        if said.word == "symptom":
            self._say(said.text)
        elif said.word == "fail":
            self._failed_s = said.t_s
        elif said.word == "fixed" and self._asked in self._trials:
            self._happens(FIXED, self._step_in(said.text))

    def _say(self, text: str) -> None:
        plan = self.fold.plan
        self._symptom = (matched(text, plan.symptoms)[0] if plan is not None and text else "") or self._symptom

    def _verdict(self, verdict: Verdict) -> None:
        key = (verdict.step, verdict.item)
        handed = verdict.reason.startswith(FROM)
        if verdict.step in self._trials:
            passed = verdict.verdict is VerdictKind.PASS
            accepted = verdict.accepted is not UNSET and verdict.verdict is VerdictKind.UNSURE
            if (passed or accepted) and not handed:
                self._happens(PROVED)
            return
        good = verdict.verdict is VerdictKind.PASS
        if good and not handed and (self._bad.get(key) or mended_of(verdict)):
            self._happens(MENDED, verdict.step)
        self._bad[key] = verdict.verdict is VerdictKind.FAIL and verdict.accepted is UNSET

    def _happens(self, what: str, step: str = "") -> None:
        """Keep what happens in its order; what happens again happened last."""
        self._happened.pop((what, step), None)
        self._happened[what, step] = None

    @property
    def _trials(self) -> tuple[str, ...]:
        plan = self.fold.plan
        return () if plan is None else tuple(step.id for step in plan.steps if isinstance(step, TrialsStep))

    def _step_in(self, text: str) -> str:
        """Return the step that a text names by its id or by one of its items; "" for none, or for several."""
        plan = self.fold.plan
        words = dict.fromkeys(re.findall(r"[\w-]+", text.casefold()))
        steps = () if plan is None else plan.steps
        found = [step.id for step in steps if any(name.casefold() in words for name in (step.id, *step.item_names))]
        return found[0] if len(found) == 1 else ""

    @property
    def told(self) -> Told | None:
        """What the sitting says; None where it holds no session, or its unit is a good one."""
        first, plan = self.fold.session, self.fold.plan
        if first is None or plan is None or first.known_good:
            return None
        happened = dict(self._happened)
        if not self._trials and self.fold.end is not None and self.fold.exit_status == 0:
            happened[PROVED, ""] = None
        suspects = tuple(step.id for step in plan.steps if step.finds.get(self._symptom, 0.0) > 0.0)
        return Told(plan.model, self._symptom, suspects, tuple(happened))


class Repair(msgspec.Struct, frozen=True):
    """A unit that was repaired and proved: the step its fault was in, "" where several might have been it."""

    model: str
    symptom: str
    step: str


def repair(sittings: Sequence[Told]) -> Repair | None:
    """Return the repair that a unit's sittings, in order, tell of; None without a symptom, a repair, or its proof."""
    symptom = next((each.symptom for each in reversed(sittings) if each.symptom), "")
    mended: dict[str, None] = {}
    named = ""
    found: str | None = None
    for sitting in sittings:
        for what, step in sitting.happened:
            if what == FAILED:
                mended, named, found = {}, "", None
            elif what == FIXED:
                named, mended = step, {**mended, step: None}
            elif what == MENDED:
                mended[step] = None
            elif mended:
                found = named or _only(mended, sitting.suspects)
    return None if found is None or not symptom else Repair(sittings[-1].model, symptom, found)


def _only(mended: Iterable[str], suspects: Sequence[str]) -> str:
    """Return the one step that was mended, or the one of them that the plan gives a chance; "" where that is open."""
    steps = [step for step in mended if step]
    likely = [step for step in steps if step in suspects]
    return steps[0] if len(steps) == 1 else likely[0] if len(likely) == 1 else ""


def taught(repairs: Iterable[Repair], model: str, symptoms: Sequence[str], where: str) -> Shop:
    """Return what repairs teach about a model; `where` says in words in which jobs they were."""
    units: dict[str, int] = dict.fromkeys(symptoms, 0)
    faults: dict[str, dict[str, int]] = {symptom: {} for symptom in symptoms}
    open_n = known_n = 0
    for each in repairs:
        if each.model.casefold() != model.casefold() or each.symptom not in units:
            continue
        if not each.step:
            open_n += 1
            continue
        known_n += 1
        units[each.symptom] += 1
        faults[each.symptom][each.step] = faults[each.symptom].get(each.step, 0) + 1
    source = f"the plan and {known_n} repaired unit{'s' if known_n != 1 else ''} {where}" if known_n else ""
    if open_n:
        more = f"{open_n} more had several things mended before one proof"
        source = f"{source or 'the plan'}; {more}"
    return Shop(units, faults, source)
