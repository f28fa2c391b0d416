"""Learned pedals: which key says which word, in one small TOML file in the platform's folder for settings."""

from __future__ import annotations

from pathlib import Path

import msgspec

from metercap import settings
from metercap.errors import FileProblem
from metercap.words import WORDS

MOST_PEDALS = 16
_SAYABLE = {word.name for word in WORDS if not word.takes}


def pedals_path() -> Path:
    """Return where the file is, whether it exists or not."""
    return settings.folder() / "pedals.toml"


def load_pedals(path: Path | None = None) -> dict[str, str]:
    """Read the file: word by key ("b", "f13"); empty when there is none. FileProblem when it cannot be used."""
    place = pedals_path() if path is None else path
    rows = settings.read_toml(place, dict[str, str], "learned pedals") or {}
    for key, word in rows.items():
        if word not in _SAYABLE:
            raise FileProblem(f"key {key!a} says {word!a}, which is no word", where=str(place), hint="remove the line")
    return rows


def save_pedal(key: str, word: str, path: Path | None = None) -> Path:
    """Add a pedal to the file, or change it, and return where the file is. FileProblem when it cannot be written."""
    place = pedals_path() if path is None else path
    rows = load_pedals(place)
    rows.pop(key, None)
    rows = dict([*rows.items(), (key, word)][-MOST_PEDALS:])
    # Keys and words are strings, and JSON's way to write a string is TOML's basic string too.
    quoted = [" = ".join(msgspec.json.encode(part).decode() for part in row) for row in rows.items()]
    return settings.write_lines(place, ["# Keys that pedals type, and what they say.", *quoted], "learned pedals")
