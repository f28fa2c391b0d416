"""A comparison in lines: what a person reads, and that every number has its uncertainty."""

from __future__ import annotations

from typing import Any

import pytest

from metercap.compare import Side, compare_files
from metercap.compare.model import Line, Pair
from metercap.compare.text import remarks, report_lines
from metercap.plankeys import TrialsStep
from tests.compare.two_units import coils, good, reads, session

A = Side("a.jsonl", session=good("A", reads("160.4", "161.0")))
B = Side("b.jsonl", session=session("B", reads("161.4") + ":open " + "OL*4"))


def lines(*sides: Any, **more: Any) -> Any:
    """Return a comparison's lines."""
    return list(report_lines(compare_files(sides, **more)))


def test_what_a_person_reads() -> None:
    """Open first, then the values with their uncertainties, the difference with its own, and what chance would do."""
    found = lines(A, B)
    assert found[0] == "note: the meter of profile test tells no identity: it is taken for one meter"
    assert found[2] == "Unit B (b.jsonl) beside unit A, most suspicious first"
    assert found[3] == "  ! coils K2  fail: open, by the operator's word; there 161.0 Ω"
    cells = [cell.strip() for cell in found[5].split("  ") if cell.strip()]
    there = "160.4 Ω ± 1.84 Ω"
    assert cells == ["coils", "K1", "pass", "161.4 Ω ± 1.85 Ω", there, "1.00 Ω ± 0.57 Ω", "1.006", "+1.75"]
    assert found[6].startswith(
        "  1 of 1 differ from one unit by more than their uncertainty; how far good units lie apart"
    )
    assert "gain error" in found[7]
    assert not any("chance alone" in line for line in found)


def test_several_good_units_are_held_against_chance() -> None:
    """Two of them show how far good units lie apart: a difference is flagged and counted beside chance."""
    other = Side("c.jsonl", session=good("C", reads("160.6", "161.2")))
    found = lines(A, other, Side("d.jsonl", session=session("D", reads("190.0", "161.1"))))
    assert any(line.startswith("  !  coils  K1") for line in found)
    said = next(line for line in found if "chance alone" in line)
    assert said.startswith("  1 of 2 differ by more than their uncertainty") and said.endswith("would flag about 0.091")


def test_one_good_unit_flags_only_what_a_limit_failed() -> None:
    """63.2 Ω beside 160.4 Ω ranks first; above the plan's 100 Ω it is flagged, for the plan's sake."""
    tight = coils(max=150.0)
    found = lines(A, Side("b.jsonl", session=session("B", reads("63.2", "161.0", "161.0"), tight)))
    assert [line.split()[:3] for line in found if "coils" in line][:2] == [
        ["coils", "K1", "pass"],
        ["!", "coils", "K2"],
    ]


@pytest.mark.parametrize(("expanded", "told"), [(12.1, True), (1.5, False)])
def test_a_difference_much_wider_than_its_values_says_why(expanded: float, told: bool) -> None:
    """± 1.0 for each value and ± 12.1 for their difference; √2 of the values' own is what a reader expects."""
    line = Line(
        "coils", "K1", "ohm", "pass", 1152.0, 1.0, 1.0, 1150.0, 1.0, 1, *(0.0, 0.0), 2.0, expanded, 1.0, 0.2, False
    )
    pair = Pair("good units", "B", "b.jsonl", "unit A", (), (line,), (), None)
    assert any("much wider ± than its values" in one for one in remarks(pair)) is told


def test_the_earliest_of_a_good_units_sessions_does_not_win() -> None:
    """A good unit measured again, with another value, stands with the later one."""
    again = Side("a2.jsonl", session=good("A", reads("170.4", "161.0"), start_utc="2026-03-01T11:00:00Z", id="again"))
    for files in ((A, again), (again, A)):
        pairs = compare_files([*files, B]).pairs
        assert next(pair for pair in pairs if pair.how == "good units").lines[0].reference == 170.4


def test_the_full_uncertainty_is_said() -> None:
    """A line whose difference takes both uncertainties says why."""
    later = Side("b.jsonl", session=session("B", reads("161.4", "161.0"), start_utc="2026-03-09T09:00:00Z"))
    assert any(line.endswith("(full U of both: another day)") for line in lines(A, later))


def test_budget_alone() -> None:
    """Asked for a budget, its tables are all there is, each ending in u, k and U."""
    found = lines(A, budget="K1")
    assert found[1].startswith("coils/K1 in a.jsonl: 160.40 Ω ± ")
    assert found[2].split() == ["component", "u", "share", "shape", "from"]
    assert found[-1].startswith("  u = ") and found[-1].endswith("k·u")
    assert len(found) == 8


def test_counts_are_said_with_their_proof() -> None:
    """A proven change is called changed, an unproven one no proof; a single run has nothing to compare with."""
    step = TrialsStep(id="starts", runs=20)
    failed = ":pass " * 12 + ":fail " * 8
    fixed = session("B", failed + ":fixed=new_relay " + ":pass " * 29, step)
    assert any(
        "before 12 of 20, after 29 of 29" in line and "changed (p = " in line for line in lines(Side("b", fixed))
    )
    few = session("B", failed + ":fixed=new_relay " + ":pass " * 3 + ":skip", step)
    assert any("no proof of a change (p = " in line for line in lines(Side("b", few)))
    alone = session("B", failed + ":no", step)
    assert any(line.endswith("nothing before it to compare with") for line in lines(Side("b", alone)))


def test_nothing_at_all() -> None:
    """One plain session alone says what to do."""
    alone = session("B", reads("161.4", "161.0"))
    assert lines(Side("b", alone)) == ["nothing to compare: name another session, or a reference"]
