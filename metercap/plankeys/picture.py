"""Plan keys of `[[picture]]`: a picture of the board, and where on it each item is probed.

A place is written in fractions of the file as it is stored, x from the left and y from the top, so that it holds at any
size; of an item whose tips go to two places, the red tip's first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal, TypeAlias

import msgspec
from msgspec import Meta

from metercap.plankeys.base import StepBase, says
from metercap.plankeys.walk import REVERSED

Point: TypeAlias = tuple[float, float]
Points = Annotated[tuple[Point, ...], Meta(extra={"as": "points"})]
"""One place for both tips, or one for each: red, black."""

BOTH_TIPS = 2
SHA_EXAMPLE = f'"{"0123456789abcdef" * 4}"'
MOST_PICTURES = 16
"""Pictures of a plan."""


class Picture(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A picture that lies beside the plan file, and the places on it, by step or step/item.

    A step's name alone stands for the step's own verdict, or for its only item. `sha256` is of the file that was
    marked: on any other one nothing is lit.
    """

    file: Annotated[
        str, Meta(extra={"as": "file"}), says("The picture's file, JPEG or PNG, beside the plan.", '"front.png"')
    ]
    side: Annotated[Literal["front", "back"], says("Which side of the board it shows.", '"back"')] = "front"
    title: Annotated[str, says("What it shows.", '"Main board, cover off"')] = ""
    sha256: Annotated[
        str,
        Meta(extra={"as": "sha256"}),
        says("The file's SHA-256, in hex: on another file nothing is lit.", SHA_EXAMPLE),
    ] = ""
    at: Annotated[
        dict[str, Points],
        says(
            "Where each item is, by step or step/item: x and y in fractions, or a pair for each tip, red first.",
            '{ "fuses/F1" = [0.21, 0.4] }',
        ),
    ] = {}


class Where(msgspec.Struct, frozen=True):
    """Where an item is: on which of the plan's pictures, counted from 0, and at which points of it."""

    picture: int
    at: tuple[Point, ...]


def placeable(step: StepBase) -> Iterator[tuple[str, str]]:
    """Yield each way to name a place of this step, and the item that it means."""
    items = getattr(step, "items", ())
    names = [item.name for item in items] or list(step.item_names)
    for name in names:
        if name != step.id:
            yield f"{step.id}/{name}", name
    if step.id in names:
        yield step.id, step.id
    elif len(names) == 1:
        yield step.id, names[0]


def placed(pictures: Iterable[Picture], steps: Iterable[StepBase]) -> dict[tuple[str, str], tuple[Where, ...]]:
    """Return where items are, by step and item, in the order of the pictures; probed the other way, tips change."""
    found: dict[tuple[str, str], tuple[Where, ...]] = {}
    each = list(enumerate(pictures))
    if not any(picture.at for _, picture in each):
        return found
    for step in steps:
        for key, name in placeable(step):
            for number, picture in each:
                points = picture.at.get(key)
                if points and all(where.picture != number for where in found.get((step.id, name), ())):
                    found[step.id, name] = (*found.get((step.id, name), ()), Where(number, points))
        for item in step.item_names:
            if item not in (name for _, name in placeable(step)):
                there = found.get((step.id, item.removesuffix(REVERSED)), ())
                if there:
                    found[step.id, item] = tuple(Where(each.picture, each.at[::-1]) for each in there)
    return found
