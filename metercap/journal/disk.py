"""What a journal's writer asks of the operating system, in one place so that tests can break it.

Every method may raise OSError. What `sync` can and cannot do: it asks the system to put the file's bytes on the
disk and waits for the answer. A drive that answers before its cache is safe, or a network share that does, is beyond
this program's reach.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

if sys.platform == "darwin":
    import fcntl


class Disk:
    """The real one."""

    def create(self, path: Path) -> int:
        """Create a file that must not exist (O_EXCL, so two processes never share one) and return its descriptor."""
        flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        return os.open(path, flags, 0o644)

    def write(self, fd: int, data: bytes) -> int:
        """Write at the descriptor's place; return how many bytes were taken, which may be fewer."""
        return os.write(fd, data)

    def seek(self, fd: int, byte: int) -> None:
        """Put the descriptor's place at a byte of the file."""
        os.lseek(fd, byte, os.SEEK_SET)

    def read(self, fd: int, count: int) -> bytes:
        """Read at the descriptor's place."""
        return os.read(fd, count)

    def sync(self, fd: int) -> None:
        """Wait until the file's bytes are on the disk."""
        if sys.platform == "darwin":
            fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
        else:
            os.fsync(fd)

    def sync_folder(self, folder: Path) -> None:
        """Wait until a folder's entries are on the disk, where the system can do that."""
        if not hasattr(os, "O_DIRECTORY"):
            return
        fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)

    def state(self, fd: int) -> tuple[int, int]:
        """Return how many bytes the open file has, and when they were changed last, in ns."""
        status = os.fstat(fd)
        return status.st_size, status.st_mtime_ns

    def still_there(self, fd: int, path: Path) -> str:
        """Return what another program did to the open file's name (deleted, moved, replaced), or ""."""
        mine = os.fstat(fd)
        try:
            named = path.stat()
        except FileNotFoundError:
            return "was deleted" if mine.st_nlink == 0 else "was moved away"
        except OSError:
            return ""  # a folder that cannot be asked right now says nothing of the file
        same = (mine.st_dev, mine.st_ino) == (named.st_dev, named.st_ino) or mine.st_ino == 0
        return "" if same else "was replaced"

    def close(self, fd: int) -> None:
        """Give the descriptor back."""
        os.close(fd)
