"""Plan files: what is stored for what is written, and every mistake with its place."""

import sys
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import PlanError
from metercap.plan import Plan, from_builtins, to_builtins
from metercap.plan.fields import hidden_keys, keys_of, step_kinds
from metercap.plan.load import LARGEST, MOST_ITEMS, examine, load_plan
from metercap.plan.values import READERS
from metercap.plankeys import CheckStep, ConfirmStep, Item, SafeStep, SweepStep, ZeroStep
from metercap.quantity import Quantity
from metercap.session.machine import INTERLUDE
from metercap.steps.tokens import STEP_ID
from tests.effort import examples

HEAD = '[plan]\ntitle = "GC-8"\n'
SWEEP = HEAD + '[[step]]\nid = "fuses"\nkind = "sweep"\n'


def problems_of(text: str) -> list[str]:
    with pytest.raises(PlanError) as error:
        load_plan(text, "gc8.toml")
    assert error.value.where == "gc8.toml"
    return list(error.value.problems)


def only_problem(text: str) -> str:
    problems = problems_of(text)
    assert len(problems) == 1, problems
    return problems[0]


def only_step(text: str) -> Any:
    (step,) = load_plan(text, "gc8.toml").steps
    return step


def test_a_plan_of_every_first_kind() -> None:
    """Each key arrives in SI, under the struct's names, with the unit filled in."""
    text = """
[plan]
title = "Climate controller, main board"
model = "GC-8"
cautions = ["Disconnect every cell."]
rule = "simple"
tokens = { open = "143 ohm", "skip step" = "2k49" }

[[step]]
id = "rest"
kind = "confirm"
say = "discharged?"
wait_s = "2 min"
power = "on"

[[step]]
id = "dead"
kind = "safe"
source = "a lamp's cell"
points = ["supply input", "C12"]

[[step]]
id = "leads"
kind = "zero"
warn = "R3"
max = "800 mohm"

[[step]]
id = "rail"
kind = "check"
items = [{ name = "TP1", red = "TP1", black = "GND", both_ways = true, min = "4.75 V" }]
max = "5V25"
quantity = "voltage_dc"
contacts = 3
rule = "guarded"

[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F2, F10"
max = "2 ohm"
patience_s = 20
count_check = false
"""
    assert load_plan(text, "gc8.toml") == Plan(
        title="Climate controller, main board",
        model="GC-8",
        cautions=("Disconnect every cell.",),
        rule="simple",
        tokens={"open": 143.0, "skip step": 2490.0},
        steps=(
            ConfirmStep(id="rest", say="discharged?", wait_s=120.0, power="on"),
            SafeStep(id="dead", source="a lamp's cell", points=("supply input", "C12")),
            ZeroStep(id="leads", warn=0.3, max=0.8),
            CheckStep(
                id="rail",
                items=(Item("TP1", red="TP1", black="GND", both_ways=True, min=4.75),),
                max=5.25,
                unit="V",
                quantity=Quantity.VOLTAGE_DC,
                contacts=3,
                rule="guarded",
            ),
            SweepStep(
                id="fuses",
                items=(Item("F1"), Item("F2"), Item("F10")),
                max=2.0,
                unit="ohm",
                patience_s=20.0,
                count_check=False,
            ),
        ),
    )


def test_what_is_loaded_survives_a_journal() -> None:
    """A loaded plan is the same after the form that a journal's first record carries."""
    plan = load_plan(SWEEP + 'items = "F1..F3"\nmax = "2 ohm"\n', "gc8.toml")
    assert from_builtins(to_builtins(plan)) == plan


@pytest.mark.parametrize(
    ("items", "names"),
    [
        ('"F1..F3"', ["F1", "F2", "F3"]),
        ('["F1", "F2"]', ["F1", "F2"]),
        ('["F1..F2", "RV1", { name = "F9" }]', ["F1", "F2", "RV1", "F9"]),
        ('[{ name = "F01..F03", where = "rear" }]', ["F01", "F02", "F03"]),
        ('["C3, left end"]', ["C3, left end"]),
    ],
)
def test_items(items: str, names: Any) -> None:
    """Items are a range, a list of names, of tables, or of both; a comma inside a list's name is part of it."""
    step = only_step(SWEEP + f'items = {items}\nmax = "2 ohm"\n')
    assert [item.name for item in step.items] == names


