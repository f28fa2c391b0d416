"""Files of a marking: pictures made new beside the plan, and the plan itself, whole or not at all."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from pathlib import Path

from metercap.errors import FileProblem, PlanError
from metercap.files import new_file

ROOM = "choose a folder that exists, is yours to write in, and has room"
CHANGED = "the plan file was changed since it was read here"


class Changed(PlanError):
    """The plan's file is not the one that was read."""


def sha_of(path: Path) -> str:
    """Return the SHA-256 of a plan's file; "" where there is none."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def new_picture(folder: Path, stem: str, side: str, data: bytes) -> Path:
    """Write a picture under a free name of its own beside the plan; one that is there with just these bytes serves."""
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", stem).strip("-") or "board"
    for n in range(1, 10_000):
        path = folder / (f"{plain}-{side}.jpg" if n == 1 else f"{plain}-{side}-{n}.jpg")
        if path.is_file() and path.read_bytes() == data:
            return path
        if os.path.lexists(path):
            continue
        with new_file(path) as temporary:
            temporary.write_bytes(data)
        return path
    raise FileProblem("no name is free any more for a picture", where=str(folder), hint="tidy the folder")


def rewrite(path: Path, text: str, expected: str) -> str:
    """Put `text` in a plan file's place and return its hash. Changed unless the file is still the one `expected`.

    The file keeps its permissions, and a link stays one. FileProblem where it cannot be written; it is as it was then.
    """
    real = path.resolve()
    temporary = real.with_name(f".{real.name}.{os.getpid()}.part")
    data = text.encode("utf-8")
    try:
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(real.stat().st_mode & 0o7777)
        if sha_of(real) != expected:
            raise Changed(CHANGED, where=str(path), hint="take up the new file, then save again")
        temporary.replace(real)
    except OSError as error:
        raise FileProblem(f"cannot be written: {error.strerror or error}", where=str(path), hint=ROOM) from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink()
    return hashlib.sha256(data).hexdigest()


def put(path: Path, data: bytes) -> None:
    """Write a file of the draft, whole or not at all. FileProblem where that cannot be."""
    temporary = path.with_name(f"{path.name}.part")
    try:
        path.parent.mkdir(exist_ok=True)
        with temporary.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            temporary.unlink()
        why = f"not kept: {error.strerror or error}"
        raise FileProblem(why, where=str(path.parent), hint="make room, then do it again") from error
