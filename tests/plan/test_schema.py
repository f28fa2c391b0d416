"""The JSON Schema for editors, judged by an independent validator (the jsonschema package, draft-07)."""

import tomllib
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import PlanError
from metercap.plan import from_builtins, to_builtins
from metercap.plan.fields import SHARE, holds_items, keys_of, step_kinds
from metercap.plan.keys import key_rows
from metercap.plan.load import load_plan
from metercap.plan.schema import plan_schema
from metercap.plan.show import plan_lines
from metercap.plan.values import choices
from metercap.profiles import find_plan, plan_names
from tests.effort import examples

VALIDATOR = jsonschema.Draft7Validator(plan_schema())
HEAD = '[plan]\ntitle = "GC-8"\n'


def valid(text: str) -> bool:
    return bool(VALIDATOR.is_valid(tomllib.loads(text)))


def test_it_is_a_schema() -> None:
    """The schema follows its own dialect's rules."""
    jsonschema.Draft7Validator.check_schema(plan_schema())


@pytest.mark.parametrize("name", plan_names())
def test_shipped_plans(name: Any) -> None:
    """Every plan that is shipped satisfies the schema."""
    VALIDATOR.validate(tomllib.loads(find_plan(name).read_text(encoding="utf-8")))


def test_every_kind_and_key() -> None:
    """The schema has each kind of the union with each of its keys, and none that the loader fills."""
    schema = plan_schema()
    assert schema["properties"]["step"]["items"]["properties"]["kind"]["enum"] == list(step_kinds())
    for kind, struct in step_kinds().items():
        step = schema["definitions"][kind]
        assert step["properties"]["kind"]["const"] == kind
        assert set(step["properties"]) == {"kind", *keys_of(struct)}
        assert not any(name == "unit" or name.endswith(SHARE) for name in step["properties"])


@pytest.mark.parametrize(
    "steps",
    [
        "",
        '[[step]]\nid = "z"\n',
        '[[step]]\nid = "z"\nkind = "zer"\n',
        '[[step]]\nkind = "zero"\n',
        '[[step]]\nid = "z"\nkind = "zero"\nwarm = "1 ohm"\n',
        '[[step]]\nid = "z"\nkind = "zero"\nwarn = 1\n',
        '[[step]]\nid = "s"\nkind = "sweep"\n',
        '[[step]]\nid = "s"\nkind = "sweep"\nitems = []\n',
        '[[step]]\nid = "s"\nkind = "sweep"\nitems = [{ where = "rear" }]\n',
        '[[step]]\nid = "s"\nkind = "sweep"\nitems = "F1"\nunit = "ohm"\n',
        '[[step]]\nid = "s"\nkind = "sweep"\nitems = "F1"\nquantity = "ohms"\n',
        '[[step]]\nid = "s"\nkind = "sweep"\nitems = "F1"\ncontacts = 0\n',
        '[[step]]\nid = "t"\nkind = "tune"\nitems = "RV1"\ntarget = "reference"\n',
        '[[step]]\nid = "t"\nkind = "trials"\nconfidence = 1.5\n',
        '[[steps]]\nid = "z"\nkind = "zero"\n',
    ],
)
def test_what_it_refuses(steps: str) -> None:
    """Mistakes that an editor should underline while one types."""
    assert not valid(HEAD + steps)


BY_MARK = {
    "limit": st.sampled_from(['"2 ohm"', '"4k7"', '"R47"', '"12.5 Ω"']),
    "ohm": st.sampled_from(['"1 ohm"', '"1.5 ohm"', '"R5"']),
    "target": st.sampled_from(['"2.187 kohm"', '"reference"', '"as found"']),
    "tolerance": st.sampled_from(['"0.5 %"', '"± 3 ohm"', '"+-1%"']),
    "s": st.sampled_from(["3", "0.5", '"2 min"', '"500 ms"']),
    "groups": st.just('["F1"]'),
    "names": st.sampled_from(['"F1"', '["F1"]']),
    "share": st.sampled_from(["0.9", '"95 %"']),
    "minutes": st.sampled_from(["2", "0.5", "90"]),
    "teardown": st.sampled_from(['["lid"]', '"lid"', "2"]),
    "chances": st.sampled_from(['{ "no light" = 0.3 }', '{ dead = "12 %", "hums \\"low\\"" = 0.5 }']),
}
# Every one of these lists holds F1, which the groups name.
ITEMS = st.sampled_from(['"F1..F3"', '["F1", "RV2"]', '[{ name = "F1", where = "rear" }, "F2..F4"]'])


