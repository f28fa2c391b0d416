"""Where a journal goes on, or is saved, when its own file cannot be used; and how it is found by its first name.

The name of such a file says which journal it stands for: `rescued-KEY-NAME`, where KEY comes from the first file's
whole path. So nothing has to be written beside the first file, whose disk may be full. Whoever opens the first name
gets the rescued file, unless the first one is whole: it must begin with the very same record.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from metercap.journal.format import FIRST, MAX_LINE

_MOST = 20
"""How many rescued files of one name are told apart."""
_END = b'{"kind":"end",'


def folders(path: Path) -> list[Path]:
    """Return the folders that a rescued file may stand in, best first: its own, the temporary one, the home."""
    found = [path.absolute().parent, Path(tempfile.gettempdir())]
    with contextlib.suppress(RuntimeError):  # nobody's home
        found.append(Path.home())
    return list(dict.fromkeys([*found, Path.cwd()]))


def names(path: Path, folder: Path) -> Iterator[Path]:
    """Yield the names that rescued files of `path` have in a folder, first made first."""
    key = hashlib.sha256(os.fsencode(path.absolute())).hexdigest()[:8]
    for number in range(1, _MOST + 1):
        yield folder / f"rescued-{key}{'' if number == 1 else f'-{number}'}-{path.name}"


def found(path: Path) -> Path:
    """Return the file to open for a journal's name: itself, or the newest that stands for it where it is not whole."""
    if _ends(path):
        return path
    first = _first_line(path)
    best = path
    for folder in folders(path):
        for name in names(path, folder):
            if not os.path.lexists(name):
                break
            if _is_mine(name) and (line := _first_line(name)) and (line == first or not first):
                best = name
        if best != path:
            return best
    return path


def _is_mine(path: Path) -> bool:
    """Whether a file is this user's own: in a shared folder anybody could have put one there."""
    try:
        status = path.lstat()
    except OSError:
        return False
    return not hasattr(os, "getuid") or status.st_uid == os.getuid()


def _first_line(path: Path) -> bytes:
    """Return a journal's first line; b"" where the file has none."""
    try:
        if not path.is_file():
            return b""
        with path.open("rb") as file:
            line = file.readline(MAX_LINE)
    except OSError:
        return b""
    return line if line.startswith(FIRST) and line.endswith(b"\n") else b""


def _ends(path: Path) -> bool:
    """Whether the last line of a file is an end record. Anything that is no plain file is left to who opens it."""
    try:
        if not path.is_file():
            return path.exists()
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(0, size - 4096))
            tail = file.read()
    except OSError:
        return False
    return tail.endswith(b"\n") and tail[:-1].rpartition(b"\n")[2].startswith(_END)
