"""Boards for looking and testing: a picture of our own, and the GC-8's fuses on its back."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from PIL import Image

from metercap.planfile import read_plan
from metercap.plankeys.picture import Point, placed
from metercap.profiles import find_plan
from metercap.view import Board, Mark, Sheet, State

GREEN = (18, 74, 56)
PLAN = "greenhouse-controller"


def plain(folder: Path, size: tuple[int, int] = (400, 300)) -> Sheet:
    """Write a green picture, and return what a plan says of it."""
    folder.mkdir(exist_ok=True)
    path = folder / "front.png"
    Image.new("RGB", size, GREEN).save(path)
    return Sheet(path.name, "front", "", hashlib.sha256(path.read_bytes()).hexdigest())


def board(sheet: Sheet, places: Mapping[str, tuple[Point, ...]], lit: str, **stands: State) -> Board:
    """A board of one picture with places; `lit` is next, the others stand as said, else open."""
    marks = []
    for name, at in places.items():
        stood = stands.get(name, State.OPEN)
        marks.append(Mark(name, 0, at, State.NEXT if name == lit else stood, stood))
    return Board((sheet,), "fuses", 0 if lit in places else None, tuple(marks))


def fuses(lit: str, **stands: State) -> Board:
    """The fuses of the GC-8's plan."""
    plan = read_plan(find_plan(PLAN))
    where = placed(plan.pictures, plan.steps)
    marks = []
    for (step, name), places in where.items():
        if step == "fuses":
            stood = stands.get(name, State.OPEN)
            marks += [Mark(name, at.picture, at.at, State.NEXT if name == lit else stood, stood) for at in places]
    shows = next((mark.picture for mark in marks if mark.item == lit), None)
    sheets = tuple(Sheet(each.file, each.side, each.title, each.sha256) for each in plan.pictures)
    return Board(sheets, "fuses", shows, tuple(marks))
