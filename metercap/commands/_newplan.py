"""What `plan new` is given: options, answers to questions, or a session's unplanned items."""

from __future__ import annotations

import sys
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

import click
import msgspec

from metercap.errors import UsageError
from metercap.outcome import Fold
from metercap.plan.new import Probed, Switch, Trimmer, Wanted, plan_text, probed_steps
from metercap.quantity import Quantity, expand_items
from metercap.reading import Reading
from metercap.records import Record
from metercap.session.machine import INTERLUDE

OF_STEPS = {
    "points": "--point", "fuses": "--fuses", "fuse_max": "--fuse-max", "fuse_rating": "--fuse-rating",
    "fuse_type": "--fuse-type", "switches": "--switch", "cells": "--cell", "trimmers": "--trimmer", "loose": "--loose",
}  # fmt: skip
"""Options that ask for steps, by parameter."""
_NEEDS = {"fuse_type": "fuse_rating", "fuse_max": "fuses", "fuse_rating": "fuses"}
_EXCLUDE = (("fuse_max", "fuse_rating"), ("points", "loose"))


def refuse_idle(asked_for: Collection[str]) -> None:
    """Raise UsageError, naming it, for an option that was given and would change nothing."""
    for name, other in _NEEDS.items():
        if name in asked_for and other not in asked_for:
            raise UsageError(f"goes with {OF_STEPS[other]}", where=OF_STEPS[name], hint="metercap plan new --help")
    for name, other in _EXCLUDE:
        if name in asked_for and other in asked_for:
            raise UsageError(f"excluded by {OF_STEPS[other]}", where=OF_STEPS[name], hint="leave one of them out")


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


def from_journal(path: Path, given: dict[str, Any], asked_for: Collection[str]) -> str:
    """Return, as TOML, the plan that a session ran, and what it measured with `probe NAME` beside it.

    The session's own steps keep their kinds and every key. A session that only has unplanned items, or none of its own
    steps because options ask for others, becomes a new plan with its title, model and points.
    """
    from metercap.journal import read
    from metercap.outcome import fold
    from metercap.plan.write import plan_toml

    file = read(path)
    found = fold(file.records)
    if found.session is None or found.plan is None:
        raise UsageError("holds no session", where=str(path), hint="metercap verify says what it holds")
    probed = _probed(found, file.records)
    if not found.plan.steps and not probed:
        raise UsageError("nothing was measured in it", where=str(path), hint="say probe NAME during a session")
    plan = found.plan
    if found.plan.steps:
        for name in asked_for:
            if name in OF_STEPS:
                what = "the session's own steps make the plan"
                raise UsageError(what, where=OF_STEPS[name], hint="leave it out, and edit the plan")
        title = given["title"] or plan.title
        plan = msgspec.structs.replace(plan, title=title, model=given["model"] or plan.model)
        more = probed_steps(probed, {step.id for step in plan.steps})
        return plan_toml(plan) + "".join(f"{line}\n" for line in (["", *more] if more else []))
    base = from_options({**given, "title": given["title"] or plan.title})
    return plan_text(msgspec.structs.replace(base, model=base.model or plan.model, probed=tuple(probed)))


def _probed(found: Fold, records: Sequence[Record]) -> list[Probed]:
    """Return what was measured with `probe NAME`, each in the quantity that the meter showed."""
    readings = [record for record in records if isinstance(record, Reading)]
    probed = []
    for (step, _), verdict in found.verdicts.items():
        if step != INTERLUDE:
            continue
        from_s = verdict.t_s if verdict.from_s is None else verdict.from_s
        quantity = next((r.quantity for r in readings if from_s <= r.t_s <= verdict.t_s), None)
        if quantity is None:
            quantity = next((q for q in Quantity if q.unit == verdict.unit), Quantity.RESISTANCE)
        probed.append(Probed(verdict.item, quantity, verdict.value, verdict.resolution))
    return probed


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