def test_items_of_a_table_share_its_keys() -> None:
    """A range in a table gives every item the table's other keys."""
    step = only_step(SWEEP + 'items = [{ name = "F1..F2", where = "rear", max = "1 ohm" }]\n')
    assert step.items == (Item("F1", where="rear", max=1.0), Item("F2", where="rear", max=1.0))
    assert step.unit == "ohm"


def test_items_as_an_array_of_tables() -> None:
    """[[step.items]] is the same as a list of inline tables, and its mistakes have the lines of their own keys."""
    assert only_step(SWEEP + '[[step.items]]\nname = "F1"\nmax = "2 ohm"\n').items == (Item("F1", max=2.0),)
    text = SWEEP + '[[step.items]]\nname = "F1"\n[[step.items]]\nname = "F2"\nmaxi = "2 ohm"\n'
    assert only_problem(text) == 'gc8.toml:10: step 1 "fuses" items[2].maxi: no such key; did you mean "max"?'


@pytest.mark.parametrize(
    ("limits", "unit", "low", "high"),
    [
        ('max = "2 ohm"', "ohm", None, 2.0),
        ('min = "4k7"\nmax = "5.1 kohm"', "ohm", 4700.0, 5100.0),
        ('min = "-5.1 V"\nmax = "-4.9 V"', "V", -5.1, -4.9),
        ('min = "90 uF"', "F", 90e-6, None),
        ('max = "20 mA"', "A", None, 0.02),
        ('min = "32.7 kHz"', "Hz", 32700.0, None),
        ('max = "50 %"', "%", None, 50.0),
        ('max = "85 degC"', "degC", None, 85.0),
    ],
)
def test_limits_fill_the_unit(limits: str, unit: str, low: float | None, high: float | None) -> None:
    """A step's unit follows from its limits, whatever they measure."""
    step = only_step(SWEEP + f'items = "F1"\n{limits}\n')
    assert (step.unit, step.min, step.max) == (unit, low, high)


@pytest.mark.parametrize(
    ("quantity", "unit"),
    [("voltage_ac", "V"), ("continuity", "ohm"), ("diode", "V"), ("temperature", "degC")],
)
def test_a_quantity_without_limits_fills_the_unit(quantity: str, unit: str) -> None:
    """A named quantity gives the unit where no limit does."""
    step = only_step(SWEEP + f'items = "F1"\nquantity = "{quantity}"\n')
    assert (step.unit, step.wanted) == (unit, (Quantity(quantity),))


