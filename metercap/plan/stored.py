"""What a stored plan cannot hold: the questions that a plan file's reader asks of written values, asked of SI numbers.

A journal's first record holds a plan as numbers, so nothing reads their units again; but a file that came from
elsewhere may say anything. Only what no step can work with is refused here: a plan that could be run stays good.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import msgspec
from msgspec import inspect

from metercap.plan.fields import holds_items, keys_of
from metercap.plan.model import Plan, Step
from metercap.plan.values import MOST_COUNT, MOST_MINUTES
from metercap.plankeys.picture import BOTH_TIPS

LARGEST = 1e24
"""In SI; no meter's value and no wait comes near it."""
LONGEST_S = 1e8
"""Three years."""
FROM_ZERO = ("ohm", "A", "tolerance")
"""Marks of what is never negative."""


def impossible(plan: Plan) -> Iterator[str]:
    """Yield what is wrong with a plan, each as "step ID: key: what"."""
    known: dict[str, None] = {}
    for step in plan.steps:
        where = f"step {step.id!r}"
        if not step.id.strip():
            yield f"{where}: id: is empty"
        if step.id in known:
            yield f"{where}: id: stands at another step too"
        known[step.id] = None
        for problem in _of_step(step):
            yield f"{where}: {problem}"
    for n, picture in enumerate(plan.pictures, 1):
        for name, points in picture.at.items():
            shares = [share for point in points for share in point]
            if not 1 <= len(points) <= BOTH_TIPS or not all(0.0 <= share <= 1.0 for share in shares):
                yield f"picture {n}: {name!r}: no place on a picture"
    for word, ohm in plan.tokens.items():
        if not 0.0 < ohm < LARGEST:
            yield f"tokens: {word!r}: must be above 0"


def _of_step(step: Step) -> Iterator[str]:
    for name, key in keys_of(type(step)).items():
        value = getattr(step, name, None)
        if holds_items(key):
            yield from _of_items(value or (), key.required)
        elif key.mark == "chances":
            if not all(0.0 < chance < 1.0 for chance in step.finds.values()):
                yield f"{name}: a chance must be between 0 and 1"
        elif isinstance(key.type, inspect.IntType):
            if isinstance(value, int) and not 1 <= value <= MOST_COUNT:
                yield f"{name}: must be a count from 1 to {MOST_COUNT}"
        elif isinstance(value, float):
            yield from _of_number(name, key.mark, value)
    for name in step.__struct_fields__:  # shares of tolerances, which no file writes
        value = getattr(step, name)
        if name.endswith("_share") and isinstance(value, float) and not 0.0 <= value < LARGEST:
            yield f"{name}: must be 0 or above"


def _of_items(items: tuple[msgspec.Struct, ...], required: bool) -> Iterator[str]:
    if required and not items:
        yield "items: there are none"
    names: dict[str, None] = {}
    for item in items:
        name = getattr(item, "name", "")
        if not name.strip():
            yield "items: one has no name"
        if name in names:
            yield f"items: {name!r} stands twice"
        names[name] = None
        for key, value in ((key, getattr(item, key)) for key in item.__struct_fields__):
            if isinstance(value, float) and not abs(value) < LARGEST:
                yield f"items: {name!r}: {key}: is no number that a meter shows"


def _of_number(name: str, mark: str, value: float) -> Iterator[str]:
    if not math.isfinite(value) or abs(value) >= LARGEST:
        yield f"{name}: is no number that a meter shows"
    elif mark == "s" and not 0.0 <= value <= LONGEST_S:
        yield f"{name}: must be a time from 0 to {LONGEST_S:g} s"
    elif mark == "minutes" and not 0.0 < value <= MOST_MINUTES:
        yield f"{name}: must be a time above 0 min, up to {MOST_MINUTES:g}"
    elif mark == "share" and not 0.0 < value < 1.0:
        yield f"{name}: must be between 0 and 1"
    elif mark in FROM_ZERO and value < 0.0:
        yield f"{name}: must be 0 or above"
