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


def units_of(path: Path) -> list[tuple[str, list[Path]]]:
    """Return the tag and the journals of each unit of a job, in order. JobError for a job that has none yet."""
    folder = open_job(path)
    found = [(unit.tag, [sitting.path for sitting in folder.of(unit.tag)]) for unit in folder.job.units]
    if not any(paths for _, paths in found):
        raise JobError("this job has no journal yet", where=str(path), hint=f"metercap run {path}")
    return found


def expanded(paths: Sequence[Path]) -> list[Path]:
    """Return the files that are meant, with a job's folder replaced by its journals, unit by unit."""
    found: list[Path] = []
    for path in paths:
        found += [each for _, inside in units_of(path) for each in inside] if is_job(path) else [path]
    return found
