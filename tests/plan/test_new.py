"""New plans: what is written loads, holds what was wanted, and survives hostile names."""

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import PlanError
from metercap.plan.fields import kind_of
from metercap.plan.load import load_plan
from metercap.plan.new import Probed, Switch, Trimmer, Wanted, plan_text, quoted
from metercap.plan.rules import check_plan
from metercap.quantity import Quantity
from tests.effort import examples

FULL = Wanted(
    title="Pump driver",
    model="PD-2",
    points=("supply input", "C7"),
    fuses=("F1", "F2", "F3", "F9"),
    switches=(Switch("S1"), Switch("S2", "nc")),
    cells=("BT1",),
    trimmers=(Trimmer("RV1"), Trimmer("RV2", "2.2 kohm", "1 %")),
    probed=(
        Probed("R5", Quantity.RESISTANCE, 2187.0, 1.0),
        Probed("D3", Quantity.DIODE, 0.612, 0.001),
        Probed("TP4", Quantity.VOLTAGE_DC, 5.02, 0.01),
        Probed("TP5", Quantity.VOLTAGE_AC, None),
    ),
)


def test_a_whole_plan() -> None:
    """Everything wanted is there, in an order that can be run: proof, leads, ohms, cells, power last."""
    plan = load_plan(plan_text(FULL), "new")
    assert [(step.id, kind_of(step)) for step in plan.steps] == [
        ("symptom", "confirm"),
        ("earlier-work", "confirm"),
        ("disconnect", "confirm"),
        ("discharge", "confirm"),
        ("dead", "safe"),
        ("leads", "zero"),
        ("fuses", "sweep"),
        ("switch-1", "exercise"),
        ("switch-2", "exercise"),
        ("resistance", "check"),
        ("diode", "check"),
        ("trimmer-1", "tune"),
        ("trimmer-2", "tune"),
        ("cells", "cell"),
        ("leads-after", "zero"),
        ("power-up", "confirm"),
        ("voltage-dc", "check"),
        ("voltage-ac", "check"),
    ]
    by_id = {step.id: step for step in plan.steps}
    assert (plan.title, plan.model) == ("Pump driver", "PD-2")
    assert by_id["dead"].points == ("supply input", "C7")
    assert by_id["fuses"].item_names == ("F1", "F2", "F3", "F9")
    assert by_id["switch-2"].form == "nc"
    assert (by_id["trimmer-1"].target, by_id["trimmer-2"].target) == ("reference", 2200.0)
    assert by_id["voltage-dc"].power == "on"
    assert by_id["resistance"].quantity is Quantity.RESISTANCE
    assert [p for p in check_plan(plan) if p.severity == "error"] == []


def test_comments_say_what_was_read() -> None:
    """Beside each item stands what the session read."""
    text = plan_text(FULL)
    assert '{ name = "R5" },  # read 2.187 kΩ\n' in text
    assert '{ name = "TP5" },  # no value\n' in text


def test_fuses_by_rating() -> None:
    """With rating and type the limit is left to the table."""
    wanted = Wanted("x", fuses=("F1", "F2", "F3"), fuse_rating="315 mA", fuse_type="glass 5x20")
    step = next(step for step in load_plan(plan_text(wanted), "new").steps if step.id == "fuses")
    assert [item.max for item in step.items] == [6.4, 6.4, 6.4]


def test_loose_parts() -> None:
    """Parts on the mat need no intake and no proof."""
    plan = load_plan(plan_text(Wanted("x", loose=True, fuses=("F1",))), "new")
    assert plan.supply == "none"
    assert [step.id for step in plan.steps] == ["leads", "fuses", "leads-after"]
    assert [p for p in check_plan(plan) if p.severity == "error"] == []


def test_a_plan_with_nothing_wanted() -> None:
    """The least plan takes the unit in and makes it safe."""
    plan = load_plan(plan_text(Wanted("x")), "new")
    assert [kind_of(step) for step in plan.steps] == ["confirm"] * 4 + ["safe"]


def test_a_wrong_wish_is_named() -> None:
    """What cannot be in a plan is named when the text is loaded."""
    with pytest.raises(PlanError) as error:
        load_plan(plan_text(Wanted("x", fuses=("F1",), fuse_max="2 volts")), "the new plan")
    assert "'volts' in '2 volts' is not a unit" in error.value.problems[0]


@settings(max_examples=examples(200), deadline=None, derandomize=True)
@given(st.text(max_size=20))
def test_quoted(text: Any) -> None:
    """Any text comes back from TOML as it was, but for lone surrogates, which no file can hold."""
    kept = text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    assert tomllib.loads(f"x = {quoted(text)}")["x"] == kept
    assert quoted(text).isprintable()


@settings(max_examples=examples(100), deadline=None, derandomize=True)
@given(st.text(max_size=30), st.text(max_size=30))
def test_hostile_titles(title: Any, model: Any) -> None:
    """No title or model breaks out of its quotes."""
    plan = load_plan(plan_text(Wanted(title, model=model)), "new")
    assert len(plan.steps) == 5
