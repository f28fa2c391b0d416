"""What a report says, as data: one pass over a journal, and what comparing it with good units says.

`Findings` is what `--json` prints; `Gathered` holds what pictures are drawn from.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import msgspec

from metercap.compare import Side, compare_files
from metercap.compare.model import Adjusted, Counted, Pair
from metercap.compare.pairs import Beside, pair
from metercap.evidence import Evidence
from metercap.judging.good import Good, read_goods
from metercap.outcome import Key, Open
from metercap.plankeys import TuneStep
from metercap.records import EndRecord, Excursion, SessionRecord, Verdict, VerdictKind
from metercap.report.cautions import DEFERS, own, usual
from metercap.report.gather import Entry, Gathered
from metercap.report.sitting import FileFacts, sit
from metercap.report.sofar import counted_so_far
from metercap.report.unseen import unseen


class Skipped(msgspec.Struct, frozen=True):
    """An item that was passed over: for good, or only until the second look."""

    step: str
    item: str
    how: Literal["skipped", "skipped first, decided at the second look", "skipped first, not done since"]


class Standing(msgspec.Struct, frozen=True):
    """A trimmer that stood past a hazard limit when the session ended; `past` is the last excursion that was seen."""

    step: str
    item: str
    side: str
    past: Excursion | None


class SoFar(msgspec.Struct, frozen=True):
    """What was counted of an item that is not done, by this session and those that it goes on with."""

    step: str
    item: str
    said: str


class Findings(msgspec.Struct, frozen=True, kw_only=True):
    """Everything a report says. Values in SI, times in seconds since the session's start.

    `verdicts` stand; `replaced` were given before them. `beside`: the comparison with good units, where there is one.
    """

    program: str
    file: FileFacts
    session: SessionRecord
    end: EndRecord | None
    last_s: float
    counts: dict[str, int]
    verdicts: tuple[Verdict, ...]
    replaced: tuple[Verdict, ...]
    open: tuple[Open, ...]
    so_far: tuple[SoFar, ...]
    skipped: tuple[Skipped, ...]
    not_run: tuple[str, ...]
    adjusted: tuple[Adjusted, ...]
    excursions: tuple[Excursion, ...]
    standing: tuple[Standing, ...]
    waived: tuple[str, ...]
    counted: tuple[Counted, ...]
    beside: tuple[Pair, ...]
    warnings: tuple[str, ...]
    log: tuple[Entry, ...]
    log_left_out: int
    readings: dict[str, int]
    garbage_bytes: int
    unseen: tuple[str, ...]
    cautions: tuple[str, ...]
    plan_cautions: tuple[str, ...]
    defers: str = DEFERS


def study(path: Path, *, program: str, against: Side | None = None) -> tuple[Findings, Gathered]:
    """Read a journal once, in bounded memory, and return what there is to say of it.

    `program` makes the report; `against`: a known-good unit's session, or a learned reference. Raises JournalError for
    a damaged file or one without a session, PlanError for a plan that this program cannot run, UsageError where
    `against` is of another model or the same session.
    """
    read = sit(path)
    return _findings(read.file, read.evidence, read.gathered, against, program), read.gathered


def _so_far(session: Evidence, left: tuple[Open, ...]) -> Iterator[SoFar]:
    for one in left:
        kept = session.counts.get((one.step, one.item))
        said = "" if kept is None else counted_so_far(kept)
        if said:
            yield SoFar(one.step, one.item, said)


def _findings(file: FileFacts, session: Evidence, gathered: Gathered, against: Side | None, program: str) -> Findings:
    fold, plan, first = gathered.fold, session.plan, session.first
    only = first.options.get("steps") or ()
    here = Side(file.name, session)
    compared = compare_files([here] if against is None else [against, here])
    pairs = compared.pairs or tuple(_carried(session, file.name))
    kinds = {str(kind): count for kind, count in fold.counts.items()}
    return Findings(
        program=program,
        file=file,
        session=first,
        end=fold.end,
        last_s=gathered.last_s,
        counts=kinds,
        verdicts=tuple(session.verdicts.values()),
        replaced=tuple(gathered.replaced),
        open=fold.open,
        so_far=tuple(_so_far(session, fold.open)),
        skipped=tuple(_skipped(session.verdicts, gathered)),
        not_run=tuple(step.id for step in plan.steps if only and step.id not in only),
        adjusted=(
            *(row for row in compared.adjusted if row.file == file.name),
            *_undecided(session, gathered, file.name),
        ),
        excursions=tuple(gathered.excursions),
        standing=tuple(_standing(gathered)),
        waived=tuple(work.text for work in gathered.works if work.what == "waived"),
        counted=tuple(row for row in compared.counted if row.unit_name == first.unit),
        beside=tuple(one for one in pairs if one.file == file.name),
        warnings=tuple(text for text in compared.warnings if not text.startswith(f"{file.name}: ")),  # said otherwise
        log=tuple(gathered.log),
        log_left_out=gathered.log.left_out,
        readings=gathered.readings,
        garbage_bytes=gathered.garbage_bytes,
        unseen=unseen(plan, first.meter, gathered.readings, first.conversion_s),
        cautions=usual(plan),
        plan_cautions=own(plan),
    )


def _standing(gathered: Gathered) -> Iterator[Standing]:
    """Return every trimmer that nobody saw back inside its limit."""
    for item, (step, side) in gathered.fold.standing.items():
        seen = [past for past in gathered.excursions if past.item == item]
        if side:
            yield Standing(step, item, side, seen[-1] if seen else None)


def _carried(session: Evidence, file: str) -> Iterator[Pair]:
    """Return the comparison with the good units that the session itself was given."""
    rows = read_goods(session.first.reference)
    goods: dict[Key, Good] = {key: rows["/".join(key)] for key in session.places if "/".join(key) in rows}
    if goods:
        who = dict.fromkeys(good.who for good in goods.values())
        yield pair(session, file, Beside("good units", "; ".join(who), goods, {}))


def _undecided(session: Evidence, gathered: Gathered, file: str) -> Iterator[Adjusted]:
    """Return every trimmer that was read as found, or was seen past its limit, and has no verdict that says so."""
    units = {step.id: step.unit or step.wanted[0].unit for step in session.plan.steps if isinstance(step, TuneStep)}
    past = [(one.step, one.item) for one in gathered.excursions]
    stood = [(step, item) for item, (step, _) in gathered.fold.standing.items()]
    for key in dict.fromkeys([*session.as_found, *past, *stood]):
        verdict, judged = session.verdicts.get(key), session.as_found.get(key)
        said = verdict is not None and any(isinstance(read, float) for read in (verdict.as_found, verdict.as_left))
        if said or key[0] not in units:
            continue
        yield Adjusted(
            session.first.unit,
            file,
            *key,
            unit=units[key[0]],
            verdict="not done" if verdict is None else str(verdict.verdict),
            as_found=None if judged is None else judged.value,
            as_left=None,
            resolution=None if judged is None else judged.resolution,
            target=None,
            tolerance=None,
            excursions=past.count(key),
        )


def _skipped(verdicts: dict[Key, Verdict], gathered: Gathered) -> Iterator[Skipped]:
    keys = dict.fromkeys([*gathered.passed_over, *verdicts])
    for key in keys:
        verdict = verdicts.get(key)
        if verdict is None:
            yield Skipped(*key, "skipped first, not done since")
        elif verdict.verdict is VerdictKind.UNSURE and "skipped" in verdict.reason:
            yield Skipped(*key, "skipped")
        elif key in gathered.passed_over:
            yield Skipped(*key, "skipped first, decided at the second look")
