"""Learned pedals: which key says which word, in one small TOML file in the platform's folder for settings."""

from __future__ import annotations

import tomllib
from pathlib import Path

import msgspec
import platformdirs

from metercap.errors import FileProblem
from metercap.words import WORDS

MOST_PEDALS = 16
_SAYABLE = {word.name for word in WORDS if not word.takes}


def pedals_path() -> Path:
    """Return where the file is, whether it exists or not."""
    return platformdirs.user_config_path("metercap", appauthor=False) / "pedals.toml"


def load_pedals(path: Path | None = None) -> dict[str, str]:
    """Read the file: word by key ("b", "f13"); empty when there is none. FileProblem when it cannot be used."""
    place = pedals_path() if path is None else path
    try:
        rows = msgspec.convert(tomllib.loads(place.read_text(encoding="utf-8")), dict[str, str])
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, msgspec.ValidationError) as error:
        raise FileProblem(f"the learned pedals cannot be read: {error}", where=str(place), hint="remove it") from error
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
    draft = place.with_suffix(".tmp")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        draft.write_text("\n".join(["# Keys that pedals type, and what they say.", *quoted, ""]), encoding="utf-8")
        draft.replace(place)
    except OSError as error:
        raise FileProblem(f"the learned pedals cannot be written: {error}", where=str(place)) from error
    return place
