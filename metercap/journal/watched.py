"""Sees what another program does to a journal that is being written, and goes on elsewhere: half of the writer.

Size and name are asked before each line and WATCH_S after the last one; the time of change leads to reading the file
back. A change in the very tick of the clock that the last line was written in has no other time: it is found when the
file is closed.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import threading
from collections import deque
from pathlib import Path

from metercap.journal import rescue
from metercap.journal.disk import Disk
from metercap.journal.spool import Spool

CHUNK = 1 << 20


class Watched:
    """The open file and what is known of it. `_lock` and `_syncing` are as the writer says."""

    path: Path
    _first_path: Path
    _disk: Disk
    _fd: int
    _lock: threading.Lock
    _syncing: threading.Lock
    _written: int
    _synced: int
    _unsynced: deque[bytes]
    _waiting: deque[bytes]
    _waiting_bytes: int
    _queueing: bool
    _trouble: OSError | None
    _outsider: str
    _moved: str
    _mark: int
    _doubt: bool = False
    """Whether the file's time was not that of the last write when it was looked at."""
    _spool: Spool

    def __init__(self) -> None:
        self._sha256 = hashlib.sha256()

    def look(self) -> None:
        """Look whether the file is still what was written, and go on elsewhere where it is not."""
        with self._syncing:
            with self._lock:
                self._outsider = self._outsider or ("" if self._queueing or self._fd < 0 else self.seen(named=True))
            if self._outsider:
                self.go_on_elsewhere()

    def seen(self, *, named: bool = False) -> str:
        """Return what another program did to the file, or "". Needs _lock; nothing may be waiting for the disk."""
        disk, fd = self._disk, self._fd
        try:
            size, mark = disk.state(fd)
            if size != self._written:
                return "was cut short" if size < self._written else "was written to"
            self._doubt, self._mark = self._doubt or mark != self._mark, mark
            if not named:
                return ""
            if what := disk.still_there(fd, self.path):
                return what
            if self._doubt:
                self._doubt = False
                return "" if self.reads_back() else "was changed"
        except OSError:
            pass  # a disk that cannot be asked is met by the next write
        return ""

    def reads_back(self) -> bool:
        """Whether the file's bytes are those that were written. Needs _lock; nothing may be waiting for the disk."""
        found, left = hashlib.sha256(), self._written
        self._disk.seek(self._fd, 0)
        try:
            while left and (data := self._disk.read(self._fd, min(left, CHUNK))):
                found.update(data)
                left -= len(data)
        finally:
            self._disk.seek(self._fd, self._written)
        return found.digest() == self._sha256.digest()

    def proved(self) -> bool:
        """Whether the whole file, read back, is what was written; where it is not, the journal goes on elsewhere."""
        with self._lock:
            if not self._queueing and not self._outsider:
                with contextlib.suppress(OSError):
                    self._outsider = self.seen(named=True) or ("" if self.reads_back() else "was changed")
        return not self._outsider

    def go_on_elsewhere(self) -> bool:
        """Write the journal anew from the second copy, and go on in that file. Needs _syncing."""
        with self._lock:
            for folder in rescue.folders(self._first_path):
                for path in rescue.names(self._first_path, folder):
                    try:
                        fd, written = self._written_anew(path)
                    except FileExistsError:
                        continue
                    except OSError as error:
                        self._trouble = error
                        break
                    self._become(path, fd, written)
                    return True
        return False

    def _written_anew(self, path: Path) -> tuple[int, int]:
        fd = self._disk.create(path)
        written = 0
        try:
            for data in self._spool.bytes_so_far():
                write_all(self._disk, fd, data)
                written += len(data)
            self._disk.sync(fd)
            sync_folder(self._disk, path.parent)
        except OSError:
            remove(self._disk, fd, path)
            raise
        return fd, written

    def _become(self, path: Path, fd: int, written: int) -> None:
        with contextlib.suppress(OSError):
            self._disk.close(self._fd)
        text = (
            f"{self.path} {self._outsider} by another program: the whole journal was written anew and goes on in {path}"
        )
        self.path, self._fd, self._moved, self._outsider = path, fd, text, ""
        self._written = self._synced = written
        self._unsynced.clear()
        self._waiting.clear()
        self._waiting_bytes = 0
        self._queueing, self._trouble = False, None
        self._mark, self._doubt = self._disk.state(fd)[1], False


def write_some(disk: Disk, fd: int, data: bytes) -> int:
    """Write at the descriptor's place and return how many bytes were taken, which is never none."""
    if taken := disk.write(fd, data):
        return taken
    raise OSError(errno.ENOSPC, "the disk took no byte")


def write_all(disk: Disk, fd: int, data: bytes) -> None:
    """Write all of it."""
    while data:
        data = data[write_some(disk, fd, data) :]


def remove(disk: Disk, fd: int, path: Path) -> None:
    """Close and delete a file that could not be finished."""
    with contextlib.suppress(OSError):
        disk.close(fd)
        path.unlink()


def sync_folder(disk: Disk, folder: Path) -> None:
    """Wait until a folder's entries are on the disk, where the system can do that."""
    try:
        disk.sync_folder(folder)
    except OSError as error:
        # Some file systems cannot sync a folder and say so; the file itself is safe there as far as they go.
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EACCES, errno.EPERM):
            raise
