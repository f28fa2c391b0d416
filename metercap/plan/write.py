"""A plan back as TOML text, key by key: the other way round from `load`. Pure.

What it writes loads to the same plan, whatever the plan is: values stand with their unit, to the last digit.
Keys that hold what they would without being written are left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from metercap.plan.fields import EDGE, SHARE, TOLERANCE, UNIT, Key, holds_items, keys_of, kind_of
from metercap.plan.model import Plan
from metercap.plan.new import quoted
from metercap.plankeys import Item, Picture, StepBase
from metercap.plankeys.picture import Point
from metercap.quantity.names import compressed

_PREFIXES = ((6, "M"), (3, "k"), (0, ""), (-3, "m"), (-6, "u"), (-9, "n"))
_OWN_UNITS = {"ohm": "ohm", "V": "V", "A": "A", "s": "s"}


def plan_toml(plan: Plan) -> str:
    """Return TOML text that loads to `plan`."""
    lines = ["[plan]", *_keys(plan, keys_of(Plan), "")]
    for step in plan.steps:
        lines += ["", *step_toml(step)]
    for picture in plan.pictures:
        lines += ["", *picture_toml(picture)]
    return "\n".join(lines) + "\n"


def step_toml(step: StepBase) -> list[str]:
    """Return the lines of one `[[step]]`."""
    unit = str(getattr(step, UNIT, ""))
    head = ["[[step]]", f"id = {quoted(step.id)}", f"kind = {quoted(kind_of(step))}"]
    keys = {name: key for name, key in keys_of(type(step)).items() if name not in ("id", "kind")}
    return [*head, *_keys(step, keys, unit)]


def picture_toml(picture: Picture) -> list[str]:
    """Return the lines of one `[[picture]]`, each place on a line of its own."""
    keys = {name: key for name, key in keys_of(Picture).items() if name != "at"}
    lines = ["[[picture]]", *_keys(picture, keys, "")]
    if picture.at:
        lines += ["[picture.at]", *(f"{quoted(name)} = {points_toml(at)}" for name, at in picture.at.items())]
    return lines


def points_toml(at: tuple[Point, ...]) -> str:
    """Return a place as it is written: x and y, or a pair for each tip."""
    pairs = [f"[{_plain(x)}, {_plain(y)}]" for x, y in at]
    return pairs[0] if len(pairs) == 1 else f"[{', '.join(pairs)}]"


def _keys(table: Any, keys: dict[str, Key], unit: str) -> Iterator[str]:
    for name, key in keys.items():
        value = getattr(table, name, None)
        if key.mark in (TOLERANCE, EDGE):
            share = getattr(table, name + SHARE, None)
            if share is not None:
                yield f"{name} = {quoted(f'{_plain(share, 2)} %')}"
                continue
        if value is None or (not key.required and value == key.default):
            continue
        if holds_items(key):
            yield f"{name} = {_items(value, unit)}"
        else:
            yield f"{name} = {written(value, key, unit)}"


def written(value: Any, key: Key, unit: str) -> str:
    """Return a value, in SI, as it is written in a plan; `unit` is the step's."""
    if isinstance(value, dict) and key.mark == "chances":
        return "{ " + ", ".join(f"{quoted(name)} = {each!r}" for name, each in value.items()) + " }"
    if isinstance(value, dict):
        return (
            "{ " + ", ".join(f"{quoted(name)} = {quoted(_amount(each, 'ohm'))}" for name, each in value.items()) + " }"
        )
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and key.mark in ("limit", "target", TOLERANCE, EDGE):
        return quoted(_amount(value, unit))
    if isinstance(value, float) and key.mark in _OWN_UNITS and (key.mark != "s" or 1e-6 <= value < 1e9):
        return quoted(_amount(value, _OWN_UNITS[key.mark]))
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, tuple):
        return "[" + ", ".join(written(each, key, unit) for each in value) + "]"
    return quoted(str(value))


def _items(items: tuple[Item, ...], unit: str) -> str:
    """Return items as a list: names alone drawn together where nothing else is known of any, else a table each."""
    rows = [list(_keys(item, keys_of(Item), unit)) for item in items]
    if all(len(row) == 1 for row in rows):
        return "[" + ", ".join(quoted(name) for name in compressed(item.name for item in items)) + "]"
    return "[\n" + "".join(f"  {{ {', '.join(row)} }},\n" for row in rows) + "]"


def _amount(value: float, unit: str) -> str:
    """Return "2.187 kohm": exact, with the prefix that leaves one to three digits before the point."""
    if unit in ("s", "%", "degC", "") or value == 0.0:
        return f"{_plain(value)} {unit}".rstrip()
    size = Decimal(repr(abs(value)))
    if unit == "ohm" and size >= Decimal("0.01"):
        size = max(size, Decimal(1))  # "0.5 ohm": nobody on a bench says 500 mohm
    power, prefix = next(((p, name) for p, name in _PREFIXES if size >= Decimal(1).scaleb(p)), _PREFIXES[-1])
    return f"{_plain(value, -power)} {prefix}{unit}"


def _plain(value: float, power: int = 0) -> str:
    """Return value × 10^power in plain digits, exactly."""
    number = Decimal(repr(value)).scaleb(power).normalize()
    return f"{number:f}"
