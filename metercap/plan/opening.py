"""What must be open before a step: the steps that its `teardown` names, or all that open its level and those below.

`plan check` asks here what is wrong with it, room `order` what comes first. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from metercap.plankeys import StepBase
from metercap.plankeys.base import MOST_LEVELS
from metercap.spelling import near


class Wrong(msgspec.Struct, frozen=True):
    """What is wrong with one key of the step at place `at` (from 0)."""

    at: int
    key: str
    what: str
    hint: str = ""


def opened_by(steps: Sequence[StepBase], step: StepBase) -> tuple[str, ...]:
    """Return the ids of the steps that must be done right before a step, in the plan's order; unknown ones left out.

    Where several steps open one level, each of them is needed (the screws, then the lid).
    """
    named = dict.fromkeys(step.teardown if isinstance(step.teardown, tuple) else ())
    level = _level(step)
    return tuple(
        each.id
        for each in steps
        if each.id in named or (each.opens is not None and each.opens <= level and each.id != step.id)
    )


def _level(step: StepBase) -> int:
    """Return the level that must be open before a step; 0 for none."""
    return max(step.teardown if isinstance(step.teardown, int) else 0, (step.opens or 1) - 1)


def wrong_openings(steps: Sequence[StepBase]) -> Iterator[Wrong]:
    """Yield what is wrong: what no step is or opens, levels out of reach, and circles."""
    ids = [step.id for step in steps]
    levels = {step.opens for step in steps}
    for index, step in enumerate(steps):
        wanted = range(1, min(_level(step), MOST_LEVELS) + 1)
        shut = next((level for level in wanted if level not in levels), None)
        if shut is not None:
            yield Wrong(
                index,
                "teardown" if step.teardown else "opens",
                f"no step opens level {shut}",
                f"write opens = {shut} at the step that does",
            )
        if step.opens is not None and step.opens > MOST_LEVELS:
            yield Wrong(index, "opens", f"levels go up to {MOST_LEVELS}, and this is {step.opens}")
        for name in step.teardown if isinstance(step.teardown, tuple) else ():
            if name not in ids:
                yield Wrong(index, "teardown", f'no step "{name}" opens anything', near(name, ids))
    circle = _circle(steps)
    if circle:
        index = ids.index(circle[0])
        key = "teardown" if steps[index].teardown else "opens"
        way = " needs ".join(f'"{name}"' for name in (*circle, circle[0]))
        yield Wrong(index, key, f"{way}: nothing can come first", "one of them must be open without the other")


def _circle(steps: Sequence[StepBase]) -> tuple[str, ...]:
    """Return the ids of steps that need each other in a circle, or nothing."""
    needs = {step.id: opened_by(steps, step) for step in steps}
    over: dict[str, None] = {}
    for start in needs:
        way: list[str] = []
        turns: list[Iterator[str]] = []
        now: str | None = start
        while now is not None or turns:
            if now is not None and now in way:
                return tuple(way[way.index(now) :])
            if now is not None and now not in over:
                way.append(now)
                turns.append(iter(needs[now]))
            now = next(turns[-1], None) if turns else None
            if now is None and turns:
                turns.pop()
                over[way.pop()] = None
    return ()
