"""Good values out of sessions, and several sessions together."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from metercap.errors import UsageError
from metercap.plankeys import CheckStep, Item, ZeroStep
from metercap.quantity import Quantity
from metercap.reference.gather import models_differ, same_unit
from metercap.reference.learning import combine
from tests.compare.two_units import coils, good, reads, session

PLAIN = reads("160.4", "161.0")


def part(unit: Any, script: Any = PLAIN, *steps: Any, **more: Any) -> Any:
    """Return a known-good unit's reference."""
    return good(unit, script, *steps, **more).reference()


def test_a_session_gives_its_good_values() -> None:
    """Value, U, resolution, function and own scatter of every settled pass; session, meter and day of the unit."""
    found = part("A", identity="serial 7")
    assert [(item.step, item.item, item.unit) for item in found.items] == [
        ("coils", "K1", "ohm"),
        ("coils", "K2", "ohm"),
    ]
    value = found.items[0].values[0]
    assert (value.name, value.value, value.resolution, value.quantity) == ("A", 160.4, 0.1, Quantity.RESISTANCE)
    assert (value.own_u, value.own_dof, value.null_u) == (0.1, None, None)
    unit = found.units[0]
    assert (unit.name, unit.session, unit.known_good) == ("A", "session of A", True)
    assert (unit.origin.meter, unit.origin.identity, unit.origin.day) == ("test", "serial 7", "2026-03-01")
    assert (found.model, found.title) == ("GC-8", "Climate controller, main board")


def test_leads_that_were_taken_off_are_known() -> None:
    """After a zero step the value carries the null's own scatter; the leads are no value of the unit."""
    found = part("A", "OL*6 0.2*6 OL*6 160.4*4 OL*6 160.4*4 OL*6", ZeroStep(id="leads"), coils("K1"))
    assert [item.item for item in found.items] == ["K1"]
    assert found.items[0].values[0].value == 160.2
    assert found.items[0].values[0].null_u == pytest.approx((0.1**2 + 0.1**2 / 12) ** 0.5, rel=1e-5)


def test_what_gives_no_good_value() -> None:
    """Failed, said open, absent: left out with the reason; with `every` a failed value counts, a word does not."""
    steps = coils("K1", "K2", "K3", max=200.0)
    script = reads("330.0") + ":open OL*4 :absent OL*4"
    found = part("A", script, steps)
    assert found.items == ()
    assert [(left.item, left.why) for left in found.left_out] == [
        ("K1", "fail: above the upper limit"),
        ("K2", "no value: fail, open, by the operator's word"),
        ("K3", "no value: absent, absent, by the operator's word"),
    ]
    every = session("A", script, steps).reference(every=True)
    assert [item.item for item in every.items] == ["K1"]


def test_differing_from_other_good_units_is_no_fault() -> None:
    """A known-good unit held against another is learned from all the same, else their spread comes too small."""
    held = {"coils/K1": {"value": 150.0, "U": 0.1, "unit": "ohm", "unit_name": "A"}}
    apart = good("C", reads("160.4", "160.4"), coils("K1"), reference=held)
    assert str(apart.verdicts["coils", "K1"].verdict) == "unsure"
    assert [item.item for item in apart.reference().items] == ["K1"]
    suspect = session("C", reads("160.4", "160.4"), coils("K1"), reference=held)
    assert suspect.reference().items == ()


def test_unplanned_items_count_too() -> None:
    """An item that was probed beside the plan is a place of the unit."""
    found = part("A", "OL*6 :probe=R9 OL*6 47.0*4 " + PLAIN)
    assert ("unplanned", "R9") in [item.key for item in found.items]


def test_several_units_together() -> None:
    """Every unit keeps its value; items that only some have are kept with those."""
    found = combine([part("A"), part("C", reads("150.0"), coils("K1")), part("D")], program="metercap test")
    assert [unit.name for unit in found.units] == ["A", "C", "D"]
    assert [[value.name for value in item.values] for item in found.items] == [["A", "C", "D"], ["A", "D"]]
    assert found.program == "metercap test"


def test_the_same_unit_twice_is_refused() -> None:
    """A unit counts once, however its name is written."""
    with pytest.raises(UsageError, match="twice"):
        combine([part("A"), part(" a")])


def test_an_unmarked_unit_is_refused_unless_forced() -> None:
    """Nobody called B good: refused by name, and taken only by force, still unmarked."""
    unmarked = session("B", PLAIN).reference()
    with pytest.raises(UsageError, match="not marked known good: B"):
        combine([part("A"), unmarked])
    assert combine([part("A"), unmarked], force=True).unmarked == ("B",)


def test_other_models_are_refused() -> None:
    """Models differ, or plans where none names its model."""
    other = msgspec.structs.replace(part("C"), model="GC-9")
    with pytest.raises(UsageError, match="of one kind"):
        combine([part("A"), other])
    assert models_differ("", "plan one", "", "Plan one ") == ""
    assert models_differ("", "plan one", "", "plan two") == "plan 'plan one' and 'plan two'"
    assert models_differ("GC-8", "x", "", "x") == "model 'GC-8' and 'not named'"


@pytest.mark.parametrize("key", ["connected", "red", "black"])
def test_an_item_measured_differently_is_refused(key: str) -> None:
    """Two ways of measuring one item make no common value."""
    other = CheckStep(id="coils", items=(Item("K1", **{key: "x"}), Item("K2")), contacts=1, unit="ohm")  # type: ignore[arg-type]
    with pytest.raises(UsageError, match=f"coils/K1 was not measured alike in A and C: {key}"):
        combine([part("A"), part("C", PLAIN, other)])


def test_another_unit_of_measure_is_refused() -> None:
    """Volts and ohms of one item do not go together."""
    ohms, volts = part("A"), part("C")
    items = tuple(msgspec.structs.replace(item, unit="V") for item in volts.items)
    with pytest.raises(UsageError, match="unit 'ohm' and 'V'"):
        combine([ohms, msgspec.structs.replace(volts, items=items)])


def test_nothing_to_combine() -> None:
    """No session, no reference."""
    with pytest.raises(UsageError):
        combine([])


def test_names_of_units() -> None:
    """Case and outer spaces do not make another unit."""
    assert same_unit("Unit B", " unit b ")
    assert not same_unit("B", "B2")
