"""Puts the report of a job together: what its owner reads first, and what stands behind it after that."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from metercap.outcome import Key
from metercap.plan.expected import hazards_of, items_of
from metercap.report.abreast import abreast
from metercap.report.beside import beside
from metercap.report.document import (
    Block,
    Document,
    Facts,
    Group,
    Listing,
    Para,
    Photo,
    Row,
    Section,
    Signatures,
    Table,
)
from metercap.report.job import JobFindings, SittingFacts, UnitFindings, spent
from metercap.report.names import listed, name_of
from metercap.report.plot import Aims, plot
from metercap.report.sections import waived
from metercap.report.sitting import Sitting
from metercap.report.story import Unit
from metercap.report.verdicts import table
from metercap.report.when import lasting

SIGN = ("Worked on by", "Received by")
NOTHING = "nothing"


def compose_job(found: JobFindings, units: Sequence[Unit], photos: Sequence[tuple[str, Photo]] = ()) -> Document:
    """Return the report as a document. `photos`: each with the tag of the unit it shows, "" where it shows no one."""
    tags = {unit.about.tag for unit in units}
    parts = [abreast(units, found.beside)]
    parts += [_story(each, [photo for tag, photo in photos if tag == each.about.tag]) for each in found.units]
    rest = tuple(photo for tag, photo in photos if tag not in tags)
    parts += [Section("Pictures", rest)] if rest else []
    parts.append(Section("Signed", (Signatures(SIGN),)))
    parts.append(Section("Cautions", (Listing(found.cautions), *_of_the_plan(found))))
    behind = [*_tables(found, units), *(beside(pair) for pair in found.beside), _unseen(found), _sittings(found)]
    first = behind[0]
    parts += [Section(first.title, first.blocks, anew=True), *behind[1:]]
    title = found.title
    subtitle = ", ".join(part for part in (found.model, _names(found.units)) if part)
    return Document(title, subtitle, " ".join(_result(found)), tuple(parts), found.defers)


def _names(units: Iterable[UnitFindings]) -> str:
    return ", ".join(each.about.called for each in units)


def _result(found: JobFindings) -> Iterator[str]:
    """Yield a sentence or two on each unit."""
    for each in found.units:
        told, tag = each.story, each.about.tag
        if told.past_limit:
            yield f"{tag}: {'; '.join(told.past_limit)}. It must be turned back before the unit is powered."
        if not told.points:
            yield f"{tag}: {', '.join(told.left)}."
            continue
        accepted = f", {len(told.accepted)} of them accepted as they are" if told.accepted else ""
        yield f"{tag}: {told.good} of {told.points} items good{accepted}."
        for words, keys in (("Fails", told.failing), ("Not decided", told.unsure), ("Not done", told.undone)):
            if keys:
                yield f"{words}: {listed(keys)}."


def _story(each: UnitFindings, photos: Sequence[Photo]) -> Section:
    about, told = each.about, each.story
    title = f"Unit {about.called}{', known good' if about.known_good else ''}"
    serial = [("Serial number", about.serial)] if about.serial else []
    rows: list[tuple[str, str | tuple[str, ...]]] = [
        *serial,
        *([("Symptom", about.symptom)] if about.symptom else []),
        ("Found", _listed(told.found)),
        ("Done", _listed(told.done)),
        *([("Parts", _listed(told.parts))] if told.parts else []),
        *([("Accepted", _listed(told.accepted))] if told.accepted else []),
        ("Left open", _listed(told.left)),
        *([("Proof", _listed(told.proof))] if told.proof else []),
        *([("Noted", _listed(told.noted))] if told.noted else []),
        ("On the bench", spent(told.bench_s)),
    ]
    loud = [Para(f"{text}: it must be turned back before the unit is powered.", loud=True) for text in told.past_limit]
    loud += [Para(waived(why), loud=True) for why in told.waived]
    return Section(title, (*loud, Facts(tuple(rows)), *photos))


def _listed(lines: Sequence[str]) -> tuple[str, ...]:
    return tuple(f"{line[:1].upper()}{line[1:]}" for line in lines) or (NOTHING,)


def _of_the_plan(found: JobFindings) -> tuple[Para | Listing, ...]:
    if not found.plan_cautions:
        return ()
    return Para("And of this plan:"), Listing(found.plan_cautions)


def _tables(found: JobFindings, units: Sequence[Unit]) -> Iterator[Section]:
    """Yield every verdict of every unit, with its replaced ones, and the paths of its trimmers."""
    for unit in units:
        if unit.whole is None:
            continue
        blocks: list[Block] = [table(unit.whole.verdicts.values(), unit.earlier, unit.whole.open, unit.whole.plan)]
        left_out = sum(one.gathered.fold.left_out for one in unit.sittings)
        if left_out:
            blocks.append(Para(f"And {left_out} verdicts more on items that are not in the plan: see the journals."))
        yield Section(f"Everything measured on {unit.about.called}", (*blocks, *_paths(unit)))


def _paths(unit: Unit) -> Iterator[Block]:
    """Yield the path of each trimmer, of every sitting that turned or read it."""
    for one in unit.sittings:
        for key, trace in one.gathered.traces.items():
            picture = plot(f"{name_of(key)}, {one.file.name}", trace, _aims(key, one)) if key[0] else None
            if picture is not None:
                yield picture


def _aims(key: Key, one: Sitting) -> Aims:
    """Return what a trimmer was turned to in one sitting, and where it was found and left there."""
    evidence = one.evidence
    step = next((step for step in evidence.plan.steps if step.id == key[0]), None)
    item = None if step is None else next((item for item in items_of(step) if item.name == key[1]), None)
    below, above = (None, None) if step is None or item is None else hazards_of(step, item, evidence.first.reference)
    verdict = evidence.verdicts.get(key)
    past = tuple(each for each in one.gathered.excursions if (each.step, each.item) == key)
    if verdict is None:
        return Aims(never_below=below, never_above=above, excursions=past)
    found, left, target, tolerance = (
        value if isinstance(value, float) else None
        for value in (verdict.as_found, verdict.as_left, verdict.target, verdict.tolerance)
    )
    return Aims(target, tolerance, below, above, found, left, verdict.t_s, verdict.resolution, past)


def _unseen(found: JobFindings) -> Section:
    return Section("What this meter cannot see", (Listing(found.unseen),))


def _sittings(found: JobFindings) -> Section:
    heads = ("journal", "unit", "started", "lasted", "ended", "meter, operator, program", "SHA-256")
    rows = tuple(_sitting(one) for one in found.sittings)
    blocks: list[Block] = [Para(warning, loud=True) for warning in found.warnings]
    blocks += [Table("sittings", heads, (Group(rows),)), Para(f"Reported by {found.program}.")]
    return Section("Sittings", tuple(blocks))


def _sitting(one: SittingFacts) -> Row:
    meter = f"{one.meter}{f' ({one.identity})' if one.identity else ''}"
    who = ", ".join(part for part in (meter, one.operator, one.program) if part)
    ended = f"{one.end}; {one.file.state}" if one.file.state != "closed" else one.end
    return Row((one.file.name, one.unit, one.started, lasting(one.lasted_s), ended, who, one.file.sha256))
