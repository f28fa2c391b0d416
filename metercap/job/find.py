"""Finding a job by its folder or its title: in the working folder, or among those used last."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import msgspec

from metercap import settings
from metercap.errors import JobError, MetercapError
from metercap.job.folder import Folder, is_job, open_job
from metercap.profiles import is_plan

REMEMBERED = "jobs"
MOST = 20
"""Jobs that are remembered; the one used longest ago is forgotten first."""


class Used(msgspec.Struct, frozen=True):
    """Folders of jobs, the one used last first."""

    folders: tuple[str, ...] = ()


def used() -> tuple[str, ...]:
    """Return the folders of the jobs used last, the newest first."""
    return (settings.recall(REMEMBERED, Used)[0] or Used()).folders


def remember_job(folder: Folder) -> None:
    """Keep that a job was used now; settings that cannot be written are no trouble."""
    here = str(folder.path.absolute())
    settings.remember(REMEMBERED, Used((here, *(each for each in used() if each != here))[:MOST]))


def job_at(text: str) -> Folder | None:
    """Return the job that a path or a title names; None when it names none. JobError for two of one title."""
    path = Path(text)
    if is_job(path):
        return open_job(path)
    found: dict[Path, Folder] = {}
    for folder in _near():
        if folder.job.title.strip().casefold() == text.strip().casefold():
            found[folder.path.resolve()] = folder
    if len(found) > 1:
        places = ", ".join(str(each.path) for each in found.values())
        raise JobError(f"{len(found)} jobs are called {text!r}", where=places, hint="name its folder")
    return next(iter(found.values()), None)


def job_of_argument(text: str) -> Folder | None:
    """Return the job that a command's argument means, or None where it means a plan: a plan's name goes first."""
    if not is_job(Path(text)) and is_plan(text):
        return None
    return job_at(text)


def _near() -> Iterator[Folder]:
    """Yield the jobs in the working folder, and those used last; one that cannot be read is passed over."""
    places = [*sorted(Path.cwd().iterdir()), *map(Path, used())]
    for place in places:
        if is_job(place):
            try:
                yield open_job(place)
            except MetercapError:
                continue


def titles() -> tuple[str, ...]:
    """Return the titles of the jobs that can be named by them."""
    return tuple(dict.fromkeys(folder.job.title for folder in _near()))
