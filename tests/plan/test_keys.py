"""What a plan file may say, key by key: nothing missing, nothing said that the loader would not take."""

from __future__ import annotations

import tomllib

import jsonschema
import pytest

from metercap.plan.fields import keys_of, step_kinds
from metercap.plan.keys import ITEM, PICTURE, PLAN, KeyRow, key_rows, key_text
from metercap.plan.load import load_plan
from metercap.plan.model import Plan
from metercap.plan.schema import plan_schema
from metercap.plankeys import Item, Picture, StepBase

VALIDATOR = jsonschema.Draft7Validator(plan_schema())
NEEDED = {"items": '"F1..F12"', "target": '"2.187 kohm"', "tolerance": '"0.5 %"'}
BESIDE = {"type": 'rating = "315 mA"', "rating": 'type = "glass 5x20"', "clusters": ""}
"""What must stand beside a key for it to mean anything."""


def rows(table: str) -> list[KeyRow]:
    return [row for row in key_rows() if row.table == table]


def with_key(table: str, row: KeyRow) -> str:
    """A right plan in which this key is written as its example says."""
    line = f"{row.key} = {row.example}"
    plan, item, step = "", "", ""
    if table == PICTURE:
        sweep = '[[step]]\nid = "fuses"\nkind = "sweep"\nitems = "F1..F12"\nmax = "2 ohm"'
        file = "" if row.key == "file" else 'file = "front.png"'
        return "\n".join(["[plan]", 'title = "x"', sweep, "[[picture]]", file, line, ""])
    kind = "sweep" if table in (PLAN, ITEM) else table
    plan = line if row.key == "title" and table == PLAN else 'title = "x"' + (f"\n{line}" if table == PLAN else "")
    if table == ITEM:
        item = ", ".join(
            part for part in ("" if row.key == "name" else 'name = "F1"', line, BESIDE.get(row.key, "")) if part
        )
    elif table != PLAN:
        step = line
    needed = [
        f"{name} = {value}" for name, value in NEEDED.items() if name in keys_of(step_kinds()[kind]) and name != row.key
    ]
    needed = [each.replace("2.187 kohm", "3.3 V") if row.key == "quantity" else each for each in needed]
    needed = [each for each in needed if kind != "confirm"]
    if item:
        needed = [f"items = [{{ {item} }}]"]
    identity = "" if row.key == "id" and table not in (PLAN, ITEM) else 'id = "s"'
    kind_line = "" if row.key == "kind" else f'kind = "{kind}"'
    return "\n".join(["[plan]", plan, "[[step]]", identity, kind_line, *needed, step, ""])


ALL = [(row.table, row) for row in key_rows()]


def test_every_key_is_said_once() -> None:
    """Each key of every struct has a row with meaning and example; keys of every step stand in each kind's table."""
    structs: dict[str, type[Plan | Item | Picture | StepBase]] = {
        PLAN: Plan,
        ITEM: Item,
        PICTURE: Picture,
        **step_kinds(),
    }
    for table, struct in structs.items():
        names = [row.key for row in rows(table)]
        assert len(names) == len(set(names))
        assert set(names) == set(keys_of(struct)) | ({"kind"} if table in step_kinds() else set())
    for _, row in ALL:
        assert row.means and row.means[-1] == "." and row.means.isprintable(), row
        assert row.unit and row.example, row
        assert not (row.required and row.default), "what must be given has no default"


@pytest.mark.parametrize(("table", "row"), ALL, ids=[f"{table}.{row.key}" for table, row in ALL])
def test_every_example_is_right(table: str, row: KeyRow) -> None:
    """A plan with the key as its example says is read by the loader and by an independent validator of the schema."""
    text = with_key(table, row)
    assert f"{row.key} = " in text
    load_plan(text, "x")
    VALIDATOR.validate(tomllib.loads(text))


@pytest.mark.parametrize(("table", "row"), ALL, ids=[f"{table}.{row.key}" for table, row in ALL])
def test_every_default_is_what_holds_without_the_key(table: str, row: KeyRow) -> None:
    """The default as it is said, written out, gives the same plan as leaving the key out."""
    if row.required or not row.default:
        return
    out = load_plan(with_key(table, row).replace(f"{row.key} = {row.example}", ""), "x") if table != ITEM else None
    if out is not None:
        assert load_plan(with_key(table, row._replace(example=row.default)), "x") == out


def test_known_rows() -> None:
    """A few rows word for word, from the table of DEVELOPERS' contract: section on plan files."""
    found = {(row.table, row.key): row for row in key_rows()}
    assert found["zero", "warn"].default == '"0.5 ohm"'
    assert found["zero", "max"].default == '"1 ohm"'
    assert found["sweep", "patience_s"].default == '"10 s"'
    assert found["sweep", "recontact_s"].default == '"0.5 s"'
    assert (found["check", "contacts"].default, found["sweep", "contacts"].default) == ("2", "1")
    assert found["sweep", "count_check"].default == "true"
    assert found["exercise", "presses"].default == "20"
    assert (found["exercise", "form"].default, found["exercise", "confidence"].default) == ('"no"', "0.95")
    assert found["cell", "chemistry"].default == '"lithium 3 V"'
    assert found["tune", "rest_s"].default == '"2 s"'
    assert (found["trials", "confidence"].default, found["trials", "reliability"].default) == ("0.95", "0.9")
    assert found["tune", "target"].required and found["tune", "tolerance"].required
    assert found["plan", "rule"].default == '"guarded"'
    assert "s" in found["cell", "load_s"].unit and "ohm" in found["cell", "load"].unit
    assert "guarded" in found["plan", "rule"].unit and "simple" in found["plan", "rule"].unit


def test_the_text() -> None:
    """Every key of a kind with meaning, unit, default and example; items where it has any, and no other kind's keys."""
    lines = list(key_text("zero"))
    assert all(len(line) <= 100 and line.isprintable() for line in lines)
    text = "\n".join(lines)
    assert 'warn = "0.3 ohm"' in text and '"0.5 ohm"' in text and "Leads above this want cleaning." in text
    assert "count_check" not in text and "both_ways" not in text
    assert "both_ways" in "\n".join(key_text("sweep"))
    whole = "\n".join(key_text())
    for row in key_rows():
        assert (f"  {row.key} = {row.example}" in whole or row.key == "kind") and row.means in " ".join(whole.split())
    assert whole.count("What is said when the step begins.") == 1, "what every step has stands once"
