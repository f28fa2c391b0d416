"""Files: opened only where they are files, and made new whole or not at all.

A pipe, a device or a folder in a file's place is refused before it is read.

A named pipe that nobody writes to holds its opener for ever, and a device may have no end; neither is what a journal, a
tape, a plan or a profile is kept in.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from io import DEFAULT_BUFFER_SIZE, BufferedReader, FileIO
from pathlib import Path

from metercap.errors import FileProblem, UsageError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_HELD = (errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK)


def open_file(path: Path, buffer_bytes: int = DEFAULT_BUFFER_SIZE) -> BufferedReader:
    """Open a regular file; OSError, whose `strerror` says what it is instead, for anything else. Never waits."""
    fd = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        mode = os.fstat(fd).st_mode
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, f"this is {_kind(mode)}, not a file", str(path))
        return BufferedReader(FileIO(fd, "rb"), buffer_bytes)
    except BaseException:
        os.close(fd)
        raise


def _kind(mode: int) -> str:
    if stat.S_ISDIR(mode):
        return "a folder"
    if stat.S_ISFIFO(mode):
        return "a pipe"
    if stat.S_ISSOCK(mode):
        return "a socket"
    return "a device"


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


def new_text(path: str | Path, text: str) -> None:
    """Write a new file of UTF-8 with LF line ends; raises like `new_file`."""
    with new_file(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def refuse_existing(path: str | Path) -> None:
    """Raise, before any work is done, where a new file of that name cannot be made.

    FileProblem where something of that name stands, for nothing is ever overwritten; UsageError for a name that is
    none, or in a folder that is not there or takes no file.
    """
    path = Path(path)
    if str(path) == "-":
        hint = "name a new file; what is printed can be redirected by the shell"
        raise UsageError("'-' stands for stdout, and this is a file to keep", where="the new file", hint=hint)
    if str(path) in (".", "..") or "\0" in str(path):
        raise UsageError(f"{str(path)!r} is no name for a file", where="the new file", hint="name a new file")
    if os.path.lexists(path):  # which has no error for a name that cannot be
        raise FileProblem("already exists", where=str(path), hint="name a new file; metercap never overwrites one")
    folder = path.parent
    try:
        made = folder.is_dir()
    except (OSError, ValueError) as error:
        raise UsageError(f"no file can have that name: {error}", where=str(path), hint="name a new file") from error
    if not made or not os.access(folder, os.W_OK | os.X_OK):
        why = "that folder takes no file" if made else "there is no such folder"
        hint = "choose a folder that exists and is yours to write in"
        raise UsageError(why, where=str(folder), hint=hint)


def lock(fd: int) -> bool:
    """Hold an open file until it is closed, however the program ends; return whether no other program holds it.

    Where the system has no locks for a file (some network shares) nobody is kept out.
    """
    try:
        if sys.platform == "win32":
            os.lseek(fd, 1 << 30, os.SEEK_SET)  # far beyond its end: others may read the file
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return error.errno not in _HELD
    return True
