"""JSON Schema of a plan file as people write it, for editors that check and complete TOML while one types.

Derived from the same structs as the loader, so it knows every kind of step and every key. It accepts all that the
loader accepts; what only the loader can judge (units that must agree, ids that must differ) it leaves to `plan check`.
Dialect: JSON Schema draft-07, which editors know best. There a `$ref` hides what stands beside it, so each stands in
an `allOf`; and an error must name its key, so nothing is a choice among whole schemas: a step's kind picks its keys.
"""

from __future__ import annotations

import inspect as python_inspect
import tomllib
from typing import Any

import msgspec
from msgspec import inspect

from metercap.plan.fields import Key, holds_items, keys_of, step_kinds
from metercap.plan.keys import KIND_MEANS, default_text, unit_text
from metercap.plan.load import MOST_TOKENS
from metercap.plan.model import TOKEN_WORDS, Plan
from metercap.plan.values import MOST_COUNT, MOST_MINUTES, MOST_NAME, TARGET_WORDS, choices
from metercap.plankeys import Item, Picture
from metercap.plankeys.base import MOST_LEVELS
from metercap.plankeys.picture import MOST_PICTURES

DIALECT = "http://json-schema.org/draft-07/schema#"

_WRITTEN: dict[str, Any] = {"type": "string", "pattern": "[0-9]", "maxLength": 64}
"""A value with its unit; which texts are values is for the loader to say."""
_NAMES: dict[str, Any] = {"type": "array", "minItems": 1, "items": {"type": "string", "minLength": 1}}
_PICTURE = r"^[^./\\:][^/\\:]*\.([Pp][Nn][Gg]|[Jj][Pp][Ee]?[Gg])$"
_SHARE_OF_PICTURE: dict[str, Any] = {"type": "number", "minimum": 0, "maximum": 1}
_VALUES: dict[str, dict[str, Any]] = {
    "limit": _WRITTEN,
    "ohm": _WRITTEN,
    "V": _WRITTEN,
    "A": _WRITTEN,
    "tolerance": _WRITTEN,
    "edge": _WRITTEN,
    "target": {**_WRITTEN, "pattern": f"^({'|'.join(TARGET_WORDS)})$|[0-9]"},
    "s": {**_WRITTEN, "type": ["number", "string"], "minimum": 0},
    "share": {**_WRITTEN, "type": ["number", "string"], "exclusiveMinimum": 0, "exclusiveMaximum": 1},
    "groups": {"type": "array", "minItems": 1, "items": {**_NAMES, "type": ["string", "array"], "minLength": 1}},
    "names": {**_NAMES, "type": ["string", "array"], "minLength": 1},
    "minutes": {"type": "number", "exclusiveMinimum": 0, "maximum": MOST_MINUTES},
    "teardown": {
        "type": ["string", "array", "integer"],
        "minLength": 1,
        "minItems": 1,
        "minimum": 1,
        "maximum": MOST_LEVELS,
        "items": {"type": "string", "minLength": 1},
    },
    "chances": {
        "type": "object",
        "additionalProperties": {"type": ["number", "string"], "exclusiveMinimum": 0, "exclusiveMaximum": 1},
    },
    "file": {"type": "string", "minLength": 1, "maxLength": MOST_NAME, "pattern": _PICTURE},
    "sha256": {"type": "string", "pattern": "^[0-9A-Fa-f]{64}$"},
    "points": {
        "type": "array",
        "minItems": 1,
        "maxItems": 2,
        "items": {
            **_SHARE_OF_PICTURE,
            "type": ["number", "array"],
            "minItems": 2,
            "maxItems": 2,
            "items": _SHARE_OF_PICTURE,
        },
    },
    "items": {
        "type": ["string", "array"],
        "minLength": 1,
        "minItems": 1,
        "items": {
            "type": ["string", "object"],
            "minLength": 1,
            "if": {"type": "object"},
            "then": {"$ref": "#/definitions/item"},
        },
    },
}


def plan_schema() -> dict[str, Any]:
    """Return the JSON Schema of a plan file."""
    kinds = step_kinds()
    return {
        "$schema": DIALECT,
        "title": "metercap plan",
        "description": "Ordered steps that lead a technician through the measurements on one model of unit.",
        "type": "object",
        "required": ["plan", "step"],
        "additionalProperties": False,
        "properties": {
            "plan": _table(Plan),
            "picture": {"type": "array", "maxItems": MOST_PICTURES, "items": {"$ref": "#/definitions/picture"}},
            "step": {
                "type": "array",
                "minItems": 1,
                "items": {
                    "type": "object",
                    "required": ["id", "kind"],
                    "properties": {"kind": {"description": KIND_MEANS, "enum": list(kinds)}},
                    "allOf": [
                        {
                            "if": {"required": ["kind"], "properties": {"kind": {"const": kind}}},
                            "then": {"$ref": f"#/definitions/{kind}"},
                        }
                        for kind in kinds
                    ],
                },
            },
        },
        "definitions": {
            "item": _table(Item),
            "picture": _table(Picture),
            **{kind: _step(kind, struct) for kind, struct in kinds.items()},
            **{f"value-{mark}": schema for mark, schema in _VALUES.items()},
        },
    }


def _step(kind: str, struct: type[msgspec.Struct]) -> dict[str, Any]:
    table = _table(struct)
    return {
        **table,
        "title": kind,
        "properties": {"kind": {"description": KIND_MEANS, "const": kind}, **table["properties"]},
        "required": ["kind", *table["required"]],
    }


def _table(struct: type[msgspec.Struct]) -> dict[str, Any]:
    keys = keys_of(struct)
    return {
        "type": "object",
        "description": _said(struct),
        "required": [key.name for key in keys.values() if key.required],
        "additionalProperties": False,
        "properties": {name: {**_key(key), **_about(key)} for name, key in keys.items()},
    }


def _said(struct: type[msgspec.Struct]) -> str:
    """Return the first paragraph of a struct's docstring as one line."""
    return " ".join((python_inspect.getdoc(struct) or "").partition("\n\n")[0].split())


def _about(key: Key) -> dict[str, Any]:
    """Return what an editor shows of a key: meaning and how it is written, an example, what holds without it."""
    default = default_text(key)
    about = {"description": f"{key.means} Written as {unit_text(key)}.", "examples": [_value(key.example)]}
    return {**about, "default": _value(default)} if default else about


def _value(toml: str) -> Any:
    return tomllib.loads(f"x = {toml}")["x"]


def _key(key: Key) -> dict[str, Any]:
    if holds_items(key):
        return _ref("items")
    if key.name == "at":
        return {"type": "object", "additionalProperties": _ref("points")}
    if isinstance(key.type, inspect.DictType) and not key.mark:
        words = {word: _ref("ohm") for word in TOKEN_WORDS}
        return {"type": "object", "maxProperties": MOST_TOKENS, "additionalProperties": False, "properties": words}
    if key.mark:
        return _ref(key.mark)
    if isinstance(key.type, inspect.LiteralType | inspect.EnumType):
        return {"enum": list(choices(key.type))}
    if isinstance(key.type, inspect.BoolType):
        return {"type": "boolean"}
    if isinstance(key.type, inspect.IntType):
        return {"type": "integer", "minimum": 1, "maximum": MOST_COUNT}
    if isinstance(key.type, inspect.FloatType):
        return {"type": "number"}
    if isinstance(key.type, inspect.VarTupleType):
        return {"type": "array", "items": {"type": "string"}}
    return {"type": "string"}


def _ref(mark: str) -> dict[str, Any]:
    return {"allOf": [{"$ref": f"#/definitions/value-{mark}"}]}
