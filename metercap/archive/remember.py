"""Reads files once: what they gave is kept, and taken again where they are as they were."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

import msgspec

from metercap.archive.store import Damaged, Kept, Store
from metercap.errors import FileProblem
from metercap.files import open_file

Made = TypeVar("Made")
_FRESH_S = 3.0
"""A file changed so lately may be changed again within one tick of its time: then only its bytes tell."""


def remembered(store: Store, what: str, paths: Sequence[Path], make: Callable[[], bytes]) -> Kept:
    """Return what `make` makes of files, or what it made before where they are the same. `what` names the maker.

    A file is the same by size and time of change, or by its bytes. `sha256` (a file's SHA-256 in hexadecimal, several
    with commas) is empty where one changed while it was read. Raises FileProblem where one cannot be read, and whatever
    `make` raises.
    """
    key, stat = key_of(*paths), _stat_of(paths)
    kept = store.recall(what, key)
    if kept is not None and kept.stat and kept.stat == stat:
        return kept
    sha256 = ",".join(_sha256_of(path) for path in paths)
    data = kept.data if kept is not None and kept.sha256 and kept.sha256 == sha256 else make()
    if _stat_of(paths) != stat:  # it changed while it was read: nobody knows whose bytes these were
        stat = sha256 = ""
    made = Kept("" if any(_fresh(path) for path in paths) else stat, sha256, data)
    store.keep(what, key, made)
    return made


def decoded(data: bytes, kind: type[Made]) -> Made:
    """Return what `make` made, as it was before it became bytes. Damaged where it is no such thing."""
    try:
        return msgspec.msgpack.decode(data, type=kind)
    except msgspec.MsgspecError as error:
        raise Damaged(f"a row cannot be read: {error}") from error


def key_of(*paths: Path) -> bytes:
    """Return the name under which the content of files is kept."""
    return b"\0".join(os.fsencode(path.absolute()) for path in paths)


def _stat_of(paths: Sequence[Path]) -> str:
    """Return size and time of change of each. FileProblem for a file that is not there."""
    found = []
    for path in paths:
        try:
            status = path.stat()
        except OSError as error:
            raise _unreadable(path, error) from error
        found.append(f"{status.st_size},{status.st_mtime_ns}")
    return ";".join(found)


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