@pytest.mark.parametrize(
    ("lines", "at", "says"),
    [
        ('items = "F1"\nmax = "2 ohm"\nmin = "1 V"', 8, 'step 1 "fuses" min: in V, but max is in ohm'),
        ('items = [{ name = "F1", max = "3 V" }]\nmax = "2 ohm"', 7, 'step 1 "fuses" max: in ohm, but items[1].max is'),
        ('items = "F1"\nmax = "2 ohm"\nquantity = "voltage_dc"', 7, "max: in ohm, but quantity voltage_dc"),
        ('items = "F1"\nmax = "2 s"', 7, "'2 s' is in s, which no step measures"),
        ('items = "F1"\nmax = "2"', 7, "'2' has no unit; write it as \"2 ohm\""),
        ('items = "F1"\nmax = 2', 7, 'the number 2 has no unit; write it as "2 ohm"'),
        ('items = "F1"\nmax = "2 omh"', 7, "'omh' in '2 omh' is not a unit; did you mean ohm?"),
        ('items = "F1"\nmax = "-1 ohm"', 7, "'-1 ohm' is negative"),
        ('items = "F1"\nmax = true', 7, "a value is wanted, not true"),
        ('items = "F1"\nmin = "3 ohm"\nmax = "2 ohm"', 7, "min: above max; are they the wrong way round?"),
        ('items = [{ name = "F1", min = "3 V", max = "2 V" }]', 6, "items[1].min: above max"),
        ('items = "F1"\npatience_s = -1', 7, "the number -1 is not a time from 0 s up"),
        ('items = "F1"\npatience_s = nan', 7, "the number nan is not a time"),
        ('items = "F1"\npatience_s = "3 V"', 7, "'3 V' is in V, but s is expected"),
        ('items = "F1"\npatience_s = 0x' + "f" * 400, 7, "so large a number is not a time"),
        ('items = "F1"\ncontacts = 0', 7, "the number 0 is not a count from 1 to 100000"),
        ('items = "F1"\ncontacts = 1.5', 7, "a whole number is wanted, not the number 1.5"),
        ('items = "F1"\ncontacts = true', 7, "a whole number is wanted, not true"),
        ('items = "F1"\ncontacts = 0x' + "f" * 400, 7, "so large a number is not a count"),
        ('items = "F1"\ncount_check = "yes"', 7, "true or false is wanted, not the text 'yes'"),
        ('items = "F1"\nquantity = "resistence"', 7, "'resistence' is none of \"resistance\""),
        ('items = "F1"\npower = "of"', 7, "'of' is none of \"off\", \"on\"; did you mean \"off\"?"),
        ('items = "F1"\nsay = 3', 7, "text in quotes, such as \"F1\" is wanted, not the number 3"),
        ('items = "F1"\ncautions = "hot"', 7, "a list of texts is wanted, and this is the text 'hot'"),
        ('items = "F1"\ncautions = ["hot", 3]', 7, "a list of texts is wanted, and this is the number 3"),
        ('items = "F1"\nsay = 2026-01-01', 7, "is wanted, not a date or time"),
        ('items = "F1"\nunit = "ohm"', 7, "unit: not written in a plan; it follows from the limits"),
        ('items = "F1"\nitem = "F2"', 7, 'item: no such key; did you mean "items"?'),
        ('items = "F1"\nzzzz = "F2"', 7, "zzzz: no such key; the keys here are"),
        ("max = \"2 ohm\"", 3, 'step 1 "fuses" items: missing'),
        ("items = []", 6, "items: no items; write"),
        ("items = 3", 6, "items: items are wanted"),
        ("items = [3]", 6, "items[1]: an item is a name or a table"),
        ('items = [{ where = "rear" }]', 6, "items[1].name: missing"),
        ('items = ["F1", ""]', 6, "items[2]: '' cannot be the name of an item"),
        ('items = ["F1\\u001b[2J"]', 6, "items[1]: 'F1\\x1b[2J' cannot be the name of an item"),
        ('items = "F3..F1"', 6, 'items: the range \'F3..F1\' runs down; write "F1..F3"'),
        ('items = ["F1", "F3..F1"]', 6, "items[2]: the range 'F3..F1' runs down"),
        ('items = ["F1", "f1"]', 6, "items: the item 'f1' is given twice"),
        ('items = ["F1", "fuses"]', 6, None),
        ('items = ["F1 reversed", { name = "F1", both_ways = true }]', 6, "'F1 reversed' is given twice"),
        ('items = "F1..F10001"', 6, "makes more than 10000 items"),
        ('items = ["F1..F6000", "G1..G6000"]', 6, "items: more than 10000 items"),
    ],
)  # fmt: skip
def test_one_mistake(lines: str, at: int, says: str | None) -> None:
    """Each kind of mistake is named once, at its line, with what to write."""
    if says is None:
        assert only_step(SWEEP + lines)
        return
    problem = only_problem(SWEEP + lines + "\n")
    assert problem.startswith(f"gc8.toml:{at}: ")
    assert says in problem


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", ["gc8.toml:1: plan: missing", "gc8.toml:1: step: no steps"]),
        (HEAD, ["gc8.toml:1: step: no steps; write [[step]], one for each step"]),
        ("plan = 3\nstep = 4\n", ["gc8.toml:1: plan: a table is wanted", "gc8.toml:2: step: no steps"]),
        ("[plan]\n" + SWEEP[len(HEAD) :] + 'items = "F1"\n', ["gc8.toml:1: plan.title: missing"]),
        (HEAD + "step = [1]\n", ["gc8.toml:3: plan.step: no such key", "gc8.toml:1: step: no steps"]),
        ("step = [1]\n" + HEAD, ["gc8.toml:1: step 1: a table is wanted"]),
        (HEAD + "[[step]]\n", ["gc8.toml:3: step 1 kind: missing; one of"]),
        (HEAD + '[[step]]\nkind = "zero"\n', ["gc8.toml:3: step 1 id: missing"]),
        (HEAD + '[[step]]\nid = "z"\nkind = "Zero"\n', ['kind: \'Zero\' is no kind of step; did you mean "zero"?']),
        (HEAD + '[[step]]\nid = "z"\nkind = ["zero"]\n', ["kind: \"['zero']\" is no kind of step"]),
        (HEAD + '[[step]]\nid = "a b"\nkind = "zero"\n', ["id: 'a b' is no id"]),
        (HEAD + '[[step]]\nid = ""\nkind = "zero"\n', ["id: '' is no id"]),
        (HEAD + f'[[step]]\nid = "{"a" * 64}"\nkind = "zero"\n', ["is no id"]),
        (HEAD + '[[step]]\nid = "unplanned"\nkind = "zero"\n', ["a word of metercap's own"]),
        (HEAD + '[[step]]\nid = "z"\nkind = "zero"\n[[step]]\nid = "Z"\nkind = "zero"\n', ["gc8.toml:7:"]),
        (HEAD + '[[steps]]\nid = "z"\n', ['gc8.toml:3: steps: no such table; did you mean "step"?']),
        (HEAD + '[[step]]\nid = "s"\nkind = "safe"\npoints = ["C1", "s"]\n', ["'s' is the step's own id, too"]),
        (HEAD + '[[step]]\nid = "s"\nkind = "safe"\npoints = ["C1\\n"]\n', ["'C1\\n' cannot be the name"]),
        (HEAD + '[[step]]\nid = "z"\nkind = "zero"\nwarn = "2 V"\n', ["'2 V' is in V, but ohm is expected"]),
        (HEAD + '[[step]]\nid = "z"\nkind = "zero"\nwarn = "2 ohm"\n', ["warn: above max"]),
        (HEAD + '[[step]]\nid = "z"\nkind = "zero"\nmax = "1"\n', ["'1' has no unit; write it as \"0.5 ohm\""]),
        (HEAD + 'tokens = 3\n[[step]]\nid = "z"\nkind = "zero"\n', ["tokens: a table is wanted"]),
        (HEAD + 'tokens = { opn = "1 kohm" }\n[[step]]\nid = "z"\nkind = "zero"\n', ['did you mean "open"?']),
        (HEAD + 'tokens = { at = "1 kohm" }\n[[step]]\nid = "z"\nkind = "zero"\n', ["'at' is no word"]),
        (HEAD + 'tokens = { open = "1 V" }\n[[step]]\nid = "z"\nkind = "zero"\n', ["plan.tokens.open: '1 V' is in V"]),
        (HEAD + 'steps = 3\n[[step]]\nid = "z"\nkind = "zero"\n', ["plan.steps: no such key"]),
    ],
)  # fmt: skip
def test_mistakes_of_the_frame(text: Any, says: Any) -> None:
    """What is wrong with plan, steps, ids, kinds and tokens is named, and nothing else with it."""
    problems = problems_of(text)
    assert len(problems) == len(says)
    for problem, words in zip(sorted(problems), sorted(says), strict=True):
        assert words in problem


