"""Evidence: one recorded session with all that a comparison or a reference needs of it. Pure.

The verdicts that stand come from `outcome`, as everywhere; what their values rest on is derived again by `session`.
"""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from metercap.outcome import Fold, Key
from metercap.plan import Plan
from metercap.plankeys import Item, StepBase
from metercap.plankeys.walk import WalkStep, walked
from metercap.records import Record, SessionRecord, Verdict
from metercap.reference.gather import of_session
from metercap.reference.model import Reference
from metercap.session import Derived, derive, opening
from metercap.session.machine import INTERLUDE


class Evidence(msgspec.Struct, frozen=True):
    """A session: its `first` record (the unit's name as said last) and `plan`, the `verdicts` that stand, and what is
    `known` of their values.

    `places`: the items that are places of the unit, unlike leads or a live source; `counted`: every verdict that counts
    k of n, in the file's order; `finished`: false where the session was not run to its end.
    """

    first: SessionRecord
    plan: Plan
    verdicts: dict[Key, Verdict]
    known: Derived
    places: dict[Key, Item]
    counted: dict[Key, tuple[Verdict, ...]]
    finished: bool

    def reference(self, *, every: bool = False) -> Reference:
        """Return the session as a reference of one unit; with `every` of all settled values, not only good ones."""
        return of_session(self.first, self.verdicts, self.known.judged, self.places, every=every)


def evidence(records: Iterator[Record]) -> Evidence:
    """Take a session's records, the first included, once and in order.

    Raises JournalError for records that hold no session, PlanError for one whose plan this program cannot run, and
    whatever `records` raises.
    """
    first = opening(records)
    fold = Fold()
    fold.add(first)
    counted: dict[Key, list[Verdict]] = {}
    known = derive(first, _folding(records, fold, counted))
    assert fold.plan is not None
    assert fold.session is not None
    verdicts = fold.verdicts
    return Evidence(
        fold.session,
        fold.plan,
        verdicts,
        known,
        places_of(fold.plan, verdicts),
        {key: tuple(all_of_it) for key, all_of_it in counted.items()},
        fold.end is not None and fold.end.reason == "done",
    )


def places_of(plan: Plan, verdicts: dict[Key, Verdict]) -> dict[Key, Item]:
    """Return the places of the unit: every item of the plan that is probed, and those that were not planned."""
    places = {(step.id, item.name): item for step in plan.steps for item in _items(step)}
    unplanned = {key: Item(key[1]) for key in verdicts if key[0] == INTERLUDE}
    return {**places, **unplanned}


def _items(step: StepBase) -> tuple[Item, ...]:
    items: tuple[Item, ...] = getattr(step, "items", ())
    return tuple(walked(items)) if isinstance(step, WalkStep) else items


def _folding(records: Iterator[Record], fold: Fold, counted: dict[Key, list[Verdict]]) -> Iterator[Record]:
    for record in records:
        fold.add(record)
        if isinstance(record, Verdict) and isinstance(record.runs, int):
            counted.setdefault((record.step, record.item), []).append(record)
        yield record
