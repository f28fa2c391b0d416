"""The report of a job: several units over all their sittings, so that who pays for the work understands the first page.

The units side by side come first, then each one's story, a place to sign, and cautions; tables, sittings and checksums
last. `study_job` reads the journals, `compose_job` makes the document.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec

from metercap.compare import Side, compare_files
from metercap.compare.model import Counted, Pair
from metercap.errors import MetercapError, UsageError
from metercap.outcome import Open
from metercap.records import Verdict
from metercap.report.cautions import DEFERS, own, usual
from metercap.report.sections import ENDS
from metercap.report.sitting import FileFacts, Sitting, sit
from metercap.report.story import About, Story, Unit, story
from metercap.report.unseen import unseen
from metercap.report.when import When, lasting

WORTH_S = 5.0
"""Steps that took less are told together."""


class SittingFacts(msgspec.Struct, frozen=True):
    """One journal: the file, the session in it, when and how long (local time), how it ended, by whom, which meter."""

    unit: str
    file: FileFacts
    session: str
    started: str
    lasted_s: float
    end: str
    operator: str
    meter: str
    identity: str
    program: str
    readings: int


class UnitFindings(msgspec.Struct, frozen=True):
    """What there is to say of one unit: its story, and what stands behind it over all sittings."""

    about: About
    story: Story
    verdicts: tuple[Verdict, ...]
    open: tuple[Open, ...]


class JobFindings(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that a job's report says, as data. Values in SI, times in seconds."""

    program: str
    title: str
    model: str
    units: tuple[UnitFindings, ...]
    beside: tuple[Pair, ...]
    counted: tuple[Counted, ...]
    sittings: tuple[SittingFacts, ...]
    warnings: tuple[str, ...]
    unseen: tuple[str, ...]
    cautions: tuple[str, ...]
    plan_cautions: tuple[str, ...]
    defers: str = DEFERS


def study_job(
    title: str,
    model: str,
    units: Sequence[tuple[About, Sequence[Path]]],
    *,
    program: str,
    against: Side | None = None,
) -> tuple[JobFindings, tuple[Unit, ...]]:
    """Read the journals of a job's units, each unit's in the order in which they were begun.

    A journal that cannot be read, or only up to a damage, is named in the warnings; the rest is told. `against`: good
    units' values from elsewhere. Raises UsageError where there is no journal at all that can be read.
    """
    warnings: list[str] = []
    read = tuple(Unit.of(about, tuple(_sat(paths, warnings))) for about, paths in units)
    wholes = [(unit.about, unit.whole) for unit in read if unit.whole is not None]
    if not wholes:
        raise UsageError(f"no journal of {title or 'this job'} can be read", hint="; ".join(warnings))
    sides = [Side(about.tag, whole) for about, whole in wholes]
    pairs, counted = _compared(sides if against is None else [against, *sides], warnings)
    plans = {msgspec.json.encode(whole.first.plan): whole.plan for _, whole in wholes}
    quantities: dict[str, int] = {}
    for unit in read:
        for one in unit.sittings:
            for name, n in one.gathered.readings.items():
                quantities[name] = quantities.get(name, 0) + n
    first = wholes[0][1]
    found = JobFindings(
        program=program,
        title=title or first.plan.title,
        model=model or first.plan.model,
        units=tuple(_unit(unit) for unit in read),
        beside=pairs,
        counted=counted,
        sittings=tuple(_facts(unit.about.tag, one) for unit in read for one in unit.sittings),
        warnings=tuple(warnings),
        unseen=_once(unseen(plan, first.first.meter, quantities, first.first.conversion_s) for plan in plans.values()),
        cautions=_once(usual(plan) for plan in plans.values()),
        plan_cautions=_once(own(plan) for plan in plans.values()),
    )
    return found, read


def _sat(paths: Sequence[Path], warnings: list[str]) -> Iterator[Sitting]:
    for path in paths:
        try:
            one = sit(path, damaged=True)
        except MetercapError as error:
            warnings.append(f"{path.name} is passed over: {error.what}")
            continue
        if one.file.lost:
            warnings.append(f"{path.name} is {one.file.state}: {one.file.lost}; what stands before that is told")
        yield one


def _compared(sides: Sequence[Side], warnings: list[str]) -> tuple[tuple[Pair, ...], tuple[Counted, ...]]:
    try:
        compared = compare_files(sides)
    except MetercapError as error:  # other plans or models on one bench: each unit stands alone
        warnings.append(f"not set side by side: {error.what}")
        return (), ()
    return tuple(pair for pair in compared.pairs if pair.how != "before and after"), compared.counted


def _unit(unit: Unit) -> UnitFindings:
    whole = unit.whole
    if whole is None:
        return UnitFindings(unit.about, story(unit), (), ())
    return UnitFindings(unit.about, story(unit), tuple(whole.verdicts.values()), whole.open)


def _facts(tag: str, one: Sitting) -> SittingFacts:
    first, gathered = one.evidence.first, one.gathered
    end = gathered.fold.end
    return SittingFacts(
        tag,
        one.file,
        first.id,
        When(first).whole(0.0),
        gathered.last_s,
        "no end was recorded" if end is None else ENDS.get(end.reason, end.reason),
        first.operator,
        first.meter.name,
        first.identity,
        first.program,
        sum(gathered.readings.values()),
    )


def _once(several: Iterator[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for some in several for text in some))


def spent(seconds: dict[str, float]) -> str:
    """Return time on the bench: the whole, then each step that took long enough to be worth a word."""
    if not seconds:
        return "none"
    told = {step: each_s for step, each_s in seconds.items() if each_s >= WORTH_S}
    parts = [f"{step} {lasting(each_s)}" for step, each_s in told.items()]
    others = len(seconds) - len(told)
    parts += [f"{others} more, {lasting(sum(seconds.values()) - sum(told.values()))}"] if others and told else []
    return f"{lasting(sum(seconds.values()))}{': ' if parts else ''}{', '.join(parts)}; pauses included"
