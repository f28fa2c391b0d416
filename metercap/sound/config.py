"""How loud, through what, and what is spoken: one small TOML file in the platform's folder for settings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import msgspec

from metercap import settings

Choice = Literal["auto", "device", "system", "bell", "none"]


class SoundConfig(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is heard.

    `volume` from 0 to 1. `mute` silences everything but keeps the rest. `player`: `device` plays through the sound
    card (the extra `sound`), `system` through the system's own player, `bell` rings the terminal, `auto` takes the
    first that works. `speech` speaks items and values where a speech engine exists, `voice` names its voice,
    `words_per_min` its pace. `tone` is the one that follows a trimmer.
    """

    volume: Annotated[float, msgspec.Meta(ge=0.0, le=1.0)] = 0.6
    mute: bool = False
    player: Choice = "auto"
    tone: bool = True
    speech: bool = True
    voice: Annotated[str, msgspec.Meta(max_length=40, pattern=r"^[A-Za-z0-9+_-]*$")] = ""
    words_per_min: Annotated[int, msgspec.Meta(ge=80, le=400)] = 170


def config_path() -> Path:
    """Return where the file is, whether it exists or not."""
    return settings.folder() / "sound.toml"


def load_config(path: Path | None = None) -> SoundConfig:
    """Read the file; the defaults when there is none. FileProblem, naming the key, when it cannot be used."""
    place = config_path() if path is None else path
    return settings.read_toml(place, SoundConfig, "sound settings") or SoundConfig()


def save_config(config: SoundConfig, path: Path | None = None) -> Path:
    """Write the file, whole or not at all, and return where it is. FileProblem when it cannot be written."""
    place = config_path() if path is None else path
    lines = ["# How metercap sounds; see `metercap sound --help`."]
    for name, value in msgspec.to_builtins(config).items():
        # Only plain words, numbers and switches: JSON's way to write them is TOML's too.
        lines.append(f"{name} = {msgspec.json.encode(value).decode()}")
    return settings.write_lines(place, lines, "sound settings")