@pytest.mark.parametrize("name", [INTERLUDE, STEP_ID])
def test_ids_that_a_session_gives(name: Any) -> None:
    """The ids of what a session puts beside a plan's steps are not a plan's to take."""
    assert "a word of metercap's own" in only_problem(HEAD + f'[[step]]\nid = "{name}"\nkind = "zero"\n')


def test_four_tokens() -> None:
    """Four tokens are more than can be told apart."""
    words = ", ".join(f'{word} = "{n}00 ohm"' for n, word in enumerate(("yes", "no", "open", "skip"), 1))
    text = HEAD + f'tokens = {{ {words} }}\n[[step]]\nid = "z"\nkind = "zero"\n'
    assert "4 tokens, and at most 3 can be told apart" in only_problem(text)


def test_all_at_once_in_the_order_of_the_file() -> None:
    """One error holds every problem of the file, by line, those of a misspelt kind's keys too."""
    text = """[plan]
title = "GC-8"
rul = "simple"
[[step]]
id = "fuses"
kind = "swep"
items = ["F1", { name = "F2", maxx = "1 ohm" }]
max = "2 omh"
[[step]]
id = "fuses"
kind = "check"
"""
    problems = problems_of(text)
    assert [problem.split(":")[1] for problem in problems] == ["3", "6", "7", "8", "9", "10"]
    assert problems[2] == 'gc8.toml:7: step 1 "fuses" items[2].maxx: no such key; did you mean "max"?'
    with pytest.raises(PlanError) as error:
        load_plan(text, "gc8.toml")
    assert str(error.value).splitlines()[0] == "gc8.toml: 6 problems in this plan"
    assert str(error.value).splitlines()[3] == f"  {problems[2]}"


