"""Values of good units, and what an earlier session of the same unit left, for the commands that run a session."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from metercap.errors import UsageError
from metercap.plan import Plan, to_builtins
from metercap.steps import TuneStep
from metercap.steps.trimmer import REFERENCE


def read_reference(path: Path, unit: str) -> dict[str, dict[str, Any]]:
    """Return the values of a known-good session, by "step/item"; UsageError when it is of the same unit."""
    from metercap.journal import read
    from metercap.outcome import fold

    file = read(path)
    first = file.session
    if first is None:
        raise UsageError("holds no session", where=str(path), hint="metercap verify says what it holds")
    if first.unit == unit:
        raise UsageError(
            f"{path} is a session of {unit} itself",
            where="--against",
            hint="compare with another unit of the model; --after takes up the same unit",
        )
    out: dict[str, dict[str, Any]] = {}
    for verdict in fold(file.records).verdicts.values():
        if verdict.value is None:
            continue
        out[f"{verdict.step}/{verdict.item}"] = {
            "value": verdict.value,
            "U": verdict.expanded,
            "unit": verdict.unit,
            "resolution": verdict.resolution,
            "n": 1,
            "unit_name": first.unit,
            "session": first.id,
            "known_good": first.known_good,
        }
    return out


def require_references(
    plan: Plan, reference: dict[str, dict[str, Any]], only: Sequence[str], *, known_good: bool
) -> None:
    """Raise UsageError naming every value that the plan takes from a reference and that is missing.

    A known-good unit is the reference: its trimmers are read and left alone.
    """
    if known_good:
        return
    missing = [
        f"{step.id}/{name}"
        for step in plan.steps
        if isinstance(step, TuneStep) and step.target == REFERENCE and (not only or step.id in only)
        for name in step.item_names
        if f"{step.id}/{name}" not in reference
    ]
    if missing:
        raise UsageError(
            f"no reference value for {', '.join(missing)}",
            where="--against",
            hint="run the plan on a known-good unit first, and give its journal with --against",
        )


def what_is_inherited(*, continue_: Path | None, after: Path | None, unit: str, plan: Plan) -> dict[str, Any]:
    """Return what `--continue` or `--after` hand on from an earlier session of the same unit."""
    if continue_ is None and after is None:
        return {}
    if continue_ is not None and after is not None:
        raise UsageError("--continue and --after exclude each other", hint="--after takes up a finished session")
    from metercap.journal import iterate
    from metercap.session import Driver, Session, feed_recorded, opening
    from metercap.session.inherit import How, inherited_from

    how: How = "continue" if continue_ is not None else "after"
    path, option = (continue_ or after), f"--{how}"
    assert path is not None
    with iterate(path) as records:
        first = opening(records)
        if first.unit != unit:
            raise UsageError(f"{path} is a session of {first.unit}, not of {unit}", where=option)
        if how == "continue" and first.plan != to_builtins(plan):
            raise UsageError(
                f"{path} ran another plan or another version of it",
                where=option,
                hint="--after takes up the same unit with any plan",
            )
        session = Session(first)
        driver = Driver(session)
        driver.start()
        for _ in feed_recorded(driver, records):
            pass
    return inherited_from(session.bench, how, first.id).as_builtins()
