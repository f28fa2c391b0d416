"""Pictures of a plan: places that name nothing, and items that have no place. Pure: no file is looked into."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from metercap.plan.model import Plan, Step
from metercap.plan.places import Path
from metercap.plan.problems import Problem, spelled
from metercap.plankeys import ItemsStep, Picture, SafeStep
from metercap.plankeys.picture import MOST_PICTURES, placeable, placed
from metercap.quantity.names import compressed
from metercap.quantity.numbers import shown
from metercap.spelling import near


def read_pictures(
    raw: object,
    steps: Sequence[Step] | None,
    table: Callable[[type[Picture], dict[str, Any], Path], dict[str, Any]],
    error: Callable[[Path, str, str], None],
) -> tuple[Picture, ...]:
    """Return the pictures that a plan file holds; what is wrong goes to `error`, one picture after the other.

    `table` reads one table's keys. What places name must be an item of `steps`; None where these could not be read.
    """
    if not isinstance(raw, list):
        error(("picture",), "a table is wanted", "write [[picture]], one for each picture")
        return ()
    if len(raw) > MOST_PICTURES:
        error(("picture",), f"more than {MOST_PICTURES} pictures", "make several plans")
    pictures = []
    for n, each in enumerate(raw[:MOST_PICTURES]):
        if not isinstance(each, dict):
            error(("picture", n), "a table is wanted", "write [[picture]] and its keys under it")
            continue
        values = table(Picture, each, ("picture", n))
        pictures.append(Picture(**{"file": "", **values}))  # a problem was told where there is no file
    for path, what, hint in lost(pictures, steps) if steps is not None else ():
        error(path, what, hint)
    return tuple(pictures)


def lost(pictures: Sequence[Picture], steps: Sequence[Step]) -> Iterator[tuple[Path, str, str]]:
    """Yield what pictures say that fits no step: path, what is wrong, what to write; a file named twice as well."""
    ways = {key: step for step in steps for key, _ in placeable(step)}
    several = {step.id: step for step in steps if step.id not in ways}
    files: dict[str, int] = {}
    for n, picture in enumerate(pictures):
        first = files.setdefault(picture.file.casefold(), n)
        if first != n and picture.file:
            yield ("picture", n, "file"), f"is the file of picture {first + 1} too", "name each once"
        for key in picture.at:
            if key in ways:
                continue
            place: Path = ("picture", n, "at", key)
            if key in several:
                names = [name for name, _ in placeable(several[key])]
                yield place, "that step has more than one item", f'write "{names[0]}"'
                continue
            step, _, item = key.partition("/")
            known = list(ways)
            if item and not any(each.id == step for each in steps):
                yield place, f"no step {shown(step)}", near(step, [each.id for each in steps]) or near(key, known)
            else:
                what = f"no item {shown(item)} in step {shown(step)}" if item else f"no step {shown(step)}"
                yield place, what, near(key, known) or 'write it as "step/item"'


def unplaced(plan: Plan) -> Iterator[Problem]:
    """Yield a warning for each step with items that are on none of the plan's pictures, where it has any."""
    if not plan.pictures:
        return
    known = placed(plan.pictures, plan.steps)
    for n, step in enumerate(plan.steps):
        names = [item.name for item in step.items] if isinstance(step, ItemsStep) else []
        key = "items"
        if isinstance(step, SafeStep):
            names, key = list(step.points), "points"
        missing = [name for name in names if (step.id, name) not in known]
        if missing:
            path = ("step", n, key)
            what = f"on none of the pictures: {', '.join(compressed(missing))}"
            yield Problem(
                "warning", path, spelled(path, {n: step.id}), what, "metercap plan mark PLAN gives them a place"
            )
