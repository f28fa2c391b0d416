"""Writes a journal while the session runs.

What is promised, and by which step:

    `create` returned        the session record and the file's name are on the disk
    `append` returned        the line is with the operating system: the program may be killed; or, while the disk
                             refuses, in memory, with `problem` set
    `sync` returned True     every line appended before it is on the disk: the power may fail
    0.25 s after `append`    the same, by a thread of its own, as long as one fsync takes less than 0.07 s

Every line is one write, at the place where the last one ended. When the disk refuses (full, a quota, a limit,
a broken cable), lines queue in memory and the thread tries again, from the very byte where the last write
stopped: no line is torn or written twice. A failed fsync is taken at its worst: the system may have thrown
the bytes away and will call the next fsync a success, so all lines since the last good fsync are kept until
then and are written again.

Files are created with O_EXCL and never opened a second time for writing: that is all the locking there is, or
needs to be. Not promised: what a drive does that reports bytes as safe when they are not.

Another program may cut, overwrite, move or delete the file all the same. That is seen at the next line, or within
WATCH_S, by the file's size, name and time of change, and at the latest when it is closed, when every byte is read
back. The whole journal is then written anew from the second copy that `spool` keeps, to a file that `rescue` names,
and goes on there; `moved` says so. What was done to the first file is left as it is.
"""

from __future__ import annotations

import contextlib
import errno
import threading
import time
from collections import deque
from pathlib import Path

from metercap.errors import JournalError
from metercap.journal.disk import Disk
from metercap.journal.format import Chain
from metercap.journal.spool import Spool
from metercap.journal.watched import CHUNK, Watched, remove, sync_folder, write_all, write_some
from metercap.records import EndRecord, Reason, Record, SessionRecord

GROUP_S = 0.1
"""How long the thread lets lines gather before it syncs them together, in seconds."""

WATCH_S = 0.5
"""How often the thread looks whether the file is still what was written, in seconds."""

_KEPT = 2 << 20
"""Bytes kept for a failed fsync; beyond them `append` itself syncs (only compressed time gets there)."""

_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC), errno.EFBIG)


