"""Hostile pictures beside a plan: bombs, odd formats, other names, torn and stuffed files.

The plan's check says what is wrong, nothing is decoded beyond its bounds, and nothing that a file holds beside its
pixels goes on. PNG chunks are after the PNG specification (ISO/IEC 15948, 11.2 and 11.3), JPEG segments after ITU-T
T.81, annex B; both from memory.
"""

from __future__ import annotations

import hashlib
import io
import os
import struct
import subprocess
import sys
import time
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from metercap.errors import FileProblem
from metercap.pictures import LARGEST, MOST_PIXELS, clean, faults, opened, read
from metercap.planfile import picture_problems, read_plan
from tests.e2e.program import METERCAP, environment

PLAN = """
[plan]
title = "GC-8"
supply = "none"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F2"
max = "200 ohm"
[[picture]]
file = "NAME"
sha256 = "SHA"
[picture.at]
"fuses/F1" = [0.1, 0.2]
"fuses/F2" = [0.3, 0.2]
"""
SECRET = b"N 52 12 34 E 4 56 78"
SIGNATURE = b"\x89PNG\r\n\x1a\n"


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int, height: int, *more: bytes, rows: bytes | None = None, depth: int = 8, colour: int = 2) -> bytes:
    """A PNG by hand: its header, what is put before the pixels, and the pixels, of which `rows` need not be true."""
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour]
    size = (width * channels * depth + 7) // 8 + 1
    data = zlib.compress(bytes(size * height) if rows is None else rows, 9)
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return SIGNATURE + chunk(b"IHDR", head) + b"".join(more) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def saved(kind: str, mode: str = "RGB", size: tuple[int, int] = (40, 30), **more: Any) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size).save(out, kind, **more)
    return out.getvalue()


def segment(kind: int, data: bytes) -> bytes:
    return b"\xff" + bytes([kind]) + struct.pack(">H", len(data) + 2) + data


def stuffed(*segments: bytes) -> bytes:
    """A JPEG with segments before all others."""
    whole = saved("JPEG")
    return whole[:2] + b"".join(segments) + whole[2:]


BLOWN = zlib.compress(bytes(200_000_000), 9)
"""Two hundred million zeros in two hundred thousand bytes."""
LOOP = b"II*\0\x08\0\0\0" + b"\x01\0" + b"\x69\x87\x04\0\x01\0\0\0\x08\0\0\0" + b"\x08\0\0\0"
"""EXIF whose directory is its own sub-directory, and the next one too."""

