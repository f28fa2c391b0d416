"""Pictures in a report: the pixels and nothing else of a file, and nothing that only looks like a picture.

What is left of a file is looked for in its bytes: the segments of JPEG (ITU-T T.81, annex B) and the chunks of PNG (W3C
PNG specification, chapter 11) are walked here by hand.
"""

from __future__ import annotations

import base64
import io
import os
import struct
import sys
import zlib
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, PngImagePlugin

from metercap.errors import FileProblem
from metercap.report.document import Photo
from metercap.report.photos import LONG_SIDE, photo, photos_in

SECRET = b"51.4779N 0.0015W"
"""A place, as a camera would write it (Greenwich, from memory)."""


def jpeg(path: Path, size: tuple[int, int] = (320, 200), **more: Any) -> Path:
    """Write a JPEG with a red left half and a blue right half."""
    picture = Image.new("RGB", size, (0, 0, 220))
    picture.paste((220, 0, 0), (0, 0, size[0] // 2, size[1]))
    picture.save(path, "JPEG", **more)
    return path


def told(shown: Photo) -> bytes:
    """Return the bytes that go into the page."""
    return base64.b64decode(shown.data)


def segments(data: bytes) -> list[int]:
    """Return the markers of a JPEG's segments before its scan."""
    assert data[:2] == b"\xff\xd8"
    found, at = [], 2
    while data[at + 1] != 0xDA:
        found.append(data[at + 1])
        at += 2 + int(struct.unpack(">H", data[at + 2 : at + 4])[0])
    return found


def pixel(shown: Photo, x: float, y: float) -> tuple[int, ...]:
    """Return a pixel at a fraction of width and height."""
    picture = Image.open(io.BytesIO(told(shown)))
    found = picture.getpixel((int(x * picture.width), int(y * picture.height)))
    assert isinstance(found, tuple)
    return found


def test_what_a_camera_writes_is_gone(tmp_path: Path) -> None:
    """Place, comment and colour profile, and bytes behind the picture: of the segments only those of the image stay."""
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()
    path = jpeg(tmp_path / "a.jpg", exif=exif, comment=SECRET, icc_profile=SECRET * 10)
    with path.open("ab") as file:
        file.write(b"PK\x03\x04" + SECRET)
    assert path.read_bytes().count(SECRET) > 3
    data = told(photo(path))
    assert SECRET not in data
    assert not [marker for marker in segments(data) if 0xE1 <= marker <= 0xEF or marker == 0xFE]
    assert data.endswith(b"\xff\xd9")


def test_what_a_png_tells_is_gone(tmp_path: Path) -> None:
    """Texts and time in chunks of their own; what was transparent becomes white, not black."""
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Location", SECRET.decode())
    path = tmp_path / "a.png"
    Image.new("RGBA", (40, 30), (0, 0, 0, 0)).save(path, "PNG", pnginfo=texts)
    assert SECRET in path.read_bytes()
    shown = photo(path)
    assert SECRET not in told(shown)
    assert min(pixel(shown, 0.5, 0.5)) > 250


def test_it_stands_upright(tmp_path: Path) -> None:
    """Turned by what the camera says (Exif 2.3, orientation 6: its top is on the right), before that is thrown away."""
    exif = Image.Exif()
    exif[0x0112] = 6
    shown = photo(jpeg(tmp_path / "a.jpg", exif=exif))
    assert (shown.width, shown.height) == (200, 320)
    assert pixel(shown, 0.5, 0.1)[0] > 180 and pixel(shown, 0.5, 0.9)[2] > 180


def test_it_is_made_small(tmp_path: Path) -> None:
    """A photograph of 12 megapixels becomes as wide as a page needs, its sides in the same ratio; small ones stay."""
    shown = photo(jpeg(tmp_path / "a.jpg", (4000, 3000)))
    assert (shown.width, shown.height) == (LONG_SIDE, round(LONG_SIDE * 3 / 4))
    assert len(shown.data) < 1_000_000
    assert (photo(jpeg(tmp_path / "b.jpg")).width, photo(tmp_path / "b.jpg").title) == (320, "b.jpg")


def bomb(path: Path, width: int, height: int, pixels: bytes = b"\0" * 10**6) -> Path:
    """Write a grey PNG of a few bytes that says it is so large; what it holds are the `pixels`."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = chunk(b"IHDR", head), chunk(b"IDAT", zlib.compress(pixels)), chunk(b"IEND", b"")
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(parts))
    return path


@pytest.mark.attack
def test_hostile_pictures_are_refused(tmp_path: Path, attack: Any) -> None:
    """Bombs, other files by a picture's name, torn and empty ones: each refused by name, none of them decoded."""
    good = jpeg(tmp_path / "good.jpg").read_bytes()
    texts = PngImagePlugin.PngInfo()
    texts.add_text("a", "\0" * 200_000_000, zip=True)
    cases: dict[str, bytes | None] = {
        "gif.jpg": None,
        "tiff.png": None,
        "page.jpg": b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        "program.png": b"#!/bin/sh\nrm -rf /\n",
        "empty.png": b"",
        "torn.jpg": good[: len(good) // 2],
        "head.jpg": good[:12],
        "large.png": bomb(tmp_path / "x.png", 60_000, 60_000).read_bytes(),
        "wide.png": bomb(tmp_path / "x.png", 2**31 - 1, 1).read_bytes(),
        "many.png": bomb(tmp_path / "x.png", 6_000, 5_000, b"\0" * 6_001 * 5_000).read_bytes(),
        "none.png": bomb(tmp_path / "x.png", 0, 0).read_bytes(),
    }
    Image.new("RGB", (4, 4)).save(tmp_path / "gif.jpg", "GIF")
    Image.new("RGB", (4, 4)).save(tmp_path / "tiff.png", "TIFF")
    Image.new("RGB", (4, 4)).save(tmp_path / "text.png", "PNG", pnginfo=texts)
    trials = attack("hostile pictures")
    for name, data in [*cases.items(), ("text.png", None)]:
        path = tmp_path / name
        if data is not None:
            path.write_bytes(data)
        with trials.trial():
            with pytest.raises(FileProblem) as refused:
                photo(path)
            assert name in str(refused.value)


@pytest.mark.skipif(sys.platform == "win32", reason="no pipes of that kind")
def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    """A pipe that nobody writes to is not waited for; a folder and a missing file are told."""
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "folder.jpg").mkdir()
    for name in ("pipe.jpg", "folder.jpg", "missing.jpg"):
        with pytest.raises(FileProblem):
            photo(tmp_path / name)


def test_pictures_of_a_folder(tmp_path: Path) -> None:
    """By name, whatever the case of their endings; nothing else that lies there."""
    for name in ("b.JPG", "a.jpeg", "c.png", "job.toml", "001-L.jsonl", "d.svg"):
        (tmp_path / name).write_bytes(b"")
    assert [path.name for path in photos_in(tmp_path)] == ["a.jpeg", "b.JPG", "c.png"]
