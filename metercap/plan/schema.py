"""JSON Schema of a plan file as people write it, for editors that check and complete TOML while one types.

Derived from the same structs as the loader, so it knows every kind of step and every key. It accepts all that the
loader accepts; what only the loader can judge (units that must agree, ids that must differ) it leaves to `plan check`.
Dialect: JSON Schema draft-07, which editors know best.
"""

from __future__ import annotations

import inspect as python_inspect
from typing import Any

import msgspec
from msgspec import inspect

from metercap.plan.fields import Key, hidden_keys, holds_items, keys_of, step_kinds
from metercap.plan.load import MOST_TOKENS
from metercap.plan.model import TOKEN_WORDS, Plan
from metercap.plan.values import MOST_COUNT, TARGET_WORDS, choices
from metercap.plankeys import Item

DIALECT = "http://json-schema.org/draft-07/schema#"

_WRITTEN = {"type": "string", "pattern": "[0-9]", "maxLength": 64}
"""A value with its unit; which texts are values is for the loader to say."""
_VALUES: dict[str, dict[str, Any]] = {
    "limit": {**_WRITTEN, "description": "A value with its unit, which picks what the step measures.",
              "examples": ["2 ohm", "4k7", "3.3 V", "100 mA"]},
    "ohm": {**_WRITTEN, "description": "A resistance with its unit.", "examples": ["0.5 ohm", "R47", "4k7"]},
    "V": {**_WRITTEN, "description": "A voltage with its unit.", "examples": ["3 V", "3V3"]},
    "A": {**_WRITTEN, "description": "A current with its unit.", "examples": ["315 mA", "1 A"]},
    "tolerance": {**_WRITTEN, "description": "A share of the target, or a value with its unit.",
                  "examples": ["0.5 %", "± 3 ohm"]},
    "edge": {**_WRITTEN, "description": "A value with its unit, or a share of the value that is aimed at.",
             "examples": ["1.2 kohm", "95 %"]},
    "target": {"description": "A value with its unit, the known-good unit's value, or the value as found.",
               "anyOf": [{"enum": list(TARGET_WORDS)}, {**_WRITTEN, "examples": ["2.187 kohm"]}]},
    "s": {"description": "A length of time: a number of seconds, or a value with its unit.",
          "anyOf": [{"type": "number", "minimum": 0}, {**_WRITTEN, "examples": ["10 s", "2 min"]}]},
    "groups": {"description": "Groups of items, each a range or a list of names.", "type": "array", "minItems": 1,
               "items": {"anyOf": [{"type": "string", "minLength": 1},
                                   {"type": "array", "minItems": 1, "items": {"type": "string", "minLength": 1}}]},
               "examples": [["F1..F4", "F5..F8"]]},
    "share": {"description": "A share between 0 and 1, or in percent.",
              "anyOf": [{"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1},
                        {**_WRITTEN, "examples": ["95 %"]}]},
}  # fmt: skip


def plan_schema() -> dict[str, Any]:
    """Return the JSON Schema of a plan file."""
    steps = [_step(kind, struct) for kind, struct in step_kinds().items()]
    return {
        "$schema": DIALECT,
        "title": "metercap plan",
        "description": "Ordered steps that lead a technician through the measurements on one model of unit.",
        "type": "object",
        "required": ["plan", "step"],
        "additionalProperties": False,
        "properties": {
            "plan": _table(Plan),
            "step": {"type": "array", "minItems": 1, "items": {"oneOf": steps}},
        },
        "definitions": {
            "item": _table(Item),
            "items": {
                "description": 'Items as "F1..F12", or a list of names, of tables, or of both.',
                "anyOf": [
                    {"type": "string", "minLength": 1},
                    {
                        "type": "array",
                        "minItems": 1,
                        "items": {"anyOf": [{"type": "string", "minLength": 1}, {"$ref": "#/definitions/item"}]},
                    },
                ],
            },
            **_VALUES,
        },
    }


def _step(kind: str, struct: type[msgspec.Struct]) -> dict[str, Any]:
    table = _table(struct)
    table["title"] = kind
    table["properties"] = {"kind": {"const": kind}, **table["properties"]}
    table["required"] = ["kind", *table["required"]]
    return table


def _table(struct: type[msgspec.Struct]) -> dict[str, Any]:
    keys = keys_of(struct)
    return {
        "type": "object",
        "description": _said(struct),
        "required": [key.name for key in keys.values() if key.required],
        "additionalProperties": False,
        "properties": {name: _key(key) for name, key in keys.items() if name not in hidden_keys(struct)},
    }


def _said(struct: type[msgspec.Struct]) -> str:
    """Return the first paragraph of a struct's docstring as one line."""
    return " ".join((python_inspect.getdoc(struct) or "").partition("\n\n")[0].split())


def _key(key: Key) -> dict[str, Any]:
    if holds_items(key):
        return {"$ref": "#/definitions/items"}
    if isinstance(key.type, inspect.DictType):
        words = {word: {"$ref": "#/definitions/ohm"} for word in TOKEN_WORDS}
        return {"type": "object", "maxProperties": MOST_TOKENS, "additionalProperties": False, "properties": words}
    if key.mark:
        return {"$ref": f"#/definitions/{key.mark}"}
    if isinstance(key.type, inspect.LiteralType | inspect.EnumType):
        return _default(key, {"enum": list(choices(key.type))})
    if isinstance(key.type, inspect.BoolType):
        return _default(key, {"type": "boolean"})
    if isinstance(key.type, inspect.IntType):
        return _default(key, {"type": "integer", "minimum": 1, "maximum": MOST_COUNT})
    if isinstance(key.type, inspect.FloatType):
        return _default(key, {"type": "number"})
    if isinstance(key.type, inspect.VarTupleType):
        return {"type": "array", "items": {"type": "string"}}
    return {"type": "string"}


def _default(key: Key, schema: dict[str, Any]) -> dict[str, Any]:
    known = isinstance(key.default, str | bool | int | float)
    return {**schema, "default": key.default} if known else schema
