"""The GC-8's board as it is drawn: the same picture again, and every item of the plan where the picture shows it."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageStat

from metercap.plan import Plan
from metercap.plan.pictures import unplaced
from metercap.planfile import picture_problems, read_plan
from metercap.profiles import find_plan
from tests.plan.gc8_board import COPPER, FILES, FUSE, MASK, PLANS, STEEL, TITLES, TRACK, drawn, places, png, shares

NAME = "greenhouse-controller"


def plan() -> Plan:
    return read_plan(find_plan(NAME))


@pytest.mark.parametrize("side", FILES)
def test_the_pictures_are_those_that_are_drawn(side: str) -> None:
    """Drawn again it is the file's picture (colours within what a palette loses), and the file has the plan's hash."""
    file = PLANS / FILES[side]
    with Image.open(file) as stored:
        difference = ImageChops.difference(drawn(side), stored.convert("RGB"))
    assert max(ImageStat.Stat(difference).mean) < 1.0
    picture = next(each for each in plan().pictures if each.side == side)
    assert (picture.file, picture.title) == (file.name, TITLES[side])
    assert picture.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()


def test_drawing_is_the_same_every_time() -> None:
    """Nothing by chance: the same bytes twice."""
    assert png("back") == png("back")


def test_every_item_of_the_plan_has_its_place() -> None:
    """All that the plan probes is on a picture, at the layout's place; and nothing about the files is wrong."""
    found = plan()
    assert not list(unplaced(found))
    assert not list(picture_problems(found, find_plan(NAME)))
    for picture in found.pictures:
        wanted = places()[picture.side]
        assert {name: [list(point) for point in at] for name, at in picture.at.items()} == {
            name: shares(at) for name, at in wanted.items()
        }


@pytest.mark.parametrize("side", FILES)
def test_at_every_place_there_is_something_to_touch(side: str) -> None:
    """Around each place of the plan the file shows metal or a fuse, not bare board: both agree."""
    picture = next(each for each in plan().pictures if each.side == side)
    with Image.open(io.BytesIO((PLANS / picture.file).read_bytes())) as stored:
        pixels = stored.convert("RGB")
    for name, points in picture.at.items():
        for x, y in points:
            at = int(x * pixels.width), int(y * pixels.height)
            around = [pixels.getpixel((at[0] + dx, at[1] + dy)) for dx in (-9, 0, 9) for dy in (-9, 0, 9)]
            solid = [pixel for pixel in around if _near(pixel, COPPER) or _near(pixel, STEEL) or _near(pixel, FUSE)]
            assert solid, name
            assert not [pixel for pixel in around if _near(pixel, MASK) or _near(pixel, TRACK)] or len(points) > 1, name


def _near(pixel: object, colour: tuple[int, int, int]) -> bool:
    assert isinstance(pixel, tuple)
    return all(abs(one - other) < 24 for one, other in zip(pixel, colour, strict=True))


def test_a_job_takes_the_pictures_along(tmp_path: Path) -> None:
    """Copied to another machine it is whole; and a board's picture is no photograph of a unit in its report."""
    from metercap.commands._papers import papers_of
    from metercap.job.folder import make
    from metercap.job.model import JobFile, JobUnit

    folder = make(tmp_path / "job", JobFile("vent pair", "plan.toml", (JobUnit("L"),), "GC-8"), find_plan(NAME))
    assert not list(picture_problems(folder.plan(), folder.plan_path))
    Image.new("RGB", (8, 8)).save(folder.path / "L front.png")
    papers = papers_of(folder.path)
    assert papers is not None and [path.name for path in papers.dropped] == ["L front.png"]
