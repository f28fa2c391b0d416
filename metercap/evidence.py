"""Evidence: one recorded session with all that a comparison or a reference needs of it. Pure.

The verdicts that stand come from `outcome`, as everywhere; what their values rest on stands in their records. Files of
schema 1 tell no parts of U: there each value has its U alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import msgspec

from metercap.judging.good import Origin
from metercap.judging.judge import Judgement
from metercap.judging.rests import judgement_of
from metercap.outcome import NOT_DONE, Fold, Key, Open
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
    `open`: what of the `expected` items is not done; `standing`: trimmers past a hazard limit at the end, as `outcome`
    has them; `taken`: what an earlier session decided and handed on. Of several sittings `sources` says which session
    each standing verdict was given in; all were given in `first` where it is empty.
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
    open: tuple[Open, ...] = ()
    expected: tuple[Key, ...] = ()
    standing: dict[str, Key] = {}
    taken: frozenset[Key] = frozenset()
    sources: dict[Key, SessionRecord] = {}

    def source(self, key: Key) -> SessionRecord:
        """Return the first record of the session in which an item's verdict was given."""
        return self.sources.get(key, self.first)

    def reference(self, *, every: bool = False) -> Reference:
        """Return the session as a reference of one unit; with `every` of all settled values, not only good ones."""
        origins = {key: Origin.of(source) for key, source in self.sources.items()}
        return of_session(self.first, self.verdicts, self.judged, self.places, origins, every=every)


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
            fold.open,
            fold.expected,
            dict(fold.standing),
            frozenset(key for each in took.verdicts if verdicts.get(key := (each.step, each.item)) == each),
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


def joined(sittings: Sequence[Evidence]) -> Evidence:
    """Return several sessions of one unit, in order, as one: the verdict that stands is the latest of all.

    What a session took over from one that is here stands as it was given there, with its meter and day. As found is
    what was read first. Nothing is open that any of them decided, but for what was asked for again and never answered.
    """
    last = sittings[-1]
    out = msgspec.structs.replace(
        last, verdicts={}, judged={}, as_found={}, counts={}, places={}, counted={}, standing={}, sources={}
    )
    still_open: dict[Key, Open] = {}
    for one in sittings:
        own = [key for key in one.verdicts if key not in one.taken or key not in out.verdicts]
        for key in own:
            out.verdicts[key], out.sources[key] = one.verdicts[key], one.source(key)
            out.judged.pop(key, None)
            if key in one.judged:
                out.judged[key] = one.judged[key]
        handed_on = Inherited.of(one.first.inherited).verdicts
        for key, again in one.counted.items():
            before = out.counted.get(key, ())
            out.counted[key] = (*before, *(each for each in again if not before or each not in handed_on))
        out.as_found.update({key: judged for key, judged in one.as_found.items() if key not in out.as_found})
        out.counts.update(one.counts)
        out.places.update(one.places)
        _open_after(still_open, one, out.verdicts)
        seen_again = [item for item in out.standing if any(key[1] == item for key in own)]
        for item in seen_again:
            del out.standing[item]
        out.standing.update(one.standing)
    return _in_order(out, still_open)


def _open_after(still_open: dict[Key, Open], one: Evidence, verdicts: Mapping[Key, Verdict]) -> None:
    """Bring the list of what is open up to date by the next sitting; `verdicts` are all that stand by then."""
    left = {(each.step, each.item): each for each in one.open}
    whole = Inherited.of(one.first.inherited).how == "job"  # what it did not take over it asks for again
    for key in one.expected:
        if key not in left:
            still_open.pop(key, None)
        elif whole or left[key].why != NOT_DONE or key not in verdicts:
            still_open[key] = left[key]


def _in_order(out: Evidence, still_open: Mapping[Key, Open]) -> Evidence:
    """Return it with its verdicts in the plan's order, and what is open."""
    planned = [(step.id, item) for step in out.plan.steps for item in step.item_names]
    verdicts = {key: out.verdicts[key] for key in planned if key in out.verdicts} | out.verdicts
    left = tuple(still_open[key] for key in planned if key in still_open)
    return msgspec.structs.replace(out, verdicts=verdicts, open=left, finished=not left)


def places_of(plan: Plan, verdicts: dict[Key, Verdict]) -> dict[Key, Item]:
    """Return the places of the unit: every item of the plan that is probed, and those that were not planned."""
    places = {(step.id, item.name): item for step in plan.steps for item in _items(step)}
    unplanned = {key: Item(key[1]) for key in verdicts if key[0] == INTERLUDE}
    return {**places, **unplanned}


def _items(step: StepBase) -> tuple[Item, ...]:
    items: tuple[Item, ...] = getattr(step, "items", ())
    return tuple(walked(items, step.order)) if isinstance(step, WalkStep) else items


def _pair(key: str) -> Key:
    step, _, item = key.partition("/")
    return step, item
