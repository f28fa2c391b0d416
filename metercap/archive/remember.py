"""Reads files once: what they gave is kept, and taken again where they are as they were."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from metercap.archive.store import Kept, Store
from metercap.errors import FileProblem
from metercap.files import open_file

_BLOCK = 1 << 20
_FRESH_S = 3.0
"""A file changed so lately may be changed again within one tick of its time: then only its bytes tell."""


def remembered(store: Store, what: str, key: bytes, paths: Sequence[Path], make: Callable[[], bytes]) -> bytes:
    """Return what `make` makes of files, or what it made before where they are the same. `what` names the maker.

    The files are the same by size and time of change, or by their bytes (SHA-256). Raises FileProblem for one that
    cannot be read, and whatever `make` raises.
    """
    stat = stat_of(paths)
    kept = store.recall(what, key)
    if kept is not None and kept.stat and kept.stat == stat:
        return kept.data
    sha256 = sha256_of(paths)
    data = kept.data if kept is not None and kept.sha256 and kept.sha256 == sha256 else make()
    if stat_of(paths) != stat:  # it changed while it was read: nobody knows whose bytes these were
        stat = sha256 = ""
    store.keep(what, key, Kept("" if _fresh(paths) else stat, sha256, data))
    return data


def key_of(path: Path) -> bytes:
    """Return the name under which a file's content is kept."""
    return os.fsencode(path.absolute())


def stat_of(paths: Sequence[Path]) -> str:
    """Return sizes and times of change. FileProblem for a file that is not there."""
    parts = []
    for path in paths:
        try:
            found = path.stat()
        except OSError as error:
            raise _unreadable(path, error) from error
        parts.append(f"{found.st_size},{found.st_mtime_ns}")
    return ";".join(parts)


def sha256_of(paths: Sequence[Path]) -> str:
    """Return the SHA-256 of one file, or of the sums of several, in hexadecimal (FIPS 180-4)."""
    if len(paths) != 1:
        return hashlib.sha256("\n".join(sha256_of([path]) for path in paths).encode()).hexdigest()
    found = hashlib.sha256()
    try:
        with open_file(paths[0]) as file:
            while block := file.read(_BLOCK):
                found.update(block)
    except OSError as error:
        raise _unreadable(paths[0], error) from error
    return found.hexdigest()


def _fresh(paths: Sequence[Path]) -> bool:
    return any(abs(time.time() - path.stat().st_mtime) < _FRESH_S for path in paths)


def _unreadable(path: Path, error: OSError) -> FileProblem:
    return FileProblem(f"cannot be read: {error.strerror or error}", where=str(path))
