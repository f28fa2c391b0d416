"""Places: which step or item of a plan the operator names, or why that is none, with the nearest spelling."""

from __future__ import annotations

from collections.abc import Sequence

from metercap.plankeys import StepBase
from metercap.quantity.names import compressed
from metercap.spelling import near

Place = tuple[StepBase, str]
"""A step and the name of one of its items."""


def step_named(text: str, steps: Sequence[StepBase]) -> StepBase | str:
    """Return the step of that id, case aside, or why there is none."""
    wanted = text.strip().casefold()
    for step in steps:
        if step.id.casefold() == wanted:
            return step
    return f"no step {text.strip()!r}: {_nearest(wanted, [step.id for step in steps])}"


def item_named(text: str, steps: Sequence[StepBase], here: str) -> Place | str:
    """Return the item, named alone or as STEP/ITEM, or why there is none; the step `here` is looked at first.

    A name that several other steps have is none.
    """
    found = _found(text, steps, here)
    if len(found) == 1:
        return found[0]
    if found:
        ways = " or ".join(f"{step.id}/{name}" for step, name in found)
        return f"{found[0][1]} is in more than one step: {ways}"
    in_turn = sorted(steps, key=lambda step: step.id != here)
    names = [name for step in in_turn for name in step.item_names]
    names += [f"{step.id}/{name}" for step in in_turn for name in step.item_names]
    mine = in_turn[0].item_names if in_turn and in_turn[0].id == here else ()
    there = f"; this step has {mine[0]} to {mine[-1]}" if len(mine) > 1 else ""
    return f"no item {text.strip()!r}: {_nearest(text.strip().casefold(), names)}{there}"


def item_and_text(text: str, steps: Sequence[StepBase], here: str) -> tuple[StepBase, str, str] | str:
    """Return the item that a text begins with and what follows it, or why there is none; the longest name counts."""
    words = text.split()
    for n in range(len(words), 0, -1):
        head = " ".join(words[:n])
        if _found(head, steps, here):
            found = item_named(head, steps, here)
            return found if isinstance(found, str) else (*found, " ".join(words[n:]))
    found = item_named(words[0] if words else "", steps, here)
    assert isinstance(found, str)
    return found


def _found(text: str, steps: Sequence[StepBase], here: str) -> list[Place]:
    """Return every item so named; of the step `here` alone where it has one."""
    wanted = text.strip().casefold()
    found = [(step, name) for step in steps for name in step.item_names if name.casefold() == wanted]
    mine = [place for place in found if place[0].id == here]
    if mine or found:
        return mine or found
    return [
        (step, name)
        for step in steps
        for name in step.item_names
        if "/" in wanted and f"{step.id}/{name}".casefold() == wanted.replace(" / ", "/")
    ]


def _nearest(wanted: str, names: Sequence[str]) -> str:
    """Return the nearest of these names as a question, or what there is."""
    return near(wanted, names) or f"there are {', '.join(compressed(dict.fromkeys(names)))[:200]}"
