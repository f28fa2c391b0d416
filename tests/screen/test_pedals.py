"""Learned pedals are kept: a round trip, odd keys, and refusals."""

from __future__ import annotations

from pathlib import Path

import pytest

from metercap.errors import FileProblem
from metercap.screen.keyboard import Act, Keyboard
from metercap.screen.pedals import load_pedals, pedals_path, save_pedal


def test_kept_and_used(tmp_path: Path) -> None:
    """What was learned is there the next time, and says its word."""
    place = tmp_path / "deep" / "pedals.toml"
    assert load_pedals(place) == {}
    for key, word in (("f13", "yes"), ('"', "skip"), ("ä = 1\\", "open"), ("f13", "pass")):
        save_pedal(key, word, place)
    kept = load_pedals(place)
    assert kept == {'"': "skip", "ä = 1\\": "open", "f13": "pass"}
    assert Keyboard(pedals=kept).press("f13", 0.0) == Act("word", "pass", source="pedal")


@pytest.mark.parametrize("text", ['"f13" = "dance"', "f13 = 7", "f13 =", '"f13" = "note"'])
def test_refused(tmp_path: Path, text: str) -> None:
    """A word that is none, or one that needs an argument, names the file."""
    place = tmp_path / "pedals.toml"
    place.write_text(text)
    with pytest.raises(FileProblem) as caught:
        load_pedals(place)
    assert str(place) in str(caught.value)


def test_not_writable(tmp_path: Path) -> None:
    """A place that cannot be written is told."""
    (tmp_path / "file").write_text("")
    with pytest.raises(FileProblem):
        save_pedal("f13", "yes", tmp_path / "file" / "pedals.toml")
    assert pedals_path().name == "pedals.toml"
