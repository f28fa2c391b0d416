"""The keys that a plan file may hold, read off the typed structs: the loader, the schema and the screen share them.

A step kind that joins the union in `model.Plan` is known here without an edit. Two kinds of keys are never written in
a file, since the loader fills them: a step's `unit`, which follows from its limits, and `<name>_share`, which takes a
relative tolerance written as `<name>`.
"""

from __future__ import annotations

from functools import cache
from typing import Any, NamedTuple

import msgspec
from msgspec import inspect

from metercap.plan.model import Plan
from metercap.plankeys import Item, StepBase

UNIT = "unit"
SHARE = "_share"
TOLERANCE, EDGE = "tolerance", "edge"
"""The marks of a tolerance and of a hazard limit."""


class Key(NamedTuple):
    """One key: how its written value becomes what is stored (`mark`), its bare `type`, and what holds without it.

    `means` is what it says, `example` a value as it is written, in TOML.
    """

    name: str
    mark: str
    type: inspect.Type
    required: bool
    default: Any
    means: str = ""
    example: str = ""


@cache
def keys_of(struct: type[msgspec.Struct]) -> dict[str, Key]:
    """Return the keys that a table of this struct may hold, by name."""
    info = inspect.type_info(struct)
    assert isinstance(info, inspect.StructType)
    keys = {}
    for field in info.fields:
        bare, marks = _bare(field.type)
        mark = marks.get("as", "")
        required = field.required or mark == TOLERANCE  # stored under one of two names, so the struct requires neither
        default = field.default if field.default_factory is msgspec.NODEFAULT else field.default_factory()
        said = marks.get("description", ""), marks.get("example", "")
        keys[field.encode_name] = Key(field.encode_name, mark, bare, required, default, *said)
    return {name: key for name, key in keys.items() if name not in hidden_keys(struct)}


@cache
def hidden_keys(struct: type[msgspec.Struct]) -> frozenset[str]:
    """Return the keys of this struct that the loader fills and a file must not hold."""
    if issubclass(struct, Plan):  # which other tables fill
        return frozenset({"steps", "pictures"})
    if not issubclass(struct, StepBase):
        return frozenset()
    names = {field.encode_name for field in msgspec.structs.fields(struct)}
    return frozenset(n for n in names if n == UNIT or (n.endswith(SHARE) and n.removesuffix(SHARE) in names))


@cache
def step_kinds() -> dict[str, type[StepBase]]:
    """Return the step structs of the plan's union, by kind."""
    plan = inspect.type_info(Plan)
    assert isinstance(plan, inspect.StructType)
    steps = next(field.type for field in plan.fields if field.name == "steps")
    assert isinstance(steps, inspect.VarTupleType)
    union = steps.item_type
    structs = union.types if isinstance(union, inspect.UnionType) else (union,)
    kinds: dict[str, type[StepBase]] = {}
    for info in structs:
        assert isinstance(info, inspect.StructType)
        assert issubclass(info.cls, StepBase)
        kinds[str(info.tag)] = info.cls
    return kinds


def kind_of(step: StepBase) -> str:
    """Return the step's kind as it stands in a plan."""
    return str(type(step).__struct_config__.tag)


def holds_items(key: Key) -> bool:
    """Return whether the key takes items."""
    return (
        isinstance(key.type, inspect.VarTupleType)
        and isinstance(key.type.item_type, inspect.StructType)
        and key.type.item_type.cls is Item
    )


def _bare(kind: inspect.Type) -> tuple[inspect.Type, dict[str, str]]:
    """Return the type without its marks and without None, and the marks."""
    marks: dict[str, str] = {}
    while True:
        if isinstance(kind, inspect.Metadata):
            marks |= {**(kind.extra_json_schema or {}), **(kind.extra or {})}
            kind = kind.type
        elif isinstance(kind, inspect.UnionType) and any(isinstance(t, inspect.NoneType) for t in kind.types):
            left = tuple(t for t in kind.types if not isinstance(t, inspect.NoneType))
            kind = left[0] if len(left) == 1 else inspect.UnionType(left)
        else:
            return kind, marks
