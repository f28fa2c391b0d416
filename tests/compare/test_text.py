"""A comparison in lines: what a person reads, and that every number has its uncertainty."""

from __future__ import annotations

from two_units import good, reads, session

from metercap.compare import Side, compare_files
from metercap.compare.text import report_lines
from metercap.steps import TrialsStep

A = Side("a.jsonl", session=good("A", reads("160.4", "161.0")))
B = Side("b.jsonl", session=session("B", reads("161.4") + ":open " + "OL*4"))


def lines(*sides, **more):
    """Return a comparison's lines."""
    return list(report_lines(compare_files(sides, **more)))


def test_what_a_person_reads():
    """Open first, then the values with their uncertainties, the difference with its own, and what chance would do."""
    found = lines(A, B)
    assert found[0] == "note: the meter of profile test tells no identity: it is taken for one meter"
    assert found[2] == "Unit B (b.jsonl) beside unit A, most suspicious first"
    assert found[3] == "  ! coils K2  fail: open, by the operator's word; there 161.0 Ω"
    cells = [cell.strip() for cell in found[5].split("  ") if cell.strip()]
    there = "160.4 Ω ± 1.84 Ω"
    assert cells == ["!", "coils", "K1", "pass", "161.4 Ω ± 1.85 Ω", there, "1.00 Ω ± 0.57 Ω", "1.006", "+1.75"]
    assert found[6].endswith("chance alone would flag about 0.046")


def test_the_full_uncertainty_is_said():
    """A line whose difference takes both uncertainties says why."""
    later = Side("b.jsonl", session=session("B", reads("161.4", "161.0"), start_utc="2026-03-09T09:00:00Z"))
    assert any(line.endswith("(full U of both: another day)") for line in lines(A, later))


def test_budget_alone():
    """Asked for a budget, its tables are all there is, each ending in u, k and U."""
    found = lines(A, budget="K1")
    assert found[1].startswith("coils/K1 in a.jsonl: 160.40 Ω ± ")
    assert found[2].split() == ["component", "u", "share", "shape", "from"]
    assert found[-1].startswith("  u = ") and found[-1].endswith("k·u")
    assert len(found) == 7


def test_counts_are_said_with_their_proof():
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


def test_nothing_at_all():
    """One plain session alone says what to do."""
    alone = session("B", reads("161.4", "161.0"))
    assert lines(Side("b", alone)) == ["nothing to compare: name another session, or a reference"]
