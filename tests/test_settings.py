"""Settings: whole or not at all; what is remembered never fails anything."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from metercap import settings
from metercap.errors import FileProblem


class Kept(msgspec.Struct, frozen=True):
    """Something remembered."""

    port: str
    rates: dict[str, float] = {}


@pytest.fixture(autouse=True)
def own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A folder of its own for the settings."""
    place = tmp_path / "settings"
    monkeypatch.setattr(settings, "folder", lambda: place)
    return place


def test_what_is_remembered_comes_back(own_folder: Path) -> None:
    """Nothing at first; then the same value, in one file and no draft beside it."""
    assert settings.recall("meters", Kept) == (None, "")
    kept = Kept("/dev/ttyUSB0", {"lcd14": 0.5})
    assert settings.remember("meters", kept) == ""
    assert settings.recall("meters", Kept) == (kept, "")
    assert [path.name for path in own_folder.iterdir()] == ["meters.json"]


@pytest.mark.parametrize(
    "data", [b"", b"{", b"\xff\xfe", b'{"port":7}', b"[" * 9000, b" " * 1_000_001, b'{"rates":{}}']
)
def test_a_broken_file_is_told_and_counts_as_empty(own_folder: Path, data: bytes) -> None:
    """Whatever lies there, nothing is raised, the place is named, and it can be written over."""
    own_folder.mkdir()
    (own_folder / "meters.json").write_bytes(data)
    value, why = settings.recall("meters", Kept)
    assert value is None
    assert str(own_folder / "meters.json") in why
    assert settings.remember("meters", Kept("a")) == ""
    assert settings.recall("meters", Kept) == (Kept("a"), "")


def test_a_folder_that_cannot_be_made_is_said(own_folder: Path) -> None:
    """A file stands where the folder should be: the reason comes back, nothing is raised."""
    own_folder.write_text("in the way")
    assert "cannot be written" in settings.remember("meters", Kept("a"))


def test_what_people_edit_is_refused_with_its_place(own_folder: Path) -> None:
    """TOML settings name the file, and say what to do."""
    own_folder.mkdir()
    place = own_folder / "pedals.toml"
    assert settings.read_toml(place, dict[str, str], "learned pedals") is None
    settings.write_lines(place, ["# mine", 'b = "skip"'], "learned pedals")
    assert settings.read_toml(place, dict[str, str], "learned pedals") == {"b": "skip"}
    place.write_text("b = [")
    with pytest.raises(FileProblem, match=r"learned pedals say something unknown") as raised:
        settings.read_toml(place, dict[str, str], "learned pedals")
    assert raised.value.where == str(place)
