"""Values of good units, for the commands that run a session."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from metercap.commands._saying import tell
from metercap.errors import UsageError
from metercap.plan import Plan

Rows = dict[str, dict[str, Any]]
"""Good units' values by "step/item", as a journal's first record carries them."""
_TOLD = 20
"""Units that are named; the others are counted."""


def read_reference(path: Path, unit: str, plan: Plan) -> Rows:
    """Return the values of good units that a session or a learned reference holds, for a session of `unit`.

    UsageError where they are of the same unit or of another model. A unit that nobody marked known good is taken, with
    a warning on stderr.
    """
    from metercap.compare.sources import open_source
    from metercap.reference.gather import models_differ, same_unit
    from metercap.reference.model import rows

    reference = open_source(path).good()
    if any(same_unit(one.name, unit) for one in reference.units):
        raise UsageError(
            f"{path} holds unit {unit} itself",
            where="--against",
            hint="compare with another unit of the model; --after takes up the same unit",
        )
    how = models_differ(reference.model, reference.title, plan.model, plan.title)
    if how:
        raise UsageError(f"{path} is of another kind: {how}", where="--against")
    for name in reference.unmarked[:_TOLD]:
        text = "is not marked known good; its values are taken all the same, and every verdict by them says so"
        tell(f"{path}: unit {name} {text}")
    more = len(reference.unmarked[_TOLD:]) + reference.folded.unmarked
    if more:
        tell(f"{path}: {more} units more are not marked known good")
    if reference.folded.units:
        tell(f"{path}: {reference.folded.units} of its units are no longer named: {unit} may be one of them")
    if reference.signed is not None:
        tell(f"{path}: signed off by {reference.signed.words}")
    return rows(reference)


def tell_missing(plan: Plan, reference: Rows, only: Sequence[str], *, known_good: bool) -> None:
    """Tell which of the plan's values come from a good unit that is not known yet: they may be born on the way.

    UsageError where the reference has one that was measured otherwise.
    """
    missing = [] if known_good else list(_missing(plan, reference, only))
    if any(why for _, why in missing):
        raise _none_for(missing)
    if missing:
        ways = "measure a good unit first, or say what to turn to where it is asked"
        tell(f"no reference value yet for {', '.join(key for key, _ in missing)}: {ways}")


def require_references(plan: Plan, reference: Rows, only: Sequence[str], *, known_good: bool) -> None:
    """Raise UsageError naming every value that the plan takes from a reference and that is missing.

    A known-good unit is the reference: its trimmers are read and left alone, its fuses only recorded.
    """
    if known_good:
        return
    missing = list(_missing(plan, reference, only))
    if missing:
        raise _none_for(missing)


def _none_for(missing: Sequence[tuple[str, str]]) -> UsageError:
    named = ", ".join(f"{key} ({why})" if why else key for key, why in missing)
    return UsageError(
        f"no reference value for {named}",
        where="--against",
        hint="run the plan on a known-good unit first, and give its journal with --against",
    )


def _missing(plan: Plan, reference: Mapping[str, Mapping[str, Any]], only: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield each value that is missing, "step/item", and why the one that is there does not serve; empty for none."""
    from metercap.judging.good import read_goods
    from metercap.plan.expected import items_of
    from metercap.plan.rules import needs_reference

    goods = read_goods(reference)
    for step in plan.steps:
        if only and step.id not in only:
            continue
        for item in items_of(step):
            if not needs_reference(step, item):
                continue
            key = f"{step.id}/{item.name}"
            good = goods.get(key)
            if good is None:
                yield key, ""
                continue
            why = good.unlike(item, getattr(step, "unit", "") or step.wanted[0].unit)
            if why:
                yield key, f"not comparable: {why}"
