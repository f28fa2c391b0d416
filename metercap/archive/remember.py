"""Reads a file once: what it gave is kept, and taken again where the file is as it was."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable
from pathlib import Path

from metercap.archive.store import Kept, Store
from metercap.errors import FileProblem
from metercap.files import open_file

_FRESH_S = 3.0
"""A file changed so lately may be changed again within one tick of its time: then only its bytes tell."""


def remembered(store: Store, what: str, path: Path, make: Callable[[], bytes]) -> bytes:
    """Return what `make` makes of a file, or what it made before where that is the same. `what` names the maker.

    The file is the same by size and time of change, or by its bytes (SHA-256). Raises FileProblem where it cannot be
    read, and whatever `make` raises.
    """
    key, stat = key_of(path), _stat_of(path)
    kept = store.recall(what, key)
    if kept is not None and kept.stat and kept.stat == stat:
        return kept.data
    sha256 = _sha256_of(path)
    data = kept.data if kept is not None and kept.sha256 and kept.sha256 == sha256 else make()
    if _stat_of(path) != stat:  # it changed while it was read: nobody knows whose bytes these were
        stat = sha256 = ""
    store.keep(what, key, Kept("" if _fresh(path) else stat, sha256, data))
    return data


def key_of(path: Path) -> bytes:
    """Return the name under which a file's content is kept."""
    return os.fsencode(path.absolute())


def _stat_of(path: Path) -> str:
    """Return size and time of change. FileProblem for a file that is not there."""
    try:
        found = path.stat()
    except OSError as error:
        raise _unreadable(path, error) from error
    return f"{found.st_size},{found.st_mtime_ns}"


def _sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal (FIPS 180-4)."""
    try:
        with open_file(path) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise _unreadable(path, error) from error


def _fresh(path: Path) -> bool:
    return abs(time.time() - path.stat().st_mtime) < _FRESH_S


def _unreadable(path: Path, error: OSError) -> FileProblem:
    return FileProblem(f"cannot be read: {error.strerror or error}", where=str(path))
