"""Opens files for reading that are files: a pipe, a device or a folder in their place is refused before it is read.

A named pipe that nobody writes to holds its opener for ever, and a device may have no end; neither is what a journal, a
tape, a plan or a profile is kept in.
"""

from __future__ import annotations

import errno
import os
import stat
from io import DEFAULT_BUFFER_SIZE, BufferedReader, FileIO
from pathlib import Path


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
