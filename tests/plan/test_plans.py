"""The plans that are shipped: they load, can be run with every shipped meter, and carry their cautions."""

import re
from typing import Any

import pytest

from metercap.plan import from_builtins, to_builtins
from metercap.plan.fields import kind_of
from metercap.plan.rules import check_plan
from metercap.planfile import read_plan
from metercap.profiles import find_meter, find_plan, meter_names, plan_names

OURS = ("first-look", "greenhouse-controller", "loose-parts")


def test_they_are_found() -> None:
    """All three are at hand by name."""
    assert set(OURS) <= set(plan_names())


@pytest.mark.parametrize("name", plan_names())
@pytest.mark.parametrize("meter", [None, *meter_names()])
def test_they_can_be_run(name: Any, meter: Any) -> None:
    """No shipped plan has an error with any shipped meter, and only a missing reference is warned of."""
    problems = check_plan(read_plan(find_plan(name)), meter and find_meter(meter))
    assert [str(problem) for problem in problems if problem.severity == "error"] == []
    assert all("known-good unit's value" in problem.what for problem in problems)


@pytest.mark.parametrize("name", plan_names())
def test_they_survive_a_journal(name: Any) -> None:
    """Each is the same after the form that a journal carries."""
    plan = read_plan(find_plan(name))
    assert from_builtins(to_builtins(plan)) == plan


@pytest.mark.parametrize("name", OURS)
def test_cautions(name: Any) -> None:
    """Each plan says the cautions of what it asks for."""
    plan = read_plan(find_plan(name))
    said = " ".join((*plan.cautions, *(caution for step in plan.steps for caution in step.cautions)))
    assert "never the current jack" in said
    assert "ESD strap" in said
    assert "through a resistor" in said
    if plan.supply == "unit":
        assert "Disconnect the supply and every battery or cell" in said
        assert "30 V rms or 60 V dc" in said
        assert "Never probe mains-side circuits" in said
        assert "Local codes and licensed practice come first" in said
    kinds = {kind_of(step): step for step in plan.steps}
    for kind, words in (
        ("cell", "Do not heat, short, reverse or charge a primary lithium cell"),
        ("exercise", "interlock held down by hand or tape"),
    ):
        assert kind not in kinds or words in said


def test_the_whole_repair() -> None:
    """The demo's board has every kind of step but none twice without reason, and the sweep of twelve fuses."""
    from metercap.plan.fields import step_kinds

    plan = read_plan(find_plan("greenhouse-controller"))
    assert {kind_of(step) for step in plan.steps} == set(step_kinds())
    sweep = next(step for step in plan.steps if step.id == "fuses")
    assert sweep.item_names == tuple(f"F{n}" for n in range(1, 13))
    assert sweep.max == 2.0


@pytest.mark.parametrize("name", OURS)
def test_no_part_numbers(name: Any) -> None:
    """No maker's or part number but our own model: no letters and digits run together beyond designators."""
    text = find_plan(name).read_text(encoding="utf-8")
    for word in re.findall(r"\b[A-Z]{2,}[0-9]{2,}\w*\b", text):
        assert re.fullmatch(r"(F|C|K|RV|TP|BT|J|S)[0-9]{1,2}", word), word