REFUSED: dict[str, Callable[[], bytes]] = {
    "nothing": lambda: b"",
    "a text": lambda: b"[plan]\n",
    "markup": lambda: b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>",
    "a program for printers": lambda: b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n/showpage",
    "an animation": lambda: saved("GIF", "P"),
    "a bitmap": lambda: saved("BMP"),
    "a scan": lambda: saved("TIFF"),
    "an icon": lambda: saved("ICO"),
    "a header alone": lambda: SIGNATURE,
    "sides of sixty thousand": lambda: png(60_000, 60_000, rows=b"\0"),
    "one pixel more than is taken": lambda: png(5001, 5000, rows=b"\0"),
    "a JPEG's sides of sixty thousand": lambda: saved("JPEG").replace(
        struct.pack(">HH", 30, 40), struct.pack(">HH", 60_000, 60_000), 1
    ),
    "no height": lambda: png(40, 0),
    "fewer pixels than it says": lambda: png(400, 300, rows=b"\0" * 300),
    "pixels that are no deflate": lambda: (
        SIGNATURE
        + chunk(b"IHDR", struct.pack(">IIBBBBB", 40, 30, 8, 2, 0, 0, 0))
        + chunk(b"IDAT", b"\xff" * 90)
        + chunk(b"IEND", b"")
    ),
    "a JPEG cut in its header": lambda: saved("JPEG")[:160],
    "text that unfolds": lambda: png(40, 30, chunk(b"zTXt", b"Comment\0\0" + BLOWN)),
    "a profile that unfolds": lambda: png(40, 30, chunk(b"iCCP", b"x\0\0" + BLOWN)),
    "colours that no depth has": lambda: (
        SIGNATURE + chunk(b"IHDR", struct.pack(">IIBBBBB", 40, 30, 7, 9, 0, 0, 0)) + chunk(b"IEND", b"")
    ),
}
TAKEN: dict[str, Callable[[], bytes]] = {
    "a JPEG by a PNG's name": lambda: saved("JPEG"),
    "shades of grey": lambda: saved("PNG", "L"),
    "sixteen bits": lambda: saved("PNG", "I;16"),
    "two colours": lambda: saved("PNG", "1"),
    "see-through": lambda: saved("PNG", "RGBA"),
    "a palette with a hole": lambda: saved("PNG", "P", transparency=0),
    "print colours": lambda: saved("JPEG", "CMYK"),
    "progressive": lambda: saved("JPEG", progressive=True),
    "something behind its end": lambda: saved("PNG") + b"PK\x03\x04" + SECRET * 1000,
    "one row": lambda: png(20_000, 1),
    "one column": lambda: png(1, 20_000),
    "EXIF that goes round": lambda: stuffed(segment(0xE1, b"Exif\0\0" + LOOP)),
    "EXIF that is noise": lambda: stuffed(segment(0xE1, b"Exif\0\0" + bytes(range(256)) * 100)),
    "sixty thousand remarks": lambda: stuffed(*[segment(0xFE, b"x")] * 60_000),
    "frames of an animation": lambda: png(40, 30, chunk(b"acTL", struct.pack(">II", 0xFFFFFFFF, 0))),
}


def plan_beside(folder: Path, data: bytes, name: str = "front.png") -> Path:
    (folder / name).write_bytes(data)
    path = folder / "plan.toml"
    text = PLAN.replace("NAME", name).replace("SHA", hashlib.sha256(data).hexdigest())
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.attack
@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_board(tmp_path: Path, attack: Any, name: str) -> None:
    """Told as a warning of the plan, the plan itself can be run; quickly, and in words of ours."""
    path = plan_beside(tmp_path, REFUSED[name]())
    with attack("hostile pictures beside a plan").trial():
        begun_s = time.perf_counter()
        (problem,) = picture_problems(read_plan(path), path)
        assert time.perf_counter() - begun_s < 5.0
        assert (problem.severity, problem.path[-1]) == ("warning", "file")
        assert any(word in problem.what for word in ("no picture that can be read", "more than a photograph has"))
        with pytest.raises(FileProblem):
            clean((tmp_path / "front.png").read_bytes(), path, 1000, upright=False)


@pytest.mark.attack
@pytest.mark.parametrize("name", TAKEN)
def test_odd_ones_are_drawn_from_their_pixels(tmp_path: Path, attack: Any, name: str) -> None:
    """What is a picture, however odd, is taken; what goes on is a JPEG of its pixels, with nothing else in it."""
    data = TAKEN[name]()
    path = plan_beside(tmp_path, data)
    with attack("odd pictures beside a plan").trial():
        assert not list(picture_problems(read_plan(path), path))
        anew, width, height = clean(data, path, 500, upright=False)
        assert width <= 500 and height <= 500 and anew.startswith(b"\xff\xd8") and anew.endswith(b"\xff\xd9")
        assert SECRET not in anew and len(anew) < 20_000
        with Image.open(io.BytesIO(anew)) as again:
            assert (again.format, again.mode, again.size) == ("JPEG", "RGB", (width, height))