class Writer(Watched):
    """The one writer of one journal. Made by `create`. `path` is its file now, `first` its first line.

    Any thread may call; one thread appends. A `with` block that ends without `close` leaves an unclosed file.
    """

    def __init__(self, path: Path, fd: int, chain: Chain, first: bytes, disk: Disk) -> None:
        super().__init__()
        self.path = self._first_path = path
        self.first = first
        self._disk = disk
        self._fd = fd
        self._chain = chain
        self._sha256.update(first)
        self._counts = {"session": 1}
        # _lock guards what follows and is held for one write at most; _syncing is held by whoever syncs or retries.
        self._lock = threading.Lock()
        self._syncing = threading.Lock()
        self._written = self._synced = len(first)
        self._unsynced: deque[bytes] = deque()
        self._waiting: deque[bytes] = deque()
        self._waiting_bytes = 0
        self._queueing = False
        self._trouble: OSError | None = None
        self._outsider = ""
        self._moved = ""
        self._spool = Spool()
        self._spool.add(first)
        self._mark = disk.state(fd)[1]
        self._closed = False
        self._dirty = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    @classmethod
    def create(cls, path: str | Path, record: SessionRecord, disk: Disk | None = None) -> Writer:
        """Create the file with its session record, both on the disk when this returns.

        Raises JournalError when the file exists or cannot be created or written (nothing is left behind
        then), ValueError for a record that a journal cannot hold.
        """
        path = Path(path)
        disk = disk or Disk()
        chain = Chain()
        first = chain.line(record)
        try:
            fd = disk.create(path)
        except FileExistsError:
            raise JournalError("already exists", where=str(path), hint="name a new file") from None
        except OSError as error:
            raise _cannot_create(path, error) from error
        try:
            write_all(disk, fd, first)
            disk.sync(fd)
            sync_folder(disk, path.parent)
        except OSError as error:
            remove(disk, fd, path)
            raise _cannot_create(path, error) from error
        return cls(path, fd, chain, first, disk)

    def __enter__(self) -> Writer:
        return self

    def __exit__(self, *_: object) -> None:
        self.abandon()

    @property
    def problem(self) -> str | None:
        """What is wrong with the disk right now, for the operator, or None. It stays until all is on the disk."""
        with self._lock:
            if self._trouble is not None:
                hint = "free some space" if self._trouble.errno in _FULL else "check the disk"
                again = "" if self._closed else " and are tried again"
                return (
                    f"{self.path}: {self._trouble.strerror or self._trouble}; {self._waiting_bytes} bytes wait in "
                    f"memory{again}: {hint}, and do not end the program"
                )
            if self._outsider:
                return f"{self.path}: {self._outsider} by another program: keep a copy before the program ends"
            return None

    @property
    def moved(self) -> str:
        """What another program did to the file and where the whole journal goes on since, for the operator, or ""."""
        with self._lock:
            return self._moved

    @property
    def unwritten(self) -> bytes:
        """The bytes that the disk has not taken yet; the file and these together are the whole journal."""
        with self._lock:
            return b"".join(self._waiting)

    def append(self, record: Record) -> bytes:
        """Write one record and return its line, LF and all.

        Never raises on disk trouble: the line then waits in memory and `problem` is set. Raises ValueError, and
        writes nothing, for a record that a journal cannot hold (see `format.body`, `format.seal`) and after `close`.
        """
        with self._lock:
            if self._closed:
                raise ValueError("the journal is closed")
            line = self._take(record)
        if self._outsider:
            self.look()
        if not self._dirty.is_set():
            self._dirty.set()
        if self._written - self._synced > _KEPT and not self._queueing:
            self.sync()
        return line

    def sync(self) -> bool:
        """Wait until all that was appended is on the disk; False, after one try, when the disk refuses."""
        with self._syncing:
            if self._outsider and not self.go_on_elsewhere():
                return False
            if self._queueing and not self._retry():
                return False
            with self._lock:
                upto = self._written
                if upto == self._synced:
                    return not self._queueing
            try:
                self._disk.sync(self._fd)
            except OSError as error:
                with self._lock:
                    self._rewind(error)
                return False
            with self._lock:
                while self._synced < upto:
                    self._synced += len(self._unsynced.popleft())
                if not self._queueing:
                    self._trouble = None
                return not self._queueing

    def close(self, t_s: float, reason: Reason, patience_s: float = 5.0) -> bytes:
        """Write the end record, sync, close the file, and return the record's line.

        A refusing disk is tried again for `patience_s` seconds. What it has not taken then stays in
        `unwritten`, `problem` stays set, and `save_copy` can still write the whole journal elsewhere.
        """
        with self._lock:
            if self._closed:
                raise ValueError("the journal is closed")
            end = EndRecord(t_s=t_s, reason=reason, counts=dict(self._counts), sha256=self._sha256.hexdigest())
            line = self._take(end)
            self._closed = True
        give_up = time.monotonic() + patience_s
        while not (self.sync() and self.proved()) and time.monotonic() < give_up:
            time.sleep(GROUP_S)
        self._end_thread()
        if self._trouble is None and not self._outsider:
            self._give_back()
        return line

    def abandon(self) -> None:
        """Sync what there is and close the file without an end record. Does nothing after a `close` that succeeded."""
        with self._lock:
            self._closed = True
        if self._fd >= 0:
            self.sync()
            self._end_thread()
            self._give_back()

    def save_copy(self, path: str | Path) -> None:
        """Write the whole journal so far, with what waits in memory, to a new file, for when its own disk refuses.

        `append` waits meanwhile. Raises JournalError when that file exists or cannot be written either; none is left
        behind then.
        """
        path = Path(path)
        disk = Disk()
        try:
            fd = disk.create(path)
        except FileExistsError:
            raise JournalError("already exists", where=str(path), hint="name a new file") from None
        except OSError as error:
            raise _cannot_create(path, error) from error
        try:
            with self._syncing, self._lock:
                if self._spool.whole:
                    for data in self._spool.bytes_so_far():
                        write_all(disk, fd, data)
                else:
                    self._copy_to(disk, fd)
            disk.sync(fd)
            disk.close(fd)
        except OSError as error:
            remove(disk, fd, path)
            raise _cannot_create(path, error) from error

    def _copy_to(self, disk: Disk, fd: int) -> None:
        """Copy the file and what waits. Needs _syncing and _lock."""
        try:
            self._disk.seek(self._fd, 0)
            left = self._written
            while left and (data := self._disk.read(self._fd, min(left, CHUNK))):
                left -= len(data)
                write_all(disk, fd, data)
        finally:
            self._disk.seek(self._fd, self._written)
        for data in self._waiting:
            write_all(disk, fd, data)

    def _take(self, record: Record) -> bytes:
        """Make the record's line and write it, or queue it behind those that wait. Needs _lock."""
        line = self._chain.line(record)
        kind = record.__struct_config__.tag
        assert isinstance(kind, str)
        self._counts[kind] = self._counts.get(kind, 0) + 1
        self._sha256.update(line)
        self._spool.add(line)
        left = line
        if not self._queueing and not self._outsider:
            self._outsider = self.seen()
        if self._outsider:
            self._queueing = True
        if not self._queueing:
            try:
                while left:
                    taken = write_some(self._disk, self._fd, left)
                    self._record_taken(left[:taken])
                    left = left[taken:]
                self._mark = self._disk.state(self._fd)[1]
            except OSError as error:
                self._trouble = error
                self._queueing = True
        if left:
            self._waiting.append(left)
            self._waiting_bytes += len(left)
        return line

    def _record_taken(self, data: bytes) -> None:
        self._written += len(data)
        self._unsynced.append(data)

    def _retry(self) -> bool:
        """Write what waits. Needs _syncing. `append` only queues meanwhile, so it never waits for this."""
        try:
            self._disk.seek(self._fd, self._written)
            while data := self._next_waiting():
                taken = write_some(self._disk, self._fd, data)
                with self._lock:
                    self._record_taken(data[:taken])
                    self._waiting_bytes -= taken
                    self._waiting.popleft()
                    if taken < len(data):
                        self._waiting.appendleft(data[taken:])
            with self._lock:
                self._mark = self._disk.state(self._fd)[1]
        except OSError as error:
            self._trouble = error
            return False
        return True

    def _next_waiting(self) -> bytes:
        """Join waiting lines to one write, left at the queue's head; b"" when none waits: the queue is over."""
        with self._lock:
            parts: list[bytes] = []
            size = 0
            while self._waiting and size < CHUNK:
                parts.append(self._waiting.popleft())
                size += len(parts[-1])
            if not parts:
                self._queueing = False
                return b""
            self._waiting.appendleft(b"".join(parts))
            return self._waiting[0]

    def _rewind(self, error: OSError) -> None:
        """After a failed fsync: all lines since the last good one wait again. Needs _lock and _syncing."""
        self._trouble = error
        self._queueing = True
        self._waiting.extendleft(reversed(self._unsynced))
        self._waiting_bytes += self._written - self._synced
        self._unsynced.clear()
        self._written = self._synced

    def _run(self) -> None:
        # Asked anew in each round: who ends the thread just before `clear` has set both events, and one is lost there.
        while not self._stop.is_set():
            if not self._dirty.wait(WATCH_S):
                self.look()
                continue
            if self._stop.wait(GROUP_S):
                return
            self._dirty.clear()
            self.look()
            if not self.sync():
                self._dirty.set()

    def _end_thread(self) -> None:
        self._stop.set()
        self._dirty.set()
        self._thread.join()

    def _give_back(self) -> None:
        with contextlib.suppress(OSError):
            self._disk.close(self._fd)
        self._fd = -1
        self._spool.close()


def _cannot_create(path: Path, error: OSError) -> JournalError:
    return JournalError(
        f"cannot be written: {error.strerror or error}",
        where=str(path),
        hint="choose a folder that exists, is yours to write in, and has room",
    )
