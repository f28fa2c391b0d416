"""Evidence: one recorded session with all that a comparison or a reference needs of it. Pure.

The verdicts that stand come from `outcome`, as everywhere; what their values rest on stands in their records. Files of
schema 1 tell no parts of U: there each value has its U alone.
"""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from metercap.judging.judge import Judgement
from metercap.judging.rests import judgement_of
from metercap.outcome import Fold, Key
from metercap.plan import Plan
from metercap.plankeys import Item, StepBase
from metercap.plankeys.walk import WalkStep, walked
from metercap.records import Record, SessionRecord, Verdict, VerdictKind
from metercap.reference.gather import of_session
from metercap.reference.model import Reference
from metercap.rests import Count, Found
from metercap.session import opening
from metercap.session.inherit import Inherited
from metercap.session.machine import INTERLUDE
from metercap.steps.counts import count_of


class Evidence(msgspec.Struct, frozen=True):
    """A session: its `first` record (the unit's name as said last) and `plan`, the `verdicts` that stand.

    `judged`: what their values rest on; `as_found`: of trimmers; `counts`: what was counted of an item up to the end,
    done or not. `places`: the items that are places of the unit, unlike leads or a live source; `counted`: every
    verdict that counts k of n, in the file's order; `finished`: false where the session was not run to its end.
    """

    first: SessionRecord
    plan: Plan
    verdicts: dict[Key, Verdict]
    judged: dict[Key, Judgement]
    as_found: dict[Key, Judgement]
    counts: dict[Key, Count]
    places: dict[Key, Item]
    counted: dict[Key, tuple[Verdict, ...]]
    finished: bool

    def reference(self, *, every: bool = False) -> Reference:
        """Return the session as a reference of one unit; with `every` of all settled values, not only good ones."""
        return of_session(self.first, self.verdicts, self.judged, self.places, every=every)


class Gathering:
    """Takes a session's records one by one, in the file's order, the first included; then `evidence` has it all."""

    def __init__(self) -> None:
        self.fold = Fold()
        self._found: dict[Key, Found] = {}
        self._counts: dict[Key, Count] = {}
        self._counted: dict[Key, list[Verdict]] = {}

    def add(self, record: Record) -> None:
        """Take the next record. Raises PlanError for a session whose plan this program cannot run."""
        self.fold.add(record)
        if isinstance(record, Verdict):
            if isinstance(record.runs, int):
                self._counted.setdefault((record.step, record.item), []).append(record)
        elif isinstance(record, Found | Count) and (record.step, record.item) in self.fold.planned:
            if isinstance(record, Found):
                self._found[record.step, record.item] = record
            else:
                self._counts[record.step, record.item] = record

    def evidence(self) -> Evidence:
        """Return what the records say; there must have been a session among them."""
        fold = self.fold
        assert fold.plan is not None
        assert fold.session is not None
        verdicts, meter = fold.verdicts, fold.session.meter
        judged = {key: judgement_of(verdict, meter) for key, verdict in verdicts.items()}
        took = Inherited.of(fold.session.inherited)
        counts = {_pair(key): count_of(kept, *_pair(key)) for key, kept in took.before.items()}
        return Evidence(
            fold.session,
            fold.plan,
            verdicts,
            {key: each for key, each in judged.items() if each is not None},
            self._as_found(took, verdicts),
            counts | self._counts,
            places_of(fold.plan, verdicts),
            {key: tuple(all_of_it) for key, all_of_it in self._counted.items()},
            fold.end is not None and fold.end.reason == "done",
        )

    def _as_found(self, took: Inherited, verdicts: dict[Key, Verdict]) -> dict[Key, Judgement]:
        """Return every trimmer's value as found: taken over, read here, or as far as its verdict tells."""
        out = {_pair(key): judged for key, judged in took.as_found.items()}
        assert self.fold.session is not None
        for key, found in self._found.items():
            judged = judgement_of(found, self.fold.session.meter)
            if judged is not None:
                out[key] = judged
        for key, verdict in verdicts.items():
            if key not in out and isinstance(verdict.as_found, float):
                value, expanded, resolution = verdict.as_found, verdict.expanded or 0.0, verdict.resolution or 0.0
                out[key] = Judgement(VerdictKind.PASS, value, expanded, resolution, "")
        return out


def evidence(records: Iterator[Record]) -> Evidence:
    """Take a session's records, the first included, once and in order.

    Raises JournalError for records that hold no session, PlanError for one whose plan this program cannot run, and
    whatever `records` raises.
    """
    first = opening(records)
    gathering = Gathering()
    gathering.add(first)
    for record in records:
        gathering.add(record)
    return gathering.evidence()


def places_of(plan: Plan, verdicts: dict[Key, Verdict]) -> dict[Key, Item]:
    """Return the places of the unit: every item of the plan that is probed, and those that were not planned."""
    places = {(step.id, item.name): item for step in plan.steps for item in _items(step)}
    unplanned = {key: Item(key[1]) for key in verdicts if key[0] == INTERLUDE}
    return {**places, **unplanned}


def _items(step: StepBase) -> tuple[Item, ...]:
    items: tuple[Item, ...] = getattr(step, "items", ())
    return tuple(walked(items)) if isinstance(step, WalkStep) else items


def _pair(key: str) -> Key:
    step, _, item = key.partition("/")
    return step, item