def test_what_cameras_write_goes_no_further(tmp_path: Path) -> None:
    """Place, remarks, profile, thumbnail and texts, of both kinds: in the file, and not in what is drawn anew."""
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()
    from PIL.PngImagePlugin import PngInfo

    texts = PngInfo()
    texts.add_text("Location", SECRET.decode())
    texts.add_itxt("XML:com.adobe.xmp", SECRET.decode())
    cases = [
        saved("JPEG", exif=exif, comment=SECRET, icc_profile=SECRET * 9),
        saved("PNG", exif=exif, pnginfo=texts, icc_profile=SECRET * 9),
        stuffed(segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + SECRET), segment(0xED, SECRET)),
    ]
    for data in cases:
        assert SECRET in data
        for upright in (True, False):
            anew = clean(data, tmp_path / "x", 500, upright=upright).data
            assert SECRET not in anew and b"Exif" not in anew and b"ICC_PROFILE" not in anew


def test_the_largest_are_taken_and_one_more_is_not() -> None:
    """A PNG of 25 million pixels, a JPEG of 51 million: what the largest photographs of telephones have."""
    assert opened(png(5000, 5000, rows=b"\0"), Path("x")).size == (5000, 5000)
    side = (7140, 7142)  # 50 993 880
    whole = saved("JPEG").replace(struct.pack(">HH", 30, 40), struct.pack(">HH", *side), 1)
    assert opened(whole, Path("x")).size[0] * opened(whole, Path("x")).size[1] <= MOST_PIXELS["JPEG"]
    over = saved("JPEG").replace(struct.pack(">HH", 30, 40), struct.pack(">HH", 7142, 7142), 1)
    with pytest.raises(FileProblem, match="more than a photograph has"):
        opened(over, Path("x"))


def test_a_file_without_end_is_not_read_whole(tmp_path: Path) -> None:
    """Forty million bytes are read, and one more to know; a file of a terabyte of nothing costs no more."""
    path = tmp_path / "front.png"
    with path.open("wb") as file:
        file.truncate(1 << 40)
    begun_s = time.perf_counter()
    with pytest.raises(FileProblem, match=f"longer than {LARGEST // 1_000_000} MB"):
        read(path)
    assert time.perf_counter() - begun_s < 5.0


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no account of a child's memory")
def test_a_bomb_takes_no_memory(tmp_path: Path) -> None:
    """`plan check` on the largest PNG that is taken, which unfolds to 100 MB, and on text that unfolds to 200 MB.

    The first is decoded whole, and stays under four times its pixels; of the second nothing is seen.
    """
    most = {}
    for name, data in (
        ("none", saved("PNG")),
        ("largest", png(5000, 5000, colour=6)),
        ("text", REFUSED["text that unfolds"]()),
    ):
        path = plan_beside(tmp_path, data)
        child = subprocess.Popen([*METERCAP, "plan", "check", str(path)], stdout=-3, stderr=-3, env=environment())
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        assert child.returncode == 0, name
        most[name] = usage.ru_maxrss * (1 if sys.platform == "darwin" else 1024)
    sys.stderr.write(f"\n{ {name: round(each / 1e6) for name, each in most.items()} } MB\n")
    assert most["largest"] - most["none"] < 400e6 and most["text"] - most["none"] < 20e6


def test_what_is_seen_through_is_white(tmp_path: Path) -> None:
    """A drawing of dark lines on nothing stays readable: paper is white."""
    anew = clean(saved("PNG", "RGBA"), tmp_path / "x", 500, upright=False).data
    with Image.open(io.BytesIO(anew)) as again:
        assert again.getpixel((20, 15)) == (255, 255, 255)


def test_the_name_says_nothing(tmp_path: Path) -> None:
    """A PNG by a JPEG's name is a PNG: its own bound holds, and so do its pixels."""
    path = plan_beside(tmp_path, png(5001, 5000, rows=b"\0"), "front.jpg")
    (problem,) = picture_problems(read_plan(path), path)
    assert "more than a photograph has" in problem.what
    assert faults(png(40, 30), path) == ""
