"""What a reference gives a session to be held against."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from metercap.judging.good import Good, GoodValue, Origin, read_goods
from metercap.metrology.compare import ENOUGH
from metercap.reference.model import GoodItem, GoodUnit, Reference, goods, rows

HERE = Origin("lcd14", "", "2026-03-01")


def reference(*values: float, unit: str = "ohm", expanded: float = 0.5, good: bool = True) -> Reference:
    """Return a reference of one item with one unit for each value."""
    units = tuple(GoodUnit(f"G{n}", f"s{n}", "2026-03-01T09:00:00Z", HERE, good) for n in range(len(values)))
    known = tuple(GoodValue(value, expanded + n, 0.1, None, 0.1, name=f"G{n}") for n, value in enumerate(values))
    items = (GoodItem("coils", "K1", unit, known, connected="plugs off", red="pin 1"),)
    return Reference(program="test", model="GC-8", title="board", units=units, items=items)


def test_one_unit_is_its_own_value() -> None:
    """One good unit's row has its value as displayed, and all that a comparison needs."""
    row = goods(reference(160.4))["coils", "K1"]
    assert (row.value, row.expanded, row.n, row.unit_name, row.session) == (160.4, 0.5, 1, "G0", "s0")
    assert (row.connected, row.red, row.resolution) == ("plugs off", "pin 1", 0.1)
    assert row.units[0].origin == HERE


def test_several_units_have_a_middle_and_the_widest_u() -> None:
    """Two to seven: the mean; from eight on the median (scipy); U is the largest of one of them."""
    few, many = (150.0, 160.0, 171.0), (150.0, 151.0, 152.0, 153.0, 154.0, 155.0, 156.0, 400.0)
    row = goods(reference(*few))["coils", "K1"]
    assert row.value == pytest.approx(sum(few) / 3, rel=1e-5)
    assert (row.expanded, row.n, row.unit_name, row.session) == (2.5, 3, "G0, G1, G2", "")
    assert goods(reference(*many))["coils", "K1"].value == stats.scoreatpercentile(many, 50)


def test_an_unmarked_unit_makes_the_row_unmarked() -> None:
    """A row is known good only if all its units are."""
    assert goods(reference(1.0))["coils", "K1"].known_good
    assert not goods(reference(1.0, good=False))["coils", "K1"].known_good


@pytest.mark.parametrize(("ohm", "limit"), [(0.13, 0.5), (0.2, 0.5), (41.5, 83.0)])
def test_limit_of_a_fuse_without_a_table(ohm: float, limit: float) -> None:
    """Twice the good unit's value, at least 0.5 Ω (the rule of the fuse tables); only ohms have one."""
    assert goods(reference(ohm))["coils", "K1"].fuse_max == limit
    assert goods(reference(ohm, unit="V"))["coils", "K1"].fuse_max is None


@given(st.lists(st.floats(0.1, 1e6), min_size=1, max_size=12))
def test_rows_go_through_a_first_record(values: list[float]) -> None:
    """What a journal's first record carries reads back as the same rows, and many units stay small in it."""
    made = reference(*values)
    text = msgspec.json.encode(rows(made))
    back: dict[str, Good] = read_goods(msgspec.json.decode(text))
    assert back == {"coils/K1": goods(made)["coils", "K1"]}
    if len(values) >= ENOUGH:
        assert len(text) < 400 + 60 * len(values)
