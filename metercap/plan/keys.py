"""What a plan file may say, key by key: meaning, unit, default and example, read off the structs. Pure.

`plan keys` prints it and the JSON Schema describes keys by it; each key is said once, beside its field in `plankeys`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import NamedTuple

import msgspec
from msgspec import inspect

from metercap.plan.fields import Key, holds_items, keys_of, step_kinds
from metercap.plan.model import Plan
from metercap.plan.new import quoted
from metercap.plan.values import MOST_COUNT, TARGET_WORDS, choices
from metercap.plan.write import written
from metercap.plankeys import Item, Picture, StepBase
from metercap.plankeys.base import MOST_LEVELS

PLAN, ITEM, PICTURE = "plan", "item", "picture"
KIND_MEANS = "What the step does."
WIDTH = 100

_OF_MARK = {
    "limit": 'a value with its unit, which says what is measured: "2 ohm", "4k7", "3.3 V"',
    "ohm": 'a value in ohm: "0.5 ohm", "R47", "4k7"',
    "V": 'a value in V: "3 V", "3V3"',
    "A": 'a value in A: "315 mA"',
    "s": 'seconds, or a value with its unit: 10, "10 s", "2 min"',
    "share": 'a share: 0.95, or "95 %"',
    "tolerance": 'a share of the target, or a value with its unit: "0.5 %", "3 ohm"',
    "edge": 'a value with its unit, or a share of the value aimed at: "1.2 kohm", "95 %"',
    "target": f"a value with its unit, or {' or '.join(quoted(word) for word in TARGET_WORDS)}",
    "names": "a range, or a list of names and ranges",
    "minutes": "a number above 0, in minutes: 2.5",
    "teardown": f"a list of ids, or a level from 1 to {MOST_LEVELS}",
    "chances": 'a table: by symptom a share, 0.3 or "30 %"; over all steps at most 1 for a symptom',
    "file": "the name of a file beside the plan",
    "sha256": "64 digits in hex, as metercap plan check says them",
    "groups": "a list of groups, each a range or a list of names",
}


class KeyRow(NamedTuple):
    """One key of a table: `unit` is how it is written, `default` what holds without it, "" where nothing does."""

    table: str
    key: str
    means: str
    unit: str
    required: bool
    default: str
    example: str


def key_rows(kind: str | None = None) -> Iterator[KeyRow]:
    """Return the keys of `[plan]`, of each kind of step, of items and pictures; with `kind` its own, and its items'."""
    kinds = step_kinds() if kind is None else {kind: step_kinds()[kind]}
    if kind is None:
        yield from _rows(PLAN, Plan)
    for name, struct in kinds.items():
        yield KeyRow(name, "kind", KIND_MEANS, _words(step_kinds()), True, "", quoted(name))
        yield from _rows(name, struct)
    if any(holds_items(key) for struct in kinds.values() for key in keys_of(struct).values()):
        yield from _rows(ITEM, Item)
    if kind is None:
        yield from _rows(PICTURE, Picture)


def key_text(kind: str | None = None) -> Iterator[str]:
    """Return the lines that say it to people: a heading for each table, an example and what it means for each key.

    What every step has stands once, before the kinds' own keys.
    """
    common = ("kind", *keys_of(StepBase))
    rows = list(key_rows(kind))
    steps = [row for row in rows if row.table not in (PLAN, ITEM, PICTURE)]
    parts = [
        ("[plan]", [row for row in rows if row.table == PLAN]),
        ("[[step]] of every kind", [row for row in steps if row.table == steps[0].table and row.key in common]),
        *(
            (f"[[step]] of kind {quoted(name)}", [r for r in steps if r.table == name and r.key not in common])
            for name in dict.fromkeys(row.table for row in steps)
        ),
        ("an item, as a table in items", [row for row in rows if row.table == ITEM]),
        ("[[picture]]", [row for row in rows if row.table == PICTURE]),
    ]
    before = ""
    for heading, part in parts:
        if part:
            yield from [*([""] if before else []), heading]
            before = heading
        for row in part:
            yield f"  {row.key} = {row.example}"
            what = "required" if row.required else f"default {row.default}" if row.default else "no default"
            for text in (row.means, f"{row.unit}; {what}"):
                yield from textwrap.wrap(text, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 6)


def unit_text(key: Key) -> str:
    """Return how a key's value is written."""
    if holds_items(key):
        return "a range, or a list of names, of tables, or of both"
    if key.name == "at":
        return "a table: a name, and x and y from 0 to 1 from the upper left of the stored file, or one such pair a tip"
    if key.mark:
        return _OF_MARK[key.mark]
    if isinstance(key.type, inspect.DictType):
        return "a table: up to three words, each with a value in ohm"
    if isinstance(key.type, inspect.LiteralType | inspect.EnumType):
        return _words(choices(key.type))
    if isinstance(key.type, inspect.BoolType):
        return "true or false"
    if isinstance(key.type, inspect.IntType):
        return f"a whole number, 1 to {MOST_COUNT}"
    return "a list of texts" if isinstance(key.type, inspect.VarTupleType) else "text"


def default_text(key: Key) -> str:
    """Return what holds without the key, as it is written; "" where nothing does."""
    known = not key.required and key.default not in (None, "", (), {})
    return written(key.default, key, "") if known else ""


def _rows(table: str, struct: type[msgspec.Struct]) -> Iterator[KeyRow]:
    for key in keys_of(struct).values():
        yield KeyRow(table, key.name, key.means, unit_text(key), key.required, default_text(key), key.example)


def _words(words: object) -> str:
    assert isinstance(words, tuple | dict | list)
    return "one of " + ", ".join(quoted(word) for word in words)
