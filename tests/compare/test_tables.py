"""Uncertainties taken apart: every component adds up to the recorded U."""

from __future__ import annotations

import math

import pytest

from metercap.compare import Side, compare_files
from metercap.errors import UsageError
from tests.compare.two_units import coils, good, reads, session

A = Side("a", session=good("A", reads("160.4", "161.0")))
B = Side("b", session=session("B", reads("160.9", "161.0")))


def test_components_are_those_behind_the_verdict() -> None:
    """u of 160.9 Ω by hand: ±(0.8 % + 3 counts)/√3, one count/√12, one count, contacts alike (JCGM 100, 4.3.7)."""
    report = compare_files([B], budget="k1")
    (table,) = report.budgets
    shares = [(0.008 * 160.9 + 0.3) / math.sqrt(3.0), 0.1 / math.sqrt(12.0), 0.1, 0.0]
    assert [row.name for row in table.rows] == ["accuracy", "resolution", "repeatability", "separate contacts"]
    assert [row.u for row in table.rows] == pytest.approx(shares, rel=1e-5)
    assert math.fsum(row.share for row in table.rows) == pytest.approx(100.0)
    assert table.expanded == B.session.verdicts["coils", "K1"].expanded
    assert table.expanded == pytest.approx(table.k * table.u, rel=1e-5)
    assert not table.stated


def test_of_the_difference_too() -> None:
    """With a good unit the difference's own budget is shown as well: its U² is the sum of its squares times k²."""
    report = compare_files([A, B], budget="coils/K1")
    assert [table.of for table in report.budgets] == [
        "coils/K1 in a",
        "coils/K1 in b",
        "the difference of coils/K1 in b from unit A",
    ]
    last = report.budgets[-1]
    assert last.expanded == next(line.difference_expanded for line in report.pairs[0].lines if line.item == "K1")
    assert last.expanded == pytest.approx(last.k * math.sqrt(math.fsum(row.u**2 for row in last.rows)), rel=1e-5)


def test_no_value_says_why() -> None:
    """An item decided by a word has no uncertainty, and the report says so."""
    opened = Side("b", session=session("B", "OL*6 :open " + reads("161.0")))
    report = compare_files([opened], budget="K1")
    assert report.budgets == ()
    assert report.warnings == ("coils/K1 in b has no value: fail, open, by the operator's word",)


def test_unknown_item_names_the_known_ones() -> None:
    """A name that no session has is refused with those that there are."""
    with pytest.raises(UsageError) as error:
        compare_files([A, B], budget="K7")
    assert "K1, K2" in error.value.hint


def test_what_was_taken_over_is_not_known() -> None:
    """A verdict that came from an earlier session carries no readings, so what its U rests on is not known."""
    verdict = {
        "kind": "verdict", "t_s": 0.0, "step": "coils", "item": "K1", "verdict": "pass", "value": 160.4, "unit": "ohm",
        "U": 1.8, "resolution": 0.1, "settled": True,
    }  # fmt: skip
    inherited = {"how": "continue", "session": "s0", "verdicts": [verdict]}
    taken = Side("b", session=session("B", reads("161.0"), coils(), inherited=inherited))
    report = compare_files([A, taken], budget="K1")
    assert any("not known" in warning for warning in report.warnings)
    line = next(line for line in report.pairs[0].lines if line.item == "K1")
    assert line.how == "full U of both: scatter not known"
