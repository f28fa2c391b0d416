"""What `plan new` is given: options, answers to questions, or a session's unplanned items."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from metercap.errors import PlanError, UsageError
from metercap.plan.new import Probed, Switch, Trimmer, Wanted
from metercap.quantity import Quantity, expand_items
from metercap.session.machine import INTERLUDE


def refuse_existing(out: Path) -> None:
    """Raise PlanError when the file exists: a plan somebody has worked on is never overwritten."""
    if out.exists() or out.is_symlink():
        raise PlanError("already exists", where=str(out), hint="name a new file; metercap never overwrites one")


def from_options(given: dict[str, Any]) -> Wanted:
    """Return what the options ask for."""
    if not given["title"]:
        raise UsageError("a plan needs a title", where="--title", hint='--title "Pump driver"')
    return Wanted(
        title=given["title"],
        model=given["model"],
        loose=given["loose"],
        points=tuple(given["points"]) or Wanted(title="").points,
        fuses=_names(given["fuses"]),
        fuse_max=given["fuse_max"],
        fuse_rating=given["fuse_rating"],
        fuse_type=given["fuse_type"],
        switches=tuple(_switch(text) for text in given["switches"]),
        cells=tuple(given["cells"]),
        trimmers=tuple(_trimmer(text) for text in given["trimmers"]),
    )


def asked() -> Wanted:
    """Ask one question after the other; an empty answer leaves a thing out."""
    if not sys.stdin.isatty():
        raise UsageError(
            "no options, and nobody to ask", where="plan new", hint='give --title "…" and what the unit has'
        )
    click.echo("An empty answer leaves a thing out.", err=True)
    title = _ask("What is the plan for?") or "New plan"
    model = _ask("Model of the units")
    loose = click.confirm("Only loose parts, no supply?", default=False, err=True)
    points = () if loose else _names(_ask("Points to prove dead, such as supply input, C12"))
    return Wanted(
        title=title,
        model=model,
        loose=loose,
        points=points or Wanted(title="").points,
        fuses=_names(_ask("Fuses, such as F1..F12")),
        switches=tuple(_switch(name) for name in _names(_ask("Cover and interlock switches, such as S1, S2:nc"))),
        cells=_names(_ask("Backup cells, such as BT1")),
        trimmers=tuple(_trimmer(name) for name in _names(_ask("Trimmers, such as RV1, RV2=2.2kohm"))),
    )


def from_journal(path: Path, given: dict[str, Any]) -> Wanted:
    """Return a plan of what a session measured with `probe NAME`, beside what the options ask for.

    Title, model and the points proved dead are those of the session's plan where the options name none.
    """
    from metercap.journal import read
    from metercap.outcome import fold
    from metercap.reading import Reading

    file = read(path)
    found = fold(file.records)
    if found.session is None or found.plan is None:
        raise UsageError("holds no session", where=str(path), hint="metercap verify says what it holds")
    verdicts = [verdict for (step, _), verdict in found.verdicts.items() if step == INTERLUDE]
    if not verdicts:
        raise UsageError(
            "nothing was measured with probe NAME", where=str(path), hint="say probe NAME during a session"
        )
    readings = [record for record in file.records if isinstance(record, Reading)]
    probed = []
    for verdict in verdicts:
        from_s = verdict.t_s if verdict.from_s is None else verdict.from_s
        quantity = next((r.quantity for r in readings if from_s <= r.t_s <= verdict.t_s), None)
        if quantity is None:
            quantity = next((q for q in Quantity if q.unit == verdict.unit), Quantity.RESISTANCE)
        probed.append(Probed(verdict.item, quantity, verdict.value, verdict.resolution))
    points = tuple(point for step in found.plan.steps for point in getattr(step, "points", ()))
    base = from_options({**given, "title": given["title"] or found.plan.title, "points": given["points"] or points})
    return Wanted(
        title=base.title,
        model=base.model or found.plan.model,
        loose=base.loose or found.plan.supply == "none",
        points=base.points,
        fuses=base.fuses,
        fuse_max=base.fuse_max,
        fuse_rating=base.fuse_rating,
        fuse_type=base.fuse_type,
        switches=base.switches,
        cells=base.cells,
        trimmers=base.trimmers,
        probed=tuple(probed),
    )


def _ask(question: str) -> str:
    answer: str = click.prompt(question, default="", show_default=False, err=True)
    return answer.strip()


def _names(text: str) -> tuple[str, ...]:
    return tuple(expand_items(text)) if text.strip() else ()


def _switch(text: str) -> Switch:
    name, _, form = text.partition(":")
    return Switch(name.strip(), form.strip() or "no")


def _trimmer(text: str) -> Trimmer:
    name, _, target = text.partition("=")
    return Trimmer(name.strip(), target.strip() or "reference")
