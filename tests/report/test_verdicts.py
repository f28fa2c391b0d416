"""The table of verdicts: every item once, in the plan's order, with value, U, limits, rule and reason."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from metercap.plankeys import Item, SweepStep
from metercap.records import VerdictKind
from metercap.report import study
from metercap.report.document import Table
from metercap.report.verdicts import HEADS, verdicts
from tests.report.papers import dipped, lines, records, studied, swept
from tests.steps.bench_play import Play, check, confirm, fuses


def table(folder: Any, play: Any, **more: Any) -> Any:
    """Return the table of a play."""
    found, gathered = studied(folder, play, **more)
    (block,) = verdicts(found, gathered.fold.plan).blocks  # type: ignore[arg-type]
    return block


def cells(group: Any) -> Any:
    """Return the cells of a group's rows."""
    return [row.cells for row in group.rows]


def test_rows_in_the_plans_order(tmp_path: Path) -> None:
    """The fuse that was skipped and measured last stands second; values carry the display's digits and U."""
    block = table(tmp_path, swept())
    assert block.heads == HEADS
    asked, sweep = block.groups
    assert cells(asked) == [("battery out", "pass", "confirm: Cell out? → confirmed by the operator")]
    assert (sweep.title, sweep.about) == ("fuses", "sweep")
    assert cells(sweep) == [
        ("F1", "pass", "0.2 Ω ± 0.21 Ω", "at most 2 Ω", "guarded", "accuracy unknown"),
        ("F2", "pass", "0.2 Ω ± 0.21 Ω", "at most 2 Ω", "guarded", "accuracy unknown"),
        ("F3", "fail", "330.1 Ω ± 0.21 Ω", "at most 2 Ω", "guarded", "above the upper limit; accuracy unknown"),
    ]
    assert [row.mark for row in sweep.rows] == [VerdictKind.PASS, VerdictKind.PASS, VerdictKind.FAIL]


def test_a_decision_that_was_replaced_stands_below(tmp_path: Path) -> None:
    """The value before `back` is still there, quietly, with its time."""
    play = Play(fuses(2), rate=5.0)("OL*6 0.2*6 OL*9 :back OL*6 0.3*6 OL*9 0.2*6 OL*9")
    (group,) = table(tmp_path, play).groups
    first, before, _ = group.rows
    assert (first.cells[0], first.cells[2], first.quiet) == ("F1", "0.3 Ω ± 0.21 Ω", False)
    assert (before.cells[0][:11], before.cells[2], before.quiet) == ("before it, ", "0.2 Ω ± 0.21 Ω", True)


def test_open_items_stand_in_their_place(tmp_path: Path) -> None:
    """Runs of undecided items are one row; none of them has a mark."""
    play = Play(fuses(40), rate=5.0)("OL*6 0.2*6 OL*9")
    (group,) = table(tmp_path, play, reason="quit").groups
    assert cells(group)[1:] == [("F2..F40", "not done", "")]
    assert (group.rows[1].mark, group.rows[1].quiet) == (None, True)


def test_what_was_accepted_says_so_first(tmp_path: Path) -> None:
    """A fuse that reads high and is left so by the operator: it still fails, and why it may stay is read first."""
    play = Play(fuses(1), rate=5.0)("OL*6 330.1*8 OL*9 330.1*8 OL*9")
    told = msgspec.structs.replace(play.verdicts["F1"], accepted="not fitted in this variant")
    path = tmp_path / "b.jsonl"
    path.write_bytes(lines([*records(play), told]))
    found, gathered = study(path, program="metercap test")
    assert gathered.fold.plan is not None
    (block,) = verdicts(found, gathered.fold.plan).blocks
    assert isinstance(block, Table)
    row = block.groups[0].rows[0]
    assert row.mark is VerdictKind.FAIL
    assert row.cells[-1].startswith("accepted as it is: not fitted in this variant; ")


def test_where_an_item_is_stands_with_its_name(tmp_path: Path) -> None:
    """Place, and where red and black go: a name alone is no place on a board."""
    items = (Item("F1", where="rear left"), Item("TP1", red="TP1", black="TP0"))
    step = SweepStep(id="s", items=items, max=2.0, unit="ohm", count_check=False)
    (group,) = table(tmp_path, Play(step, rate=5.0)("OL*6 0.2*6 OL*9 0.2*6 OL*9")).groups
    assert [row.cells[0] for row in group.rows] == ["F1, rear left", "TP1, red on TP1, black on TP0"]


def test_unplanned_items_come_last(tmp_path: Path) -> None:
    """What `probe NAME` added is no step of the plan, and says so."""
    play = Play(check("R1"), rate=5.0)("OL*6 :probe=R99 OL*6 100.1*6 OL*9 100.1*6 OL*9")
    groups = table(tmp_path, play, reason="quit").groups
    assert [(group.title, group.about) for group in groups] == [("check", "check"), ("unplanned", "not in the plan")]


def test_a_decisive_pass_says_that_it_did_not_settle(tmp_path: Path) -> None:
    """Two readings under the limit that differ decide, but are no recorded value."""
    play = Play(fuses(1), rate=5.0)("OL*6 9.0 0.2 1.5 0.2 1.5 OL*9")
    (group,) = table(tmp_path, play).groups
    assert group.rows[0].cells[5].endswith("decisive before the value settled")


def test_a_trimmer_and_a_lone_question(tmp_path: Path) -> None:
    """A step whose item has a name of its own has a line above it; one without items is its own line."""
    (group,) = table(tmp_path, dipped()).groups
    assert (group.title, group.rows[0].cells[0]) == ("bridge", "RV1")
    (group,) = table(tmp_path, Play(confirm())(":fail")).groups
    assert (group.title, cells(group)) == ("", [("battery out", "fail", "confirm → denied by the operator")])
