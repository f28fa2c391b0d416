"""A plan as people read it: every step with what it asks, its items, limits and cautions, in plain lines. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from metercap.gate import visible
from metercap.plan.expected import items_of
from metercap.plan.fields import SHARE, UNIT, Key, holds_items, keys_of, kind_of
from metercap.plan.model import Plan, Step
from metercap.plankeys import Item
from metercap.quantity import counted, format_value
from metercap.quantity.names import compressed

APART = ("id", "say", "cautions", "power")
"""Keys that have their own place."""
_OWN = {"min": "at least", "max": "at most"}


def plan_lines(plan: Plan) -> Iterator[str]:
    """Return the lines that show a plan, control characters escaped, without line ends.

    What a step leaves to its defaults stands together in its last line.
    """
    yield visible(plan.title + (f", model {plan.model}" if plan.model else ""))
    supply = "loose parts, no supply" if plan.supply == "none" else "a unit with a supply"
    yield f"  {supply}; rule {plan.rule}"
    for caution in plan.cautions:
        yield visible(f"  ! {caution}")
    for symptom in plan.symptoms:
        yield visible(f"  symptom: {symptom}")
    for word, ohm in plan.tokens.items():
        yield visible(f"  token {word}: {format_value(ohm, 'ohm')}")
    for n, step in enumerate(plan.steps, 1):
        yield ""
        yield from _step(n, step)
    for picture in plan.pictures:
        yield ""
        what = f", {picture.title}" if picture.title else ""
        count = len(picture.at)
        yield visible(f"picture {picture.file}: {picture.side}{what}; {counted(count, 'place')} on it")


def _step(n: int, step: Step) -> Iterator[str]:
    yield visible(f"{n:3}. {step.id}: {kind_of(step)}" + (", power on" if step.power == "on" else ""))
    if step.say:
        yield visible(f"     “{step.say}”")
    for caution in step.cautions:
        yield visible(f"     ! {caution}")
    unit = getattr(step, UNIT, "") or (step.wanted[0].unit if step.wanted else "")
    usual = []
    for key in sorted(keys_of(type(step)).values(), key=lambda key: key.name == "rule"):
        if key.name in APART:
            continue
        if holds_items(key):
            yield from _items(step, unit)
            continue
        text = _value(step, key, unit)
        if text and not key.required and getattr(step, key.name) == key.default:
            usual.append(f"{key.name} {text}")
        elif text:
            yield visible(f"     {key.name}: {text}")
    if usual:
        yield visible(f"     by default: {', '.join(usual)}")


def _items(step: Step, unit: str) -> Iterator[str]:
    """One line for the plain ones, one for each lot that shares its details."""
    lots: dict[str, list[str]] = {}
    for item in items_of(step):
        lots.setdefault(_item(item, unit), []).append(item.name)
    head = f"     {counted(len(items_of(step)), 'item')}:"
    plain = lots.pop("", [])
    yield visible(f"{head} {', '.join(compressed(plain))}".rstrip())
    for more, names in lots.items():
        yield visible(f"       {', '.join(compressed(names))}: {more}")


def _item(item: Item, unit: str) -> str:
    parts = [item.where, item.say]
    parts += [f"{tip} on {at}" for tip, at in (("red", item.red), ("black", item.black)) if at]
    parts += ["both ways"] if item.both_ways else []
    parts += [f"connected: {item.connected}"] if item.connected else []
    if item.rating is not None:
        parts.append(f"fuse {format_value(item.rating, 'A')} {item.type or ''}".rstrip())
    elif item.type is not None:
        parts.append(f"fuse, {item.type} type")
    for name, words in _OWN.items():
        value = getattr(item, name)
        if value is not None:
            parts.append(f"{words} {format_value(value, unit or 'ohm')}")
    return "; ".join(part for part in parts if part)


def _value(step: Step, key: Key, unit: str) -> str:
    """Return a key's value as it would be written, or nothing where there is nothing to say."""
    value: Any = getattr(step, key.name)
    if key.mark == "tolerance":
        share = getattr(step, key.name + SHARE, None)
        return f"± {format_value(100.0 * share, '%')}" if share is not None else f"± {format_value(value, unit)}"
    if key.mark == "edge" and (share := getattr(step, key.name + SHARE, None)) is not None:
        return f"{format_value(100.0 * share, '%')} of the value aimed at"
    if value is None or value in ((), "", {}):
        return ""
    if isinstance(value, dict):
        return ", ".join(f"{symptom}: {format_value(100.0 * chance, '%')}" for symptom, chance in value.items())
    if key.mark == "minutes":
        return f"{value:g}"
    if key.mark == "teardown" and isinstance(value, int):
        return f"level {value}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if key.mark == "share":
        return format_value(100.0 * value, "%")
    if isinstance(value, float):
        return format_value(value, unit if key.mark in ("limit", "target", "edge") else key.mark)
    if isinstance(value, tuple) and value and isinstance(value[0], tuple):
        return "; ".join(", ".join(compressed(group)) for group in value)
    return ", ".join(compressed(value)) if isinstance(value, tuple) else str(value)
