"""What a comparison found, in a form for people and for JSON. Numbers in SI, 6 digits."""

from __future__ import annotations

from typing import Literal

import msgspec

from metercap.metrology.budget import Row

How = Literal["good units", "before and after", "first file"]


class Line(msgspec.Struct, frozen=True):
    """An item with a value on both sides.

    `value` ± `expanded` here, `reference` ± `reference_expanded` there (of `n` units, their middle and largest U);
    `low` and `high` bound what they let expect. `e_n`: E_n of one unit, else the difference in half-widths of that
    interval. `differs`: |e_n| ≥ 1. `flagged`: a limit of the plan failed it, or it differs from what several good units
    (or the unit's own earlier session) let expect; one good unit does not show how far good units lie apart, so a
    difference from it only ranks. `how`: why the difference takes the full U of both, empty where one meter's gain
    error cancels.
    """

    step: str
    item: str
    unit: str
    verdict: str
    value: float
    expanded: float
    resolution: float | None
    reference: float
    reference_expanded: float
    n: int
    low: float
    high: float
    difference: float
    difference_expanded: float
    ratio: float | None
    e_n: float
    differs: bool
    how: str = ""
    flagged: bool = False


class Odd(msgspec.Struct, frozen=True):
    """An item that has a value there and none here: open, absent, skipped; there is no number to rank it by."""

    step: str
    item: str
    here: str
    there: str


class Apart(msgspec.Struct, frozen=True):
    """An item that is not compared, and why."""

    step: str
    item: str
    why: str


class Pair(msgspec.Struct, frozen=True):
    """One session beside what it is compared with: `lines` by falling |e_n|, what has no number before them.

    `chance`: how many of the lines whose spread is known chance alone would flag; None where there are none such.
    """

    how: How
    unit: str
    file: str
    beside: str
    odd: tuple[Odd, ...]
    lines: tuple[Line, ...]
    apart: tuple[Apart, ...]
    chance: float | None

    @property
    def differing(self) -> int:
        """How many items differ."""
        return len(self.odd) + sum(line.differs for line in self.lines)


class Adjusted(msgspec.Struct, frozen=True):
    """A trimmer, as found and as left; `target` ± `tolerance` is what it was turned to, None where it was not."""

    unit_name: str
    file: str
    step: str
    item: str
    unit: str
    verdict: str
    as_found: float | None
    as_left: float | None
    resolution: float | None
    target: float | None
    tolerance: float | None
    excursions: int


class Counted(msgspec.Struct, frozen=True):
    """k of n, before a fix or cleaning and after it.

    `p`: Fisher's one-sided chance of so many more passes after it if nothing had changed; `changed`: p is at most
    1 − confidence. None where there is no run before, whose k and runs are None then.
    """

    unit_name: str
    step: str
    item: str
    before_k: int | None
    before_runs: int | None
    k: int
    runs: int
    low: float
    high: float
    confidence: float
    p: float | None
    changed: bool | None


class BudgetTable(msgspec.Struct, frozen=True):
    """Every component of one uncertainty; `of` says of what.

    `expanded` is k·u but where it is `stated`; `reason` says why then, and what else holds. `resolution` is that of the
    value, for showing it.
    """

    of: str
    value: float
    expanded: float
    unit: str
    u: float
    k: float
    dof: float | None
    stated: bool
    reason: str
    resolution: float | None
    rows: tuple[Row, ...]


class SideBySide(msgspec.Struct, frozen=True):
    """Everything that files set side by side say; `warnings` first."""

    warnings: tuple[str, ...] = ()
    pairs: tuple[Pair, ...] = ()
    adjusted: tuple[Adjusted, ...] = ()
    counted: tuple[Counted, ...] = ()
    budgets: tuple[BudgetTable, ...] = ()

    @property
    def differing(self) -> int:
        """How many items differ from good units, or from the first file."""
        return sum(pair.differing for pair in self.pairs if pair.how != "before and after")