def test_many_problems_are_counted() -> None:
    """Of a file with hundreds of problems the first fifty are listed, the rest counted."""
    problems = problems_of(SWEEP + 'items = "F1"\n' + "".join(f"x{n} = 1\n" for n in range(300)))
    assert len(problems) == 51
    assert problems[-1] == "and 250 more"


@pytest.mark.parametrize("key", ['max = "1 ohm"', 'rating = "1 A"', 'type = "unknown"', "both_ways = true"])
@pytest.mark.parametrize("kind", ["tune", "exercise", "wiggle", "cell"])
def test_items_that_nobody_would_judge(kind: str, key: str) -> None:
    """An item's own limits in a kind of step that heeds none are an error, not silently dropped."""
    more = 'target = "reference"\ntolerance = "1 %"\n' if kind == "tune" else ""
    text = HEAD + f'[[step]]\nid = "x"\nkind = "{kind}"\nitems = [{{ name = "F1", {key} }}]\n{more}'
    assert f"items[1].{key.split()[0]}: no item of this kind of step has it" in only_problem(text)


@pytest.mark.parametrize(
    ("kind", "lines", "says"),
    [
        ("cell", 'chemistry = "lithium 3V"', 'did you mean "lithium 3 V"?'),
        ("cell", 'load = "470"', "'470' has no unit"),
        ("exercise", 'form = "open"', '\'open\' is none of "nc", "no"'),
        ("exercise", "confidence = 95", "'95' is not between 0 and 1"),
        ("exercise", "confidence = 1", "'1' is not between 0 and 1"),
        ("exercise", "confidence = 0.0", "'0.0' is not between 0 and 1"),
        ("exercise", 'confidence = "100 %"', "'100 %' is not between 0 and 1"),
        ("exercise", "confidence = true", "a share is wanted, not true"),
        ("exercise", 'open_above = "1 ohm"', "open_above: below max, which is 2"),
        ("exercise", 'presses = "20"', "a whole number is wanted"),
        ("wiggle", 'watch_s = "15 ohm"', "is in ohm, but s is expected"),
    ],
)
def test_mistakes_of_other_kinds(kind: str, lines: str, says: str) -> None:
    """Keys of the other kinds are checked by their marks and types alike."""
    text = HEAD + f'[[step]]\nid = "x"\nkind = "{kind}"\nitems = "S1"\n{lines}\n'
    assert says in only_problem(text)


