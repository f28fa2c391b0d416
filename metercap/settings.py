"""The user's settings: small files in the platform's folder for settings, read whole and written whole.

What people edit is TOML (sound, pedals, meter profiles); what the program remembers by itself is JSON, typed, and
never worth failing for: a remembered file that cannot be read counts as empty, and `recall` says why.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import TypeVar

import msgspec

from metercap.errors import FileProblem
from metercap.gate import storable

T = TypeVar("T")

LARGEST_BYTES = 1_000_000


def folder() -> Path:
    """Return the folder for settings, whether it exists or not."""
    import platformdirs

    return platformdirs.user_config_path("metercap", appauthor=False)


def cache_folder() -> Path:
    """Return the folder for what may be deleted at any time, since it can be made anew; whether it exists or not."""
    import platformdirs

    return platformdirs.user_cache_path("metercap", appauthor=False)


def read_toml(place: Path, model: type[T], what: str) -> T | None:
    """Read a TOML file as `model`; None when there is none. FileProblem, naming `what`, when it cannot be used."""
    try:
        text = place.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise FileProblem(f"the {what} cannot be read: {error}", where=str(place)) from error
    try:
        return msgspec.convert(tomllib.loads(text), model)
    except (tomllib.TOMLDecodeError, RecursionError, msgspec.ValidationError) as error:
        hint = "mend the line, or remove the file to have the defaults"
        raise FileProblem(f"the {what} say something unknown: {error}", where=str(place), hint=hint) from error


def write_lines(place: Path, lines: Sequence[str], what: str) -> Path:
    """Write a file, whole or not at all, and return where it is. FileProblem when it cannot be written."""
    draft = place.with_name(place.name + ".tmp")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        draft.write_text("\n".join([*lines, ""]), encoding="utf-8")
        draft.replace(place)
    except OSError as error:
        raise FileProblem(f"the {what} cannot be written: {error}", where=str(place)) from error
    return place


def recall(name: str, model: type[T]) -> tuple[T | None, str]:
    """Return what was remembered under `name` (None when nothing), and why it could not be used (empty when it could).

    A missing file is no trouble; a broken or oversized one is told and counts as empty.
    """
    place = folder() / f"{name}.json"
    try:
        with place.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
        if len(data) > LARGEST_BYTES:
            return None, f"{place} is larger than {LARGEST_BYTES} bytes and is passed over"
        return msgspec.json.decode(data, type=model), ""
    except FileNotFoundError:
        return None, ""
    except (OSError, msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        return None, f"{place} cannot be used and is passed over: {error}"


def remember(name: str, value: msgspec.Struct) -> str:
    """Keep `value` under `name`; return why it could not be kept, empty when it was. It never fails a session."""
    data = storable(msgspec.to_builtins(value))
    text = msgspec.json.format(msgspec.json.encode(data), indent=1).decode()
    try:
        write_lines(folder() / f"{name}.json", text.splitlines(), "remembered settings")
    except FileProblem as error:
        return str(error)
    return ""
