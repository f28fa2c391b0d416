"""What a step costs and may find: `minutes`, `teardown`, `opens`, `finds`, and what `plan check` says of them.

Expectations follow from the design by hand.
"""

from __future__ import annotations

import pytest

from metercap.errors import PlanError
from metercap.plan import Plan
from metercap.plan.load import load_plan
from metercap.plan.opening import opened_by
from metercap.plan.rules import check_plan
from metercap.plan.write import plan_toml
from metercap.profiles import find_plan

HEAD = '[plan]\ntitle = "GC-8"\nsupply = "none"\nsymptoms = ["no light", "hums"]\n'


def step(name: str, lines: str = "") -> str:
    return f'[[step]]\nid = "{name}"\nkind = "confirm"\nsay = "done?"\n{lines}\n'


def plan(*steps: str) -> Plan:
    return load_plan(HEAD + "".join(steps), "x.toml")


def said(*steps: str, severity: str = "error") -> list[str]:
    return [str(each) for each in check_plan(plan(*steps)) if each.severity == severity]


def test_they_are_read() -> None:
    """Minutes as a number, a share as a number or in percent, ids as a list or alone, a level."""
    steps = plan(
        step("lid", "minutes = 1.5\nopens = 1"),
        step("lamp", 'minutes = 2\nteardown = 1\nfinds = { "no light" = 0.25, hums = "5 %" }'),
        step("coil", 'teardown = "lid"'),
    ).steps
    assert (steps[0].minutes, steps[0].opens, steps[0].teardown, steps[0].finds) == (1.5, 1, (), {})
    assert (steps[1].teardown, steps[1].finds) == (1, {"no light": 0.25, "hums": 0.05})
    assert (steps[2].teardown, steps[2].minutes) == (("lid",), None)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("minutes = 0", "no time in minutes"),
        ("minutes = -1", "no time in minutes"),
        ('minutes = "2 min"', "no time in minutes"),
        ("minutes = 1e9", "no time in minutes"),
        ("teardown = 0", "not a level"),
        ("teardown = 10", "not a level"),
        ("teardown = []", "ids of steps or a level"),
        ("teardown = [1]", "ids of steps or a level"),
        ("teardown = true", "ids of steps or a level"),
        ("finds = 0.3", "a table of symptoms"),
        ('finds = { "no light" = 1.2 }', "not between 0 and 1"),
        ('finds = { "no light" = 0 }', "not between 0 and 1"),
        ('finds = { "no light" = "much" }', "no light"),
        ("opens = 0", "opens"),
    ],
)
def test_what_is_refused_at_once(line: str, why: str) -> None:
    """Each wrong value is an error of its own key."""
    with pytest.raises(PlanError) as error:
        plan(step("lamp", line))
    assert why in str(error.value) + "".join(error.value.problems)


def test_an_unknown_symptom_is_named_with_the_nearest() -> None:
    """A misspelt symptom would never be looked up."""
    (problem,) = said(step("lamp", 'minutes = 1\nfinds = { "no ligth" = 0.2 }'))
    assert 'step 1 "lamp" finds' in problem and 'did you mean "no light"' in problem


def test_chances_over_one() -> None:
    """One fault is in one place: 60 % and 50 % make 110 % in all; 60 % and 40 % are all there is."""
    lamp = step("lamp", 'minutes = 1\nfinds = { "no light" = 0.6, hums = 0.9 }')
    (problem,) = said(lamp, step("coil", 'minutes = 1\nfinds = { "no light" = 0.5 }'))
    assert 'step 2 "coil" finds' in problem and "110 %" in problem and "no light" in problem
    assert said(lamp, step("coil", 'minutes = 1\nfinds = { "no light" = 0.4 }')) == []


def test_a_cost_that_nobody_wrote_is_warned_of() -> None:
    """Without minutes chance over cost rests on a guess, which is said."""
    (problem,) = said(step("lamp", "finds = { hums = 0.2 }"), severity="warning")
    assert "5 minutes" in problem


def test_what_nothing_opens() -> None:
    """An id that no step has, and levels that no step opens, also beneath one that is."""
    (problem,) = said(step("lid-off"), step("lamp", 'teardown = ["lid-of"]'))
    assert 'did you mean "lid-off"' in problem
    assert [
        "no step opens level 1" in each for each in said(step("lamp", "teardown = 2"), step("lid", "opens = 2"))
    ] == [
        True,
        True,
    ]
    (problem,) = said(step("lid", "opens = 1"), step("lamp", "teardown = 2"))
    assert "no step opens level 2" in problem
    assert said(step("lid", "opens = 1"), step("board", "opens = 2"), step("lamp", "teardown = 2")) == []


@pytest.mark.parametrize(
    "steps",
    [
        [step("lid", 'teardown = ["lid"]')],
        [step("lid", 'teardown = ["board"]'), step("board", 'teardown = ["lid"]')],
        [step("lid", 'opens = 1\nteardown = ["board"]'), step("board", "opens = 2")],
        [step("x"), step("a", 'teardown = ["c"]'), step("b", 'teardown = ["a"]'), step("c", 'teardown = ["x", "b"]')],
    ],
)
def test_a_circle(steps: list[str]) -> None:
    """Steps that need each other can never begin."""
    (problem,) = said(*steps)
    assert "nothing can come first" in problem


def test_what_is_opened_by_what() -> None:
    """A level needs every step that opens it or one beneath; the step that opens level 2 needs level 1."""
    whole = plan(
        step("screws", "opens = 1"),
        step("lid", "opens = 1"),
        step("board", "opens = 2"),
        step("lamp", "teardown = 1"),
        step("coil", "teardown = 2"),
        step("cell", 'teardown = ["lid"]'),
    )
    found = {each.id: opened_by(whole.steps, each) for each in whole.steps}
    assert found == {
        "screws": (),
        "lid": (),
        "board": ("screws", "lid"),
        "lamp": ("screws", "lid"),
        "coil": ("screws", "lid", "board"),
        "cell": ("lid",),
    }


def test_they_come_back_from_a_file_written_anew() -> None:
    """Written as TOML and read again: equal, names with quotes included."""
    whole = plan(
        step("lid", "minutes = 1.5\nopens = 1"),
        step("lamp", 'minutes = 2\nteardown = 1\nfinds = { "no light" = 0.25 }'),
        step("coil", 'teardown = ["lid", "lamp"]\nfinds = { hums = 0.05 }'),
    )
    assert load_plan(plan_toml(whole), "again") == whole
    odd = load_plan(HEAD.replace('"hums"', '"says \\"no\\""') + step("a", 'finds = { "says \\"no\\"" = 0.5 }'), "x")
    assert load_plan(plan_toml(odd), "again") == odd


def test_the_plan_that_comes_with_the_program_has_them() -> None:
    """Each step of the GC-8 plan says its minutes; every symptom is found somewhere."""
    whole = load_plan(find_plan("greenhouse-controller").read_text(encoding="utf-8"), "gc8")
    assert all(each.minutes for each in whole.steps)
    assert all(any(symptom in each.finds for each in whole.steps) for symptom in whole.symptoms) and whole.symptoms
    assert any(each.teardown for each in whole.steps)