# --- fuses


@pytest.mark.parametrize(
    ("before", "item", "limit"),
    [
        ("", 'rating = "315 mA", type = "glass 5x20"', 6.6),
        ('[[step]]\nid = "z"\nkind = "zero"\n', 'rating = "315 mA", type = "glass 5x20"', 6.4),
        ("", 'rating = "1 A", type = "glass 5x20"', 0.5),
        ("", 'rating = "1 A", type = "glass 5x20", max = "3 ohm"', 3.0),
        ("", 'rating = "1 A", type = "unknown"', None),
        ("", 'rating = "1 A", type = "chip"', None),
        ("", 'type = "unknown"', None),
    ],
)
def test_fuse_limits(before: str, item: str, limit: float | None) -> None:
    """Rating and type give the limit: twice the data sheet's value plus leads; own limits stand."""
    text = HEAD + before + SWEEP[len(HEAD) :] + f'items = [{{ name = "F1", {item} }}]\n'
    step = load_plan(text, "gc8.toml").steps[-1]
    assert step.items[0].max == limit
    assert step.unit == ("" if limit is None else "ohm")


@pytest.mark.parametrize(
    ("item", "says"),
    [
        ('rating = "300 mA", type = "glass 5x20"', "250 mA or 315 mA"),
        ('rating = "1 A"', 'a rating without the fuse\'s type; add type = "glass 5x20"'),
        ('type = "chip"', "a fuse type without its rating"),
        ('rating = "1 ohm", type = "chip"', "'1 ohm' is in ohm, but A is expected"),
        ('rating = "1 A", type = "glas"', 'did you mean "glass 5x20"?'),
        ('rating = "-1 A", type = "chip"', "is negative"),
    ],
)
def test_fuse_mistakes(item: str, says: str) -> None:
    """Half a statement, an unlisted rating and a wrong unit are named."""
    assert says in only_problem(SWEEP + f'items = [{{ name = "F1", {item} }}]\n')


def test_a_fuse_in_a_step_of_volts() -> None:
    """A rated fuse has a limit in ohms, which a step in volts cannot hold."""
    text = SWEEP + 'items = [{ name = "F1", rating = "1 A", type = "glass 5x20" }]\nmax = "2 V"\n'
    assert "max: in V, but items[1].rating is in ohm" in only_problem(text)


# --- tune


TUNE = HEAD + '[[step]]\nid = "bridge"\nkind = "tune"\nitems = ["RV1"]\n'