def written(key: Any) -> Any:
    """Right values for a key, as they are written."""
    if holds_items(key):
        return ITEMS
    if key.mark:
        return BY_MARK[key.mark]
    if key.name == "quantity":
        return st.sampled_from(['"resistance"', '"continuity"'])
    if hasattr(key.type, "values") or hasattr(key.type, "cls"):
        return st.sampled_from([f'"{word}"' for word in choices(key.type)])
    names = {"BoolType": ["true", "false"], "IntType": ["1", "7"], "VarTupleType": ['["a", "b"]', "[]"]}
    return st.sampled_from(names.get(type(key.type).__name__, ['"some text"']))


@st.composite
def plans(draw: Any) -> Any:
    """Right plans of every kind, with some of the optional keys."""
    text = HEAD
    for n, kind in enumerate(draw(st.lists(st.sampled_from(sorted(step_kinds())), min_size=1, max_size=4))):
        text += f'[[step]]\nid = "s{n}"\nkind = "{kind}"\n'
        for key in keys_of(step_kinds()[kind]).values():
            # Pairs that must be in order are tested elsewhere; one of each is enough here.
            if key.name in ("id", "min", "warn", "never_above", "never_below", "open_above"):
                continue
            if key.required or draw(st.booleans()):
                text += f"{key.name} = {draw(written(key))}\n"
    return text


@settings(max_examples=examples(150), deadline=None, derandomize=True)
@given(plans())
def test_right_plans(text: Any) -> None:
    """What the loader accepts the schema accepts; it survives a journal, and it can be shown."""
    plan = load_plan(text, "x")
    VALIDATOR.validate(tomllib.loads(text))
    assert from_builtins(to_builtins(plan)) == plan
    assert all(line.isprintable() for line in plan_lines(plan))


WRONG = {
    'id = "z"\nkind = "zero"\nwarm = "1 ohm"': "warm",
    'id = "z"\nkind = "zero"\nwarn = 1': "warn",
    'id = "z"\nkind = "zer"': "kind",
    'id = "z"': "kind",
    'kind = "zero"': "id",
    'id = "s"\nkind = "sweep"': "items",
    'id = "s"\nkind = "sweep"\nitems = 3': "items",
    'id = "s"\nkind = "sweep"\nitems = [{ name = "F1", wher = "rear" }]': "wher",
    'id = "s"\nkind = "sweep"\nitems = [{ name = "F1", max = 2 }]': "max",
    'id = "s"\nkind = "sweep"\nitems = [{ where = "rear" }]': "name",
    'id = "s"\nkind = "sweep"\nitems = "F1"\nmax = "two"': "max",
    'id = "s"\nkind = "sweep"\nitems = "F1"\nquantity = "ohms"': "quantity",
    'id = "s"\nkind = "sweep"\nitems = "F1"\ncontacts = 0': "contacts",
    'id = "s"\nkind = "sweep"\nitems = "F1"\nclusters = [3]': "clusters",
    'id = "s"\nkind = "sweep"\nitems = "F1"\npatience_s = -1': "patience_s",
    'id = "s"\nkind = "sweep"\nitems = "F1"\npresses = 3': "presses",
    'id = "t"\nkind = "tune"\nitems = "RV1"\ntarget = "referense"\ntolerance = "1 %"': "target",
    'id = "t"\nkind = "tune"\nitems = "RV1"\ntarget = "2 kohm"': "tolerance",
    'id = "t"\nkind = "trials"\nconfidence = 1.5': "confidence",
    'id = "c"\nkind = "cell"\nitems = "BT1"\nchemistry = "lithium"': "chemistry",
}


@pytest.mark.parametrize(("step", "key"), WRONG.items(), ids=list(WRONG.values()))
def test_each_error_names_its_key(step: str, key: str) -> None:
    """One mistake, one error of the independent validator, and its place or its words name the key."""
    with pytest.raises(PlanError):
        load_plan(f"{HEAD}[[step]]\n{step}\n", "x")
    errors = list(VALIDATOR.iter_errors(tomllib.loads(f"{HEAD}[[step]]\n{step}\n")))
    assert errors
    for error in errors:
        assert key in error.absolute_path or f"'{key}'" in error.message, error.message


def test_every_key_is_described() -> None:
    """An editor that shows a key's description has one for each, with its example; defaults are as they are written."""
    schema = plan_schema()
    rows = {(row.table, row.key): row for row in key_rows()}
    tables = {
        "plan": schema["properties"]["plan"],
        **{k: schema["definitions"][k] for k in ("item", "picture", *step_kinds())},
    }
    for (table, name), row in rows.items():
        key = tables[table]["properties"][name]
        assert key["description"].startswith(row.means)
        if name != "kind":
            assert tomllib.loads(f"x = {row.example}")["x"] in key["examples"]
            assert ("default" in key) == bool(row.default)
    assert tables["zero"]["properties"]["warn"]["default"] == "0.5 ohm"
    assert "$ref" not in tables["zero"]["properties"]["warn"], "draft-07 would pass over the description beside it"
