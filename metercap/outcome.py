"""Outcome: folds records to the verdict that stands for each item, what is still open, and the exit status. Pure.

Run, screens, report, compare and learn all ask here, so no two of them can differ. An item is

    decided     its last verdict stands; earlier ones stay in the file only
    open        it has no verdict; or it was asked for again after its verdict (`back`, `at`, a trimmer read once more,
                a new part) and has no newer one; or a sweep's count check on it still waits for its answer, in this
                session or in the one that it went on from

A run that ended as done has asked for nothing that was not answered, so there only a missing verdict counts as open.
"""

from __future__ import annotations

from collections.abc import Iterable

import msgspec
from msgspec import UNSET

from metercap.plan import Plan, from_builtins
from metercap.plankeys import CheckStep, SweepStep
from metercap.records import (
    Cue,
    CueKind,
    Do,
    EndRecord,
    Note,
    Operator,
    Prompt,
    Record,
    SessionRecord,
    Verdict,
    VerdictKind,
    named,
)
from metercap.session.inherit import Inherited

Key = tuple[str, str]
"""A step's id and an item's name."""

NOT_DONE = "not done"
"""What has no verdict. The word must not sound like one: "F4 open" is a blown fuse to whoever reads it."""
ASKED_AGAIN = "asked for again, not done anew"
NOT_COUNTED = "count check not answered"

MOST_UNPLANNED = 10_000
"""Items that the plan does not have, whose verdicts are kept whole; of more only what kind they are is counted."""

GOOD = (VerdictKind.PASS, VerdictKind.ABSENT)
"""The verdicts that leave the exit status at 0."""

_ASIDE = (Do.DIAL, Do.WAIT, Do.LIFT, Do.KEEP)
"""Prompts that hold something up or steady; they ask for no decision."""


class Open(msgspec.Struct, frozen=True):
    """An item that is still open, and why: one of this module's three reasons."""

    step: str
    item: str
    why: str


