"""Uncertainties taken apart: every component behind the U of an item, and behind the U of a difference."""

from __future__ import annotations

import math
from collections.abc import Iterator

from metercap.compare.model import BudgetTable
from metercap.compare.pairs import Beside, beside_good
from metercap.evidence import Evidence
from metercap.metrology.budget import Budget
from metercap.metrology.domain import round6
from metercap.outcome import Key
from metercap.records import Verdict
from metercap.reference.gather import why_no_value


def named(session: Evidence, wanted: str) -> Iterator[Key]:
    """Return the items that a name means: an item's own, or "step/item"; case does not matter."""
    name = wanted.strip().casefold()
    for step, item in session.verdicts:
        if name in (item.casefold(), f"{step}/{item}".casefold()):
            yield step, item


def table(session: Evidence, file: str, key: Key) -> BudgetTable | str:
    """Return the budget of one item's value, or why there is none."""
    verdict, judged = session.verdicts[key], session.judged.get(key)
    of = f"{key[0]}/{key[1]} in {file}"
    if verdict.value is None:
        return f"{of} has no value: {verdict.verdict}" + (f", {verdict.reason}" if verdict.reason else "")
    if judged is None or judged.budget is None:
        return f"what the uncertainty of {of} rests on is not known: it was taken over, or by another version"
    return _table(of, verdict.value, judged.budget, verdict)


def difference_tables(session: Evidence, file: str, key: Key, beside: Beside) -> Iterator[BudgetTable]:
    """Return the budget of one item's difference from what its session is beside, where both have a value."""
    verdict, good = session.verdicts[key], beside.goods.get(key)
    if good is None or key not in session.places or why_no_value(verdict):
        return
    if good.unlike(session.places[key], verdict.unit):
        return
    found = beside_good(session, key, good)
    of = f"the difference of {key[0]}/{key[1]} in {file} from {beside.name}"
    yield _table(of, found.comparison.difference, found.budget, verdict)


def _table(of: str, value: float, budget: Budget, verdict: Verdict) -> BudgetTable:
    dof = budget.dof
    return BudgetTable(
        of,
        value,
        budget.expanded,
        verdict.unit,
        round6(budget.u),
        budget.coverage_factor,
        round6(dof) if math.isfinite(dof) else None,
        budget.stated is not None,
        budget.reason,
        verdict.resolution,
        budget.rows(),
    )
