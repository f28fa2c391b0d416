"""Making a reference: from one session's verdicts, and of several references together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from metercap.errors import UsageError
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


def combine(parts: Sequence[Reference], *, program: str = "", force: bool = False) -> Reference:
    """Return several references as one; `program` is who makes it.

    Raises UsageError, naming what does not fit: different models (or plans, where none names its model), one unit
    twice, units that nobody marked known good (taken all the same with `force`), one item measured differently.
    """
    if not parts:
        raise UsageError("no session to learn from")
    _check_models(parts)
    _check_units(parts, force)
    items: dict[Key, GoodItem] = {}
    for part in parts:
        for item in part.items:
            items[item.key] = _joined(items.get(item.key), item)
    first = parts[0]
    return msgspec.structs.replace(
        first,
        program=program or first.program,
        units=tuple(unit for part in parts for unit in part.units),
        items=tuple(items.values()),
        left_out=tuple(left for part in parts for left in part.left_out),
    )


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


def _check_models(parts: Sequence[Reference]) -> None:
    for part in parts[1:]:
        how = models_differ(parts[0].model, parts[0].title, part.model, part.title)
        if how:
            raise UsageError(
                f"{parts[0].units[0].name} and {part.units[0].name} are not of one kind: {how}",
                hint="units of one model, measured by one plan, go together",
            )


def _check_units(parts: Sequence[Reference], force: bool) -> None:
    seen: list[str] = []
    for unit in (unit for part in parts for unit in part.units):
        if any(same_unit(unit.name, other) for other in seen):
            raise UsageError(f"unit {unit.name} is there twice", hint="one session of each unit: its values count once")
        seen.append(unit.name)
    unmarked = [name for part in parts for name in part.unmarked]
    if unmarked and not force:
        raise UsageError(
            f"not marked known good: {', '.join(unmarked)}",
            hint="run good units with --known-good; --force takes these all the same, and says so",
        )


def _joined(before: GoodItem | None, item: GoodItem) -> GoodItem:
    if before is None:
        return item
    for what in ("unit", "connected", "red", "black"):
        here, there = getattr(before, what), getattr(item, what)
        if here != there:
            names = f"{before.values[0].name} and {item.values[0].name}"
            how = f"{what} {here or 'not said'!r} and {there or 'not said'!r}"
            raise UsageError(
                f"{item.step}/{item.item} was not measured alike in {names}: {how}",
                hint="learn from sessions of one plan",
            )
    return msgspec.structs.replace(before, values=(*before.values, *item.values))
