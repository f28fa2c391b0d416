"""The order of probing: natural, unless the plan's key `order` says the way over the board."""

import pytest

from metercap.errors import PlanError
from metercap.plan import from_builtins, to_builtins
from metercap.plan.load import load_plan
from metercap.plan.write import plan_toml
from metercap.plankeys import CheckStep, SweepStep

HEAD = (
    '[plan]\ntitle = "GC-8"\nsupply = "none"\n[[step]]\nid = "fuses"\nkind = "sweep"\nmax = "2 ohm"\nitems = "F1..F6"\n'
)


def step_of(text: str) -> SweepStep | CheckStep:
    (step,) = load_plan(HEAD + text, "gc8.toml").steps
    assert isinstance(step, SweepStep | CheckStep)
    return step


@pytest.mark.parametrize(
    ("written", "walked"),
    [
        ("", "F1 F2 F3 F4 F5 F6"),
        ('order = ["F6", "F1..F5"]', "F6 F1 F2 F3 F4 F5"),
        ('order = "F4..F6"', "F4 F5 F6 F1 F2 F3"),  # the rest follow in natural order
        ('order = ["F3", "F1"]', "F3 F1 F2 F4 F5 F6"),
    ],
)
def test_named_items_come_first_and_the_rest_follow(written: str, walked: str) -> None:
    assert step_of(written).item_names == tuple(walked.split())


def test_both_polarities_stay_together() -> None:
    text = HEAD.replace('items = "F1..F6"', 'items = [{ name = "D1", both_ways = true }, "D2"]\norder = ["D2", "D1"]')
    assert load_plan(text, "d.toml").steps[0].item_names == ("D2", "D1", "D1 reversed")


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ('order = ["F3", "F9"]', "no item 'F9' in this step"),
        ('order = ["F3", "F3"]', "the item 'F3' is given twice"),
        ("order = 3", "item names are wanted"),
        ("order = []", "item names are wanted"),
        ('order = ["F1", "F4"]\nclusters = [["F1", "F2"]]', "the group of 'F2' is no run of items in the order"),
        ('clusters = [["F1", "F3"]]', "the group of 'F3' is no run of items in natural order"),
    ],
)
def test_an_order_that_cannot_be_walked_is_named(written: str, said: str) -> None:
    with pytest.raises(PlanError) as error:
        load_plan(HEAD + written, "gc8.toml")
    assert said in "\n".join(error.value.problems)


def test_groups_are_runs_of_the_order_that_is_walked() -> None:
    step = step_of('order = ["F1", "F4", "F2", "F3"]\nclusters = [["F1", "F4"], "F2..F3"]')
    assert isinstance(step, SweepStep)
    assert step.clusters == (("F1", "F4"), ("F2", "F3"))


def test_a_journal_carries_it_and_it_is_written_back() -> None:
    plan = load_plan(HEAD + 'order = ["F6", "F1..F5"]', "gc8.toml")
    assert from_builtins(to_builtins(plan)) == plan
    assert load_plan(plan_toml(plan), "again.toml") == plan
