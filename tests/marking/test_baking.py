"""Photographs as they are stored: upright, no larger than needed, turned and cut as asked, and nothing else in them.

EXIF 2.3, orientation: 6 says that the top of the scene is at the file's right side, so the file is shown turned a
quarter clockwise.
"""

from __future__ import annotations

import io
from typing import Any

import pytest

from metercap.errors import FileProblem
from tests.report.test_photos import bomb

Image = pytest.importorskip("PIL.Image", reason="without the extra pictures")

from metercap.marking.baking import drawn, size, taken  # noqa: E402
from metercap.marking.spots import WHOLE  # noqa: E402

RED, GREEN, BLUE, WHITE = (220, 0, 0), (0, 200, 0), (0, 0, 220), (250, 250, 250)


def corners(width: int = 400, height: int = 200, kind: str = "JPEG", **more: Any) -> bytes:
    """A picture whose quarters are red and green above, blue and white below."""
    picture = Image.new("RGB", (width, height))
    half, low = width // 2, height // 2
    for colour, where in ((RED, (0, 0)), (GREEN, (half, 0)), (BLUE, (0, low)), (WHITE, (half, low))):
        picture.paste(colour, (*where, where[0] + half, where[1] + low))
    out = io.BytesIO()
    picture.save(out, kind, **more)
    return out.getvalue()


def seen(data: bytes) -> list[str]:
    """Colours of the four corners: above from the left, then below."""
    picture = Image.open(io.BytesIO(data)).convert("RGB")
    width, height = picture.size
    names = {RED: "red", GREEN: "green", BLUE: "blue", WHITE: "white"}
    spots = ((9, 9), (width - 9, 9), (9, height - 9), (width - 9, height - 9))

    def nearest(colour: tuple[int, ...]) -> str:
        return names[min(names, key=lambda known: sum((a - b) ** 2 for a, b in zip(known, colour, strict=True)))]

    return [nearest(picture.getpixel(spot)) for spot in spots]


def test_the_cameras_turn_is_baked_in_and_nothing_else_stays() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "a camera with a name"
    data = corners(exif=exif, comment=b"taken at home")
    assert b"a camera with a name" in data and b"taken at home" in data
    stored, width, height = taken(data, "photo.jpg")
    assert (width, height) == (200, 400)
    assert seen(stored) == ["blue", "red", "white", "green"]
    assert b"camera" not in stored and b"home" not in stored and b"Exif" not in stored


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "JPEG"])
def test_each_format_becomes_jpeg(kind: str) -> None:
    stored, width, height = taken(corners(kind=kind), "photo")
    assert stored.startswith(b"\xff\xd8\xff") and (width, height) == (400, 200) == size(stored, "photo")
    assert seen(stored) == ["red", "green", "blue", "white"]


def test_a_large_one_is_made_smaller() -> None:
    assert taken(corners(4800, 1200), "photo")[1:] == (2400, 600)


def test_a_turn_and_a_cut() -> None:
    """Clockwise the left edge comes to the top: blue above red. Then the left half, red's column, is taken."""
    data, width, height = drawn(corners(), "photo", 1, WHOLE)
    assert ((width, height), seen(data)) == ((200, 400), ["blue", "red", "white", "green"])
    data, width, height = drawn(corners(), "photo", 3, WHOLE)
    assert ((width, height), seen(data)) == ((200, 400), ["green", "white", "red", "blue"])
    data, width, height = drawn(corners(), "photo", 1, (0.5, 0.0, 1.0, 0.5))
    assert ((width, height), seen(data)) == ((100, 200), ["red"] * 4)
    assert drawn(corners(), "photo", 4, WHOLE)[0] == corners()


def test_a_cut_that_leaves_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="smaller than"):
        drawn(corners(), "photo", 0, (0.0, 0.0, 0.1, 1.0))


@pytest.mark.attack
def test_hostile_photographs(tmp_path: Any, attack: Any) -> None:
    """Bombs, torn files and formats with more in them than a picture."""
    cases = {
        "bomb": bomb(tmp_path / "x.png", 60_000, 60_000).read_bytes(),
        "line": bomb(tmp_path / "x.png", 2**31 - 1, 1).read_bytes(),
        "no pixels": bomb(tmp_path / "x.png", 0, 0).read_bytes(),
        "gif": corners(kind="GIF"),
        "tiff": corners(kind="TIFF"),
        "svg": b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        "postscript": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n",
        "page": b"\xff\xd8\xff<html><script>alert(1)</script>",
        "torn": corners()[:400],
        "torn webp": corners(kind="WEBP")[:60],
        "empty": b"",
    }
    trials = attack("hostile photographs on the marking page")
    for name, data in cases.items():
        with trials.trial(), pytest.raises(FileProblem):
            taken(data, name)