@pytest.mark.parametrize(
    ("lines", "target", "absolute", "share", "unit"),
    [
        ('target = "2.187 kohm"\ntolerance = "± 0.5 %"', 2187.0, None, 0.005, "ohm"),
        ('target = "2.187 kohm"\ntolerance = "+-3 ohm"', 2187.0, 3.0, None, "ohm"),
        ('target = "2V5"\ntolerance = "10 mV"', 2.5, 0.01, None, "V"),
        ('target = "reference"\ntolerance = "0.5 %"', "reference", None, 0.005, ""),
        ('target = "as found"\ntolerance = "0.5 %"\nquantity = "voltage_dc"', "as found", None, 0.005, "V"),
        ('target = "reference"\ntolerance = "5 ohm"', "reference", 5.0, None, "ohm"),
    ],
)
def test_targets_and_tolerances(
    lines: str, target: float | str, absolute: float | None, share: float | None, unit: str
) -> None:
    """A target is a value or a word; a tolerance is stored as share or as a value; units follow."""
    step = only_step(TUNE + lines + "\n")
    assert (step.target, step.tolerance, step.tolerance_share, step.unit) == (target, absolute, share, unit)


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('tolerance = "0.5 %"', 'target: missing; write target = "2.187 kohm", "reference" or "as found"'),
        ('target = "reference"', 'tolerance: missing; write tolerance = "0.5 %"'),
        ('target = "refrence"\ntolerance = "0.5 %"', "target: 'refrence' is not a value; did you mean \"reference\"?"),
        ('target = 3\ntolerance = "0.5 %"', "target: the number 3 has no unit"),
        ('target = "2 kohm"\ntolerance = 0.5', 'tolerance: the number 0.5 has no unit; write it as "0.5 %"'),
        ('target = "2 kohm"\ntolerance = "-0.5 %"', "tolerance: the tolerance '-0.5 %' is negative"),
        ('target = "2 kohm"\ntolerance = "5 mV"', "tolerance: in V, but target is in ohm"),
        ('target = "2 kohm"\ntolerance = "1 %"\nnever_below = "1 V"', "never_below: in V, but target is in ohm"),
        ('target = "2 kohm"\ntolerance = "1 %"\nnever_below = "3 kohm"', "never_below: above target"),
        ('target = "2 kohm"\ntolerance = "1 %"\nnever_above = "1 kohm"', "target: above never_above"),
        ('target = "2 kohm"\ntolerance_share = 0.01\ntolerance = "1 %"', "tolerance_share: not written in a plan"),
    ],
)
def test_tune_mistakes(lines: str, says: str) -> None:
    """Missing targets, missing and wrong tolerances, and hazard limits on the wrong side are named."""
    assert says in only_problem(TUNE + lines + "\n")


# --- the text itself


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ('[plan]\ntitle = "x\n', 2, "not TOML: illegal character '\\n'"),
        ("[plan]\ntitle =\n", 2, "not TOML: invalid value"),
        ('[plan]\ntitle = "x"\ntitle = "y"\n', 3, "not TOML: cannot overwrite a value"),
        ("[plan]\n[plan]\n", 2, "not TOML: cannot declare ('plan',) twice"),
        ('[plan]\ntitle = ["a",\n"b"\n', 3, "not TOML: unclosed array"),
        ("[plan\x1b]\n", 1, "not TOML: "),
        ("x = " + "[" * 100 + "]" * 100, 1, "nested too deeply"),
        ("\n" + ".".join("a" * 100) + " = 1", 2, "nested too deeply"),
        ("x = " + "9" * 6000, 1, "not TOML: "),
    ],
)
def test_text_that_is_no_toml(text: Any, line: int, says: str) -> None:
    """A syntax error names its line, what was wrong, and shows control characters escaped."""
    problem = only_problem(text)
    assert problem.startswith(f"gc8.toml:{line}: ")
    assert says in problem
    assert problem.isprintable()


def test_size_limit() -> None:
    """A text beyond a mebibyte is refused unread."""
    assert f"more than {LARGEST} characters" in only_problem("#" * (LARGEST + 1))


def test_byte_order_mark_and_line_ends() -> None:
    """A byte order mark and CR LF, as some editors write them, change nothing, line numbers included."""
    text = SWEEP + 'items = "F1"\nmax = "2 ohm"\n'
    assert load_plan("\ufeff" + text.replace("\n", "\r\n"), "x") == load_plan(text, "x")
    assert only_problem("\ufeff" + text.replace("\n", "\r\n") + "bad = 1\r\n").startswith("gc8.toml:8: ")


def test_hostile_names_are_escaped() -> None:
    """Escape sequences in keys, ids and values reach the message as visible text only."""
    text = HEAD + '[[step]]\nid = "a\\u001b[2Jb"\nkind = "k\\u202e"\n"ke\\u0007y" = 1\n'
    for problem in problems_of(text):
        assert problem.isprintable()


def test_items_of_all_steps_are_bounded() -> None:
    """A small file cannot ask for millions of items."""
    steps = "".join(f'[[step]]\nid = "s{n}"\nkind = "sweep"\nitems = "F1..F9999"\n' for n in range(30))
    problems = problems_of(HEAD + steps)
    assert f"more than {MOST_ITEMS} items in the plan" in problems[0]


