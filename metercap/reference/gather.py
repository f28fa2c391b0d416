"""Making a reference from one session's verdicts, and what makes two of them go together."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from metercap.judging.good import BY_REFERENCE, GoodValue, Origin
from metercap.judging.judge import Judgement
from metercap.metrology.pair import Measured, measured
from metercap.plankeys import Item
from metercap.records import SessionRecord, Verdict, VerdictKind
from metercap.reference.model import GoodItem, GoodUnit, LeftOut, Reference

Key = tuple[str, str]
"""A step's id and an item's name."""


def of_session(
    first: SessionRecord,
    verdicts: Mapping[Key, Verdict],
    judged: Mapping[Key, Judgement],
    items: Mapping[Key, Item],
    origins: Mapping[Key, Origin] | None = None,
    *,
    every: bool = False,
) -> Reference:
    """Return one session as a reference of one unit, in the order of `verdicts`.

    `verdicts`: those that stand; `judged`: what their values rest on, where that is known; `items`: the plan's items
    that are places of the unit, and no others; `origins`: where values come from that other sittings gave. Good are
    settled values that passed, and those of a known-good unit that only differ from other good units; with `every` all
    settled ones are taken. SI.
    """
    found, left = [], []
    for key, verdict in verdicts.items():
        item = items.get(key)
        if item is None:
            continue
        why = why_no_value(verdict) or ("" if every else _why_not_good(verdict, first.known_good))
        if why:
            left.append(LeftOut(*key, first.unit, why))
            continue
        origin = (origins or {}).get(key, Origin())
        value = GoodValue(**msgspec.structs.asdict(value_of(verdict, judged.get(key))), name=first.unit, origin=origin)
        found.append(GoodItem(*key, verdict.unit, (value,), item.connected, item.red, item.black))
    unit = GoodUnit(first.unit, first.id, first.start_utc, Origin.of(first), first.known_good)
    return Reference(
        program=first.program,
        model=str(first.plan.get("model", "")),
        title=str(first.plan.get("title", "")),
        units=(unit,),
        items=tuple(found),
        left_out=tuple(left),
    )


def why_no_value(verdict: Verdict) -> str:
    """Return why a verdict has no value that can be compared, or an empty text."""
    if verdict.value is None or verdict.expanded is None or verdict.resolution is None:
        return f"no value: {verdict.verdict}" + (f", {verdict.reason}" if verdict.reason else "")
    return "" if verdict.settled else "no settled value, only a decisive one"


def value_of(verdict: Verdict, judged: Judgement | None) -> Measured:
    """Return a verdict's value, which must be there (`why_no_value` is empty), with what `judged` says it rests on."""
    assert verdict.value is not None and verdict.expanded is not None and verdict.resolution is not None
    quantity, budget = (None, None) if judged is None else (judged.quantity, judged.budget)
    return measured(verdict.value, verdict.expanded, verdict.resolution, quantity, budget)


def same_unit(one: str, other: str) -> bool:
    """Return whether two names are one unit's: case and outer spaces do not matter."""
    return one.strip().casefold() == other.strip().casefold()


def models_differ(model: str, title: str, other_model: str, other_title: str) -> str:
    """Return how two plans are not for one model, or an empty text; where neither names a model the title counts."""
    for what, here, there in (("model", model, other_model), ("plan", title, other_title)):
        if here.strip() or there.strip():
            return "" if same_unit(here, there) else f"{what} {here or 'not named'!r} and {there or 'not named'!r}"
    return ""


def _why_not_good(verdict: Verdict, known_good: bool) -> str:
    # Differing from other good units is no fault of a good one: leaving it out would make their spread too small.
    if verdict.verdict is VerdictKind.PASS or (known_good and verdict.rule == BY_REFERENCE):
        return ""
    return f"{verdict.verdict}: {verdict.reason}" if verdict.reason else str(verdict.verdict)
