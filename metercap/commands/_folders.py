"""A job's folder where a command takes journals: which files it stands for."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from metercap.errors import JobError
from metercap.job import Folder, is_job, open_job
from metercap.job.find import job_at, titles
from metercap.spelling import aside


def the_job(text: str) -> Folder:
    """Return the job of a path or title. JobError, with the nearest title, when there is none."""
    found = job_at(text)
    if found is None:
        hint = "name a job's folder; metercap job new makes one"
        raise JobError(f"there is no job {text!r}{aside(text, titles())}", hint=hint)
    return found


def journals_of(path: Path) -> list[Path] | None:
    """Return a job's journals, unit by unit in the job's order and each unit's in theirs; None where it is no job.

    JobError for a job that has none yet.
    """
    if not is_job(path):
        return None
    folder = open_job(path)
    found = [sitting.path for unit in folder.job.units for sitting in folder.of(unit.tag)]
    if not found:
        raise JobError("this job has no journal yet", where=str(path), hint=f"metercap run {path}")
    return found


def expanded(paths: Sequence[Path]) -> list[Path]:
    """Return the files that are meant, with every job's folder replaced by its journals."""
    found: list[Path] = []
    for path in paths:
        inside = journals_of(path)
        found += [path] if inside is None else inside
    return found