def test_a_plan_fits_a_journal() -> None:
    """A plan that the first record of a journal could not hold (half a mebibyte as JSON) is refused in time."""
    steps = 'id = "s"\nkind = "sweep"\nmax = "2 ohm"\nitems = "F1..F{count}"\n'
    load_plan(HEAD + "[[step]]\n" + steps.format(count=3000), "x")
    assert "at most 524288 fit its first record" in only_problem(HEAD + "[[step]]\n" + steps.format(count=5000))


def test_problems_are_bounded() -> None:
    """Of a hostile file's hundred thousand mistakes a thousand are kept, and all are counted."""
    text = SWEEP + 'items = "F1"\n' + "".join(f"x{n} = 1\n" for n in range(30_000))
    found = examine(text)
    assert (found.plan, found.count, len(found.problems)) == (None, 30_000, 1000)
    assert problems_of(text)[-1] == "and 29950 more"


def test_steps_are_bounded() -> None:
    """A plan of more than a thousand steps is refused."""
    steps = "".join(f'[[step]]\nid = "s{n}"\nkind = "zero"\n' for n in range(1001))
    assert "more than 1000 steps" in only_problem(HEAD + steps)


TOML = st.recursive(
    st.one_of(
        st.sampled_from(['"F1..F3"', '"2 ohm"', '"3 V"', "1", "-1", "true", "nan", '"on"', '"\\u001b"', "2026-01-01"]),
        st.text(alphabet="aF1. ,%Ω-", max_size=8).map(lambda t: f'"{t}"'),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda values: "[" + ", ".join(values) + "]"),
        st.dictionaries(
            st.sampled_from(["name", "max", "min", "rating", "type", "x"]), inner, max_size=3
        ).map(lambda table: "{" + ", ".join(f"{key} = {value}" for key, value in table.items()) + "}"),
    ),
    max_leaves=5,
)  # fmt: skip
KEYS = sorted({"id", "kind", "x", *(key for struct in step_kinds().values() for key in keys_of(struct))})


@settings(max_examples=examples(150), deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([*step_kinds(), "x"]), st.dictionaries(st.sampled_from(KEYS), TOML, min_size=1, max_size=6)
        ),
        min_size=1,
        max_size=3,
    )
)
def test_any_values_anywhere(steps: Any) -> None:
    """Whatever values stand at whatever keys, the outcome is a plan, or a PlanError with lines of the file."""
    text = HEAD
    for kind, keys in steps:
        text += f'[[step]]\nkind = "{kind}"\n' + "".join(f"{k} = {v}\n" for k, v in keys.items() if k != "kind")
    try:
        plan = load_plan(text, "gc8.toml")
    except PlanError as error:
        assert error.problems
        for problem in error.problems:
            assert problem.isprintable()
            assert 1 <= int(problem.split(":")[1]) <= text.count("\n") + 1
    else:
        assert from_builtins(to_builtins(plan)) == plan


def test_every_mark_has_a_reader() -> None:
    """Each key of each kind in the union is read by its mark or is of a plain type; tables of values have a mark."""
    for struct in (Plan, Item, *step_kinds().values()):
        for key in keys_of(struct).values():
            assert not key.mark or key.mark in READERS, (struct, key.name)


def test_hidden_keys() -> None:
    """Only what the loader fills is hidden: the unit, and shares of a tolerance or a hazard limit."""
    hidden = set().union(*(hidden_keys(struct) for struct in step_kinds().values()))
    assert hidden <= {"unit", "tolerance_share", "never_below_share", "never_above_share"}
    assert hidden_keys(Item) == frozenset()


def test_deep_text_leaves_the_stack_alone() -> None:
    """A million brackets are refused by depth, not by the interpreter's recursion limit."""
    limit = sys.getrecursionlimit()
    assert "nested too deeply" in only_problem("x = " + "[{a=" * 200_000)
    assert sys.getrecursionlimit() == limit