class Fold:
    """Takes a journal's records one by one, in the file's order; ask it at any time.

    `session` (the unit's name as said last) and `end` are the bounding records, `plan` the session's plan; None until
    they were taken.
    """

    def __init__(self) -> None:
        self.session: SessionRecord | None = None
        self.plan: Plan | None = None
        self.end: EndRecord | None = None
        self._expected: dict[Key, None] = {}
        self._planned: frozenset[Key] = frozenset()
        self._walks: frozenset[str] = frozenset()
        self._verdicts: dict[Key, Verdict] = {}
        self._left_out = dict.fromkeys(VerdictKind, 0)
        self._unkept = 0
        self._asked: dict[Key, None] = {}
        self._question: Key | None = None
        self._offered: Key | None = None
        """An item with a verdict that is asked about (clean it? replaced?): who goes on without leaves the verdict."""
        self._owed: dict[str, str] = {}
        """By step, the item of a count check that an earlier session left, and that was not asked here yet."""
        self.standing: dict[str, Key] = {}
        """Trimmers that stand past a hazard limit now, by item: (step, "below" or "above", "" where none is known)."""

    def add(self, record: Record) -> None:
        """Take the next record. Raises PlanError when a session record's plan cannot be understood."""
        kind = type(record)
        if kind is Verdict:
            self._verdict(record)  # type: ignore[arg-type]
        elif kind is Prompt:
            self._prompt(record)  # type: ignore[arg-type]
        elif kind is Cue:
            standing_after(self.standing, record)  # type: ignore[arg-type]
        elif kind is Note:
            self._noted(record)  # type: ignore[arg-type]
        elif kind is SessionRecord:
            self._begin(record)  # type: ignore[arg-type]
        elif kind is Operator and self.session is not None:
            self.session = named(self.session, record)  # type: ignore[arg-type]
        elif kind is EndRecord:
            self.end = record  # type: ignore[assignment]

    @property
    def verdicts(self) -> dict[Key, Verdict]:
        """The verdict that stands, by step and item: the plan's items in its order, then unplanned ones."""
        planned = {key: self._verdicts[key] for key in self._expected if key in self._verdicts}
        return {**planned, **self._verdicts}

    def verdict_of(self, key: Key) -> Verdict | None:
        """Return the verdict that stands for one item now."""
        return self._verdicts.get(key)

    @property
    def expected(self) -> tuple[Key, ...]:
        """Every item that must end with a verdict, in the plan's order; of the chosen steps only (`--steps`)."""
        return tuple(self._expected)

    @property
    def planned(self) -> frozenset[Key]:
        """Every item of the plan, of steps that were not chosen as well."""
        return self._planned

    @property
    def open(self) -> tuple[Open, ...]:
        """What is still open, in the plan's order."""
        done = self.end is not None and self.end.reason == "done"
        found = []
        for key in self._expected:
            if key not in self._verdicts:
                found.append(Open(*key, NOT_DONE))
            elif key in self._asked and not done:
                found.append(Open(*key, ASKED_AGAIN))
            elif key == self._question and not done:
                found.append(Open(*key, NOT_COUNTED))
        found += [Open(step, item, NOT_COUNTED) for step, item in self._owed.items()]
        return tuple(found)

    @property
    def counts(self) -> dict[VerdictKind, int]:
        """How many items have each verdict; all four kinds, zeros included."""
        counts = dict.fromkeys(VerdictKind, 0)
        for verdict in self._verdicts.values():
            counts[verdict.verdict] += 1
        for kind, more in self._left_out.items():
            counts[kind] += more
        return counts

    @property
    def left_out(self) -> int:
        """How many verdicts on unplanned items are counted only, each verdict for itself: the journal has them."""
        return self._unkept

    @property
    def exit_status(self) -> int:
        """0 when every verdict that stands is pass, absent or accepted and nothing is open, else 1.

        1 without a session, too.
        """
        good = all(is_good(verdict) for verdict in self._verdicts.values())
        good = good and not any(more for kind, more in self._left_out.items() if kind not in GOOD)
        return 0 if self.session is not None and good and not self.open else 1

    def _begin(self, session: SessionRecord) -> None:
        self.session = session
        self.plan = from_builtins(session.plan)
        only = session.options.get("steps")
        steps = [step for step in self.plan.steps if not only or step.id in only]
        self._expected = {(step.id, item): None for step in steps for item in step.item_names}
        self._planned = frozenset((step.id, item) for step in self.plan.steps for item in step.item_names)
        owed = Inherited.of(session.inherited).uncounted
        self._owed = {step: about.ticked[-1] for step, about in owed.items() if about.ticked}
        self._walks = frozenset(step.id for step in steps if isinstance(step, CheckStep | SweepStep))

    def _verdict(self, verdict: Verdict) -> None:
        key = (verdict.step, verdict.item)
        if (
            len(self._verdicts) - len(self._expected) >= MOST_UNPLANNED
            and key not in self._verdicts
            and key not in self._expected
        ):
            self._left_out[verdict.verdict] += 1
            self._unkept += 1
            return
        self._verdicts[key] = verdict
        if verdict.accepted is not UNSET:
            return  # a word about what stands: it answers no question
        self._asked.pop(key, None)
        if self._question == key:
            self._question = None

    def _noted(self, note: Note) -> None:
        if note.outdated is not UNSET and note.outdated in self._verdicts:
            self._asked[note.outdated] = None

    def _prompt(self, prompt: Prompt) -> None:
        if prompt.item is None:
            return
        key = (prompt.step, prompt.item)
        counting = prompt.do is Do.ANSWER or (prompt.do is Do.LIFT and key in self._verdicts)  # the tips go off first
        if counting and prompt.step in self._walks:
            # What answers it is what comes next: another prompt, or the end. A word alone may have been too early.
            self._question = key
            self._owed.pop(prompt.step, None)
            return
        if prompt.do in _ASIDE:
            return
        self._question = None
        if self._offered is not None and self._offered != key:
            self._asked.pop(self._offered, None)
        self._offered = key if prompt.do in (Do.ANSWER, Do.CONFIRM) and key in self._verdicts else None
        if key in self._verdicts:
            self._asked[key] = None


def is_good(verdict: Verdict) -> bool:
    """Return whether a verdict leaves the exit status at 0: pass, absent, or accepted by the operator."""
    return verdict.verdict in GOOD or verdict.accepted is not UNSET


def standing_after(standing: dict[str, Key], cue: Cue) -> None:
    """Bring a list of trimmers past their limits up to date: the first cue of one without a hazard says it is over.

    An alarm that names no side (files of the first schema, the question of `undo`) lasts until the next cue.
    """
    if cue.hazard is not UNSET or cue.cue is CueKind.HAZARD:
        standing[cue.item] = (cue.step, "" if cue.hazard is UNSET else cue.hazard)
    elif standing:
        standing.pop(cue.item, None)


def fold(records: Iterable[Record]) -> Fold:
    """Return the fold of all records. Raises PlanError as `Fold.add` does, and whatever the iterable raises."""
    out = Fold()
    for record in records:
        out.add(record)
    return out
