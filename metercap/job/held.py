"""One program at a time works on a job: a lock on `job.toml`, which the system lets go of however the program ends."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator

from metercap.errors import JobError
from metercap.files import lock
from metercap.job.folder import JOB_FILE, Folder
from metercap.link.trouble import holders


@contextlib.contextmanager
def held(folder: Folder) -> Iterator[None]:
    """Hold the job while in the block. JobError naming who holds it already.

    Where the system has no locks for this file (some network shares) the block runs without: journals are never shared
    anyhow, since each is made new.
    """
    path = folder.path / JOB_FILE
    try:
        fd = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)
    except OSError as error:
        raise JobError(f"cannot be opened: {error.strerror or error}", where=str(path)) from error
    try:
        if not lock(fd):
            raise _taken(folder)
        yield
    finally:
        os.close(fd)


def _taken(folder: Folder) -> JobError:
    who = ", ".join(str(each) for each in holders(str(folder.path / JOB_FILE)))
    return JobError(
        f"{who or 'another program'} is at work on this job",
        where=str(folder.path),
        hint="go on there, or end it first; a copy of the folder is a job of its own",
    )
