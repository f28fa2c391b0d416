"""One program at a time works on a job: a lock on `job.toml`, which the system lets go of however the program ends."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from collections.abc import Iterator

from metercap.errors import JobError
from metercap.job.folder import JOB_FILE, Folder
from metercap.link.trouble import holders

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_HELD = (errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK)


@contextlib.contextmanager
def held(folder: Folder) -> Iterator[None]:
    """Hold the job while in the block. JobError naming who holds it already.

    Where the system has no locks for this file (some network shares) the block runs without: journals are never shared
    anyhow, since each is made new.
    """
    path = folder.path / JOB_FILE
    try:
        fd = os.open(path, os.O_RDWR if sys.platform == "win32" else os.O_RDONLY)
    except OSError as error:
        raise JobError(f"cannot be opened: {error.strerror or error}", where=str(path)) from error
    try:
        try:
            _lock(fd)
        except OSError as error:
            if error.errno in _HELD:
                raise _taken(folder) from error
        yield
    finally:
        os.close(fd)


def _lock(fd: int) -> None:
    if sys.platform == "win32":
        os.lseek(fd, 1 << 30, os.SEEK_SET)  # far beyond its end: others may read the file
        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
    else:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _taken(folder: Folder) -> JobError:
    who = ", ".join(str(each) for each in holders(str(folder.path / JOB_FILE)))
    return JobError(
        f"{who or 'another program'} is at work on this job",
        where=str(folder.path),
        hint="go on there, or end it first; a copy of the folder is a job of its own",
    )
