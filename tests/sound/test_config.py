"""The settings file: defaults without one, a round trip, and refusals that name the key."""

from __future__ import annotations

from pathlib import Path

import pytest

from metercap.errors import FileProblem
from metercap.sound.config import SoundConfig, config_path, load_config, save_config


def test_defaults_without_a_file(tmp_path: Path) -> None:
    """No file is no error."""
    assert load_config(tmp_path / "none.toml") == SoundConfig()


def test_round_trip(tmp_path: Path) -> None:
    """What is saved is loaded, and the folder is made."""
    config = SoundConfig(
        volume=0.25, mute=True, player="bell", tone=False, speech=False, voice="en-gb", words_per_min=200
    )
    place = save_config(config, tmp_path / "deep" / "sound.toml")
    assert load_config(place) == config
    assert not list(place.parent.glob("*.tmp"))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("volume = 7", "volume"),
        ('player = "loud"', "player"),
        ("loudness = 1", "loudness"),
        ("volume = ", "Invalid"),
        ('voice = "en; rm -rf /"', "voice"),
        ("words_per_min = 9000", "words_per_min"),
    ],
)
def test_refused(tmp_path: Path, text: str, told: str) -> None:
    """A wrong value names its key and its file, and says what to try."""
    place = tmp_path / "sound.toml"
    place.write_text(text)
    with pytest.raises(FileProblem) as caught:
        load_config(place)
    assert told in str(caught.value) and str(place) in str(caught.value) and "try:" in str(caught.value)


def test_not_readable(tmp_path: Path) -> None:
    """A folder in its place, or bytes that are no text, are told, not raised raw."""
    with pytest.raises(FileProblem):
        load_config(tmp_path)
    (tmp_path / "sound.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(FileProblem):
        load_config(tmp_path / "sound.toml")
    (tmp_path / "file").write_text("")
    with pytest.raises(FileProblem):
        save_config(SoundConfig(), tmp_path / "file" / "sound.toml")


def test_platform_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The file lies in the platform's folder for settings (XDG Base Directory on Linux)."""
    import sys

    assert config_path().name == "sound.toml"
    if sys.platform == "linux":
        monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
        assert config_path() == tmp_path / "metercap" / "sound.toml"
