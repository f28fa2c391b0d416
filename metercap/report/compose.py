"""Puts a report together from its parts."""

from __future__ import annotations

from collections.abc import Sequence

from metercap.report.beside import beside
from metercap.report.document import Document, Listing, Para, Photo, Section
from metercap.report.findings import Findings
from metercap.report.gather import Gathered
from metercap.report.sections import (
    counts,
    facts,
    free_trace,
    left_open,
    log,
    result,
    sweeps,
    trimmers,
    warnings,
)
from metercap.report.verdicts import verdicts


def compose(found: Findings, gathered: Gathered, photos: Sequence[Photo] = ()) -> Document:
    """Return the report as a document, with `photos` in front of what was said."""
    plan = gathered.fold.plan
    assert plan is not None
    judged = bool(found.verdicts or found.open)
    parts: list[Section | None] = [
        Section("Session", (*warnings(found), facts(found, plan))),
        _all_of(verdicts(found, plan), gathered.fold.left_out) if judged else None,
        left_open(found) if judged else None,
        trimmers(found, gathered, plan),
        counts(found, plan),
        *(beside(pair) for pair in found.beside),
        sweeps(gathered),
        free_trace(gathered, plan),
        Section("Pictures", tuple(photos)) if photos else None,
        log(found, gathered.log.cut),
        Section("What this meter cannot see", (Listing(found.unseen),)),
        Section("Cautions", (Listing(found.cautions), *_of_the_plan(found))),
    ]
    title = f"Unit {found.session.unit}"
    subtitle = ", ".join(part for part in (plan.title, plan.model) if part)
    return Document(title, subtitle, result(found), tuple(part for part in parts if part is not None), found.defers)


def _all_of(section: Section, left_out: int) -> Section:
    """Say what a report of bounded length leaves out."""
    if not left_out:
        return section
    more = Para(f"And {left_out} verdicts more on items that are not in the plan: the journal has them.", loud=True)
    return Section(section.title, (*section.blocks, more))


def _of_the_plan(found: Findings) -> tuple[Para | Listing, ...]:
    if not found.plan_cautions:
        return ()
    return Para("And of this plan:"), Listing(found.plan_cautions)
