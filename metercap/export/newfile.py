"""A new file that is there whole or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from metercap.errors import FileProblem


@contextmanager
def new_file(path: str | Path) -> Iterator[Path]:
    """Give the path of a temporary file in the same folder to write; on success it is synced and takes `path`'s name.

    Raises FileProblem when `path` exists, even if it came into being meanwhile, or cannot be written. Nothing
    is left behind after an error.
    """
    path = Path(path)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        if path.exists() or path.is_symlink():
            raise FileExistsError
        temporary.touch(exist_ok=False)
        try:
            yield temporary
            with temporary.open("rb+") as file:
                os.fsync(file.fileno())
            _take_name(temporary, path)
        finally:
            with contextlib.suppress(OSError):
                temporary.unlink()
    except FileExistsError:
        raise FileProblem("already exists", where=str(path), hint="name a new file") from None
    except OSError as error:
        raise FileProblem(
            f"cannot be written: {error.strerror or error}",
            where=str(path),
            hint="choose a folder that exists, is yours to write in, and has room",
        ) from error


def _take_name(temporary: Path, path: Path) -> None:
    try:
        os.link(temporary, path)  # fails when the name is taken, where renaming would replace that file
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if path.exists():
            raise FileExistsError from None
        temporary.rename(path)
