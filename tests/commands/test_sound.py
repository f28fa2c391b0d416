"""`metercap sound`: settings kept, shown and refused; a rehearsal that ends."""

from __future__ import annotations

import sys
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner, Result

from metercap.commands.sound import command
from metercap.errors import UsageError
from metercap.sound import config


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the settings of whoever runs the tests out of it."""
    monkeypatch.setattr(config, "config_path", lambda: tmp_path / "sound.toml")
    return tmp_path / "sound.toml"


def said(*args: str) -> Result:
    """Run the command in process, its errors raised."""
    return CliRunner().invoke(command, list(args), standalone_mode=False, catch_exceptions=False)


def test_changes_are_kept_and_shown(own_folder: Path) -> None:
    """A second call reads what the first one wrote."""
    said("--volume", "0.25", "--no-speech", "--mute", "--show")
    kept = msgspec.json.decode(said("--json").output)
    assert (kept["volume"], kept["speech"], kept["mute"]) == (0.25, False, True)
    assert own_folder.is_file()


def test_a_voice_that_could_be_an_option_is_refused(own_folder: Path) -> None:
    """The voice goes to another program: only plain names pass."""
    with pytest.raises(UsageError):
        said("--voice", "x; rm")
    assert not own_folder.exists()


def test_an_unknown_cue_names_the_known_ones() -> None:
    """With what to try next."""
    with pytest.raises(UsageError) as caught:
        said("--cue", "bang")
    assert "hazard" in str(caught.value)


def test_one_cue_is_played_with_its_meaning() -> None:
    """Through no player at all, so that it can be tested anywhere."""
    said("--player", "none", "--no-speech", "--show")
    lines = said("--cue", "go").output.splitlines()
    assert lines == ["player: none", "go: the lift is certain: touch the next item"]


def test_a_player_that_does_not_work_is_told() -> None:
    """What plays instead is named, and why; one that was asked for and plays is named alone."""
    said("--player", "device", "--no-speech", "--show")
    first = said("--cue", "go").output.splitlines()[0]
    if first != "player: device":
        assert first.startswith("player: ") and "device" in first
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "miniaudio", None)
        first = said("--cue", "go").output.splitlines()[0]
    assert first.startswith(("player: system", "player: bell"))
    assert "device" in first and "pip install 'metercap[sound]'" in first


@pytest.mark.parametrize("quiet", ["--show", "--json"])
def test_what_plays_nothing_takes_no_cue(quiet: str) -> None:
    """One of two options that exclude each other would do nothing."""
    with pytest.raises(UsageError) as caught:
        said("--cue", "go", quiet)
    assert caught.value.where == "--cue"


def test_the_voice_is_told_in_plain_words() -> None:
    """Which option, and what it takes."""
    with pytest.raises(UsageError) as caught:
        said("--voice", "x y")
    assert caught.value.where == "--voice"
    assert "letters" in str(caught.value) and "regex" not in str(caught.value)
