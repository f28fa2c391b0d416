"""Pictures beside a plan: found by name and hash, refused where they are none. What photographs need is in the report's
own tests."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from metercap.errors import FileProblem
from metercap.pictures import beside, clean, faults, matching, read, sha256
from metercap.planfile import picture_problems, read_plan

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
file = "front.png"
SHA
[picture.at]
"fuses/F1" = [0.1, 0.2]
"""


def picture(path: Path, colour: str = "green", kind: str = "PNG", **more: Any) -> str:
    """Write a picture, and return its SHA-256 by the standard library."""
    Image.new("RGB", (40, 30), colour).save(path, kind, **more)
    return hashlib.sha256(path.read_bytes()).hexdigest()


def plan_with(folder: Path, sha: str = "") -> Path:
    path = folder / "plan.toml"
    path.write_text(PLAN.replace("SHA", f'sha256 = "{sha}"' if sha else ""), encoding="utf-8")
    return path


def problems(path: Path) -> list[tuple[str, str, str]]:
    found = picture_problems(read_plan(path), path)
    return [(str(each.path[-1]), each.what, each.severity) for each in found]


def test_a_sound_picture(tmp_path: Path) -> None:
    """Its hash fits and it can be drawn: nothing to say, and its bytes are found."""
    sha = picture(tmp_path / "front.png")
    path = plan_with(tmp_path, sha)
    assert problems(path) == []
    assert matching("front.png", sha, [tmp_path / "elsewhere", tmp_path]) == (tmp_path / "front.png").read_bytes()


def test_another_picture_lights_nothing_and_says_so(tmp_path: Path) -> None:
    """The file was exchanged: the plan's check and whoever would draw it say so, and no bytes are given."""
    sha = picture(tmp_path / "front.png")
    path = plan_with(tmp_path, sha)
    other = picture(tmp_path / "front.png", "red")
    ((key, what, severity),) = problems(path)
    assert (key, severity) == ("sha256", "warning") and "nothing is lit" in what
    assert other in next(iter(picture_problems(read_plan(path), path))).hint
    with pytest.raises(FileProblem, match="nothing is lit"):
        matching("front.png", sha, [tmp_path])
    (tmp_path / "good").mkdir()
    assert picture(tmp_path / "good" / "front.png") == sha
    assert sha256(matching("front.png", sha, [tmp_path, tmp_path / "good"])) == sha, "the right one lies elsewhere"


def test_a_plan_without_a_hash_records_the_file_of_the_day(tmp_path: Path) -> None:
    """So that a session's record tells which picture it was; the check says what to write, on the file's own plan."""
    sha = picture(tmp_path / "front.png")
    path = plan_with(tmp_path)
    assert read_plan(path).pictures[0].sha256 == sha
    with pytest.raises(FileProblem):
        matching("front.png", "", [tmp_path])


def test_a_picture_that_is_not_there(tmp_path: Path) -> None:
    """The plan can be run all the same."""
    path = plan_with(tmp_path, "ab" * 32)
    ((key, what, severity),) = problems(path)
    assert (key, severity) == ("file", "warning") and "nothing is lit" in what and "cannot be read" in what
    assert read_plan(plan_with(tmp_path)).pictures[0].sha256 == ""
    with pytest.raises(FileProblem, match="is not there"):
        matching("front.png", "ab" * 32, [tmp_path])


@pytest.mark.attack
def test_hostile_files_beside_a_plan(tmp_path: Path, attack: Any) -> None:
    """Other things by a picture's name: each is told as a warning, none is decoded, and nothing hangs."""
    good = tmp_path / "good.jpg"
    picture(good, kind="JPEG")
    exif = Image.Exif()
    exif[0x0112] = 6
    picture(tmp_path / "turned.jpg", kind="JPEG", exif=exif)
    head = b"\x89PNG\r\n\x1a\n" + b"\0\0\0\rIHDR" + (60_000).to_bytes(4, "big") * 2 + b"\x08\0\0\0\0" + b"\0" * 4
    cases = {
        "svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        "empty": b"",
        "torn": good.read_bytes()[:300],
        "huge": head,
        "turned": (tmp_path / "turned.jpg").read_bytes(),
    }
    trials = attack("hostile pictures beside a plan")
    for name, data in cases.items():
        with trials.trial():
            (tmp_path / "front.png").write_bytes(data)
            said = problems(plan_with(tmp_path, hashlib.sha256(data).hexdigest()))
            assert [key for key, _, _ in said] == ["file"], name
    assert "turn is not baked in" in said[0][1]


@pytest.mark.skipif(sys.platform == "win32", reason="no links without a privilege, no such pipes")
def test_what_leads_away(tmp_path: Path) -> None:
    """A link out of the folder, a link in a circle, a pipe and a folder by a picture's name."""
    home = tmp_path / "home"
    home.mkdir()
    sha = picture(tmp_path / "secret.png")
    front = home / "front.png"
    ways: tuple[Callable[[], None], ...] = (
        lambda: front.symlink_to(tmp_path / "secret.png"),
        lambda: front.symlink_to(front),
        lambda: os.mkfifo(front),
        lambda: front.mkdir(),
    )
    for make in ways:
        make()
        ((key, what, _),) = problems(plan_with(home, sha))
        assert key == "file" and "nothing is lit" in what
        with pytest.raises(FileProblem):
            matching("front.png", sha, [home])
        front.rmdir() if front.is_dir() and not front.is_symlink() else front.unlink()
    picture(home / "real.png")
    front.symlink_to("real.png")
    assert beside(home, "front.png") == front, "a link to a picture beside the plan is one"
    (home / "round").symlink_to(home)
    with pytest.raises(FileProblem):
        beside(home, "round/real.png")


@pytest.mark.parametrize("name", ["../secret.png", "/etc/hostname", "a/b.png", "..", "\0"])
def test_names_that_climb(tmp_path: Path, name: str) -> None:
    """A journal from elsewhere may hold any name: none of them leaves the folder."""
    picture(tmp_path / "secret.png")
    (tmp_path / "home").mkdir()
    with pytest.raises(FileProblem):
        read(beside(tmp_path / "home", name))


def test_a_board_stays_as_it_is_stored(tmp_path: Path) -> None:
    """Drawn anew without what a camera wrote, but not turned: its places are fractions of the stored file."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010E] = "a place"
    path = tmp_path / "a.jpg"
    picture(path, kind="JPEG", exif=exif)
    data, width, height = clean(path.read_bytes(), path, 1000, upright=False)
    assert (width, height) == (40, 30) and b"a place" not in data
    assert clean(path.read_bytes(), path, 1000, upright=True)[1:] == (30, 40)
    assert faults(path.read_bytes(), path) == "its camera's turn is not baked in: it lies on its side"


def test_no_decoder_but_those_of_photographs_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library knows dozens of formats; whoever sends a file does not choose which of its decoders reads it."""
    asked: list[str] = []

    def probe(*_: object) -> Image.Image:
        asked.append("probe")
        raise SyntaxError("not mine")

    Image.init()
    monkeypatch.setattr(Image, "ID", [*Image.ID, "PROBE"])
    monkeypatch.setitem(Image.OPEN, "PROBE", (probe, None))
    for formats in (("JPEG", "PNG"), ("JPEG", "PNG", "WEBP")):
        with pytest.raises(FileProblem):
            clean(b"no picture at all", Path("photo"), 100, upright=True, formats=formats)
    assert asked == []
