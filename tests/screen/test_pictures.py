"""The README's pictures: made by a command, of the real screen, and still what it draws."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.screen.pictures import MOMENTS, README, readme_pictures

LARGEST = 200_000


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The pictures as the screen draws them now."""
    return {path.stem: path.read_text() for path in readme_pictures(tmp_path_factory.mktemp("pictures"))}


def words(svg: str) -> str:
    """The text of a picture."""
    return " ".join(element.text or "" for element in ElementTree.fromstring(svg).iter() if element.text)


def test_each_says_what_it_is_for(made: dict[str, str]) -> None:
    """Tick and next item, distance to the band, k of n, and the keys of a person's hands."""
    assert "lift, then F9" in words(made["sweep"]) and "F12" in words(made["sweep"])
    assert "turn toward 2.187 kΩ" in words(made["trimmer"]) and "never below 1.2 kΩ" in words(made["trimmer"])
    assert "S1: press and hold (11 of 15" in words(made["switch"])
    assert "touch F7" in words(made["practice"]) and "tips in the air" in words(made["practice"])
    assert "fix the range" not in words(made["practice"])


def test_the_readme_shows_each_of_them() -> None:
    """Every picture in the folder is shown, every one shown is there, none is large."""
    text = (README.parents[1] / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"!\[[^\]]+\]\((fixtures/pictures/[\w-]+\.svg)\)", text)
    assert sorted(Path(path).stem for path in shown) == sorted(MOMENTS)
    assert sorted(path.stem for path in README.glob("*.svg")) == sorted(MOMENTS)
    assert all(path.stat().st_size < LARGEST for path in README.glob("*"))
    assert "python -m tests.screen.pictures" in text


@pytest.mark.slow
@pytest.mark.parametrize("name", MOMENTS)
def test_they_are_what_the_screen_draws_today(made: dict[str, str], name: str) -> None:
    """A picture that is out of date is made anew with `python -m tests.screen.pictures`, and looked at."""
    assert made[name] == (README / f"{name}.svg").read_text(encoding="utf-8"), f"{name}: remake the pictures"
