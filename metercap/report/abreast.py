"""Units side by side: what differs between them, and what somebody turned, before anything else is said. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from metercap.compare.model import Line, Pair
from metercap.evidence import Evidence
from metercap.judging.good import BY_REFERENCE
from metercap.outcome import GOOD, Key, is_good
from metercap.plankeys import TuneStep
from metercap.quantity import counted, format_value
from metercap.records import VerdictKind
from metercap.report.document import Block, Group, Para, Row, Section, Table
from metercap.report.names import name_of
from metercap.report.story import Unit, in_words, is_aside, reads, steps_by_id
from metercap.steps.tune.asking import SAME_SHARE

MOST_ROWS = 24
"""So many rows fit on the first page; the tables behind have every item."""


def abreast(units: Sequence[Unit], pairs: Sequence[Pair]) -> Section:
    """Return the units beside each other: a row for each item that is not good and alike on all of them."""
    measured = [(unit, unit.whole) for unit in units if unit.whole is not None]
    keys = _keys([whole for _, whole in measured])
    rows, alike = [], 0
    for key in keys:
        says = tuple(_says(key, measured, pairs))
        if not says and all(_plainly_good(key, unit, whole) for unit, whole in measured):
            alike += 1
            continue
        cells = tuple(_cell(key, unit) for unit in units)
        rows.append(Row((name_of(key), *cells, "; ".join(says))))
    blocks: list[Block] = []
    if rows:
        heads = ("item", *(_head(unit) for unit in units), "what it says")
        blocks.append(Table("abreast", heads, (Group(tuple(rows[:MOST_ROWS])),)))
    if len(rows) > MOST_ROWS:
        blocks.append(Para(f"And {len(rows) - MOST_ROWS} items more that differ: the tables of each unit have them."))
    if alike:
        more = "other " if rows else ""
        on = {1: "on it", 2: "on both units"}.get(len(measured), f"on all {len(measured)} units")
        blocks.append(Para(f"{counted(alike, f'{more}item')}: good {on}."))
    if len(units) > 1 and not any(unit.about.known_good for unit in units):
        blocks.append(Para("No unit is known to be good, so a difference does not tell which one is right."))
    title = "Side by side" if len(units) > 1 else "At a glance"
    return Section(title, tuple(blocks) or (Para("Nothing was measured."),))


def _head(unit: Unit) -> str:
    return f"{unit.about.tag}, known good" if unit.about.known_good else unit.about.tag


def _keys(wholes: Sequence[Evidence]) -> list[Key]:
    """Return every item of the plans in their order, then what was not planned; none that only prepares the bench."""
    keys: dict[Key, None] = {}
    for whole in wholes:
        keys.update({(step.id, name): None for step in whole.plan.steps for name in step.item_names})
    for whole in wholes:
        keys.update(dict.fromkeys(whole.verdicts))
    steps = {key: value for whole in wholes for key, value in steps_by_id(whole).items()}
    return [key for key in keys if not is_aside(steps.get(key[0]))]


def _plainly_good(key: Key, unit: Unit, whole: Evidence) -> bool:
    """Return whether an item is good and always was; one that was neither measured nor asked for is not looked at."""
    first, last = unit.firsts.get(key), whole.verdicts.get(key)
    if last is None:
        return key not in whole.expected
    return last.verdict in GOOD and (first is None or first.verdict in GOOD) and not isinstance(last.accepted, str)


def _cell(key: Key, unit: Unit) -> str:
    whole = unit.whole
    if whole is None:
        return "not measured"
    last, first, found = whole.verdicts.get(key), unit.firsts.get(key), whole.as_found.get(key)
    step = steps_by_id(whole).get(key[0])
    if isinstance(step, TuneStep) and found is not None:
        text = f"found at {format_value(found.value, step.unit or step.wanted[0].unit, found.resolution)}"
        if last is None:
            return f"{text}, not done"
        turned = isinstance(last.as_left, float) and last.as_left != last.as_found
        return f"{text}, left at {reads(last.value, last)}" if turned else text
    if last is None:
        return "not done" if key in whole.expected else "not measured"
    now = in_words(last)
    if first is not None and first.verdict not in GOOD and (earlier := in_words(first)) != now:
        return f"at first {earlier}; now {now}"
    return now


def _says(key: Key, measured: Sequence[tuple[Unit, Evidence]], pairs: Sequence[Pair]) -> Iterator[str]:
    """Yield what the row tells: who was tampered with, what was mended, what fails, what differs from the good unit."""
    for unit, whole in measured:
        tag = f"{unit.about.tag}: " if len(measured) > 1 else ""
        first, last = unit.firsts.get(key), whole.verdicts.get(key)
        yield from (f"{tag}{text}" for text in _turned(key, unit, measured))
        if any(key == (step, item) for item, (step, _) in whole.standing.items()):
            yield f"{tag}STANDS PAST ITS HAZARD LIMIT"
        if last is None:
            continue
        if isinstance(last.accepted, str):
            yield f"{tag}accepted as it is" + (f", {last.accepted}" if last.accepted else "")
        elif last.verdict is VerdictKind.FAIL:
            yield f"{tag}fails"
        elif last.verdict is VerdictKind.UNSURE and last.rule != BY_REFERENCE:
            yield f"{tag}not decided"
        elif first is not None and first.verdict is VerdictKind.FAIL and is_good(last):
            yield f"{tag}failed, good now"
        if last.verdict is not VerdictKind.FAIL:
            yield from (f"{tag}{text}" for text in _differing(key, unit, pairs))


def _turned(key: Key, unit: Unit, measured: Sequence[tuple[Unit, Evidence]]) -> Iterator[str]:
    """Yield how a trimmer as found lies to the good unit's, where both were read and they are not alike."""
    good = next((whole for other, whole in measured if other.about.known_good and key in whole.as_found), None)
    if good is None or unit.about.known_good or unit.whole is None or key not in unit.whole.as_found:
        return
    step = steps_by_id(unit.whole).get(key[0])
    here, there = unit.whole.as_found[key].value, good.as_found[key].value
    if not isinstance(step, TuneStep) or not there:
        return
    within = step.half_width(there) or SAME_SHARE * abs(there)
    if abs(here - there) > within:
        yield f"found at {100.0 * here / there:.3g} % of the good unit: turned by someone?"


def _differing(key: Key, unit: Unit, pairs: Sequence[Pair]) -> Iterator[str]:
    """Yield how an item that differs lies to the good unit's, or to the first unit's where none is known good."""
    whole = unit.whole
    if whole is None or isinstance(steps_by_id(whole).get(key[0]), TuneStep):
        return
    for pair in pairs:
        if pair.how == "before and after" or pair.file != unit.about.tag:
            continue
        whose = "the good unit's" if pair.how == "good units" else "the first one's"
        yield from (_ratio(line, whose) for line in pair.lines if (line.step, line.item) == key and line.differs)


def _ratio(line: Line, whose: str) -> str:
    if line.ratio is None or line.ratio <= 0.0:
        return f"differs from {whose}"
    if line.ratio >= 2.0:
        return f"{float(f'{line.ratio:.2g}'):g} times {whose}"
    return f"{100.0 * line.ratio:.3g} % of {whose}"
