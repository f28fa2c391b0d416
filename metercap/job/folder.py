"""A job's folder: what is in it, in which order, and how its journals are named.

A journal is `NNN-TAG.jsonl`. Its number says where it stands, whatever any clock said; numbers are never used twice.
Everything else in the folder is left alone.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import msgspec

from metercap.errors import JobError
from metercap.files import open_file
from metercap.gate import visible
from metercap.job.model import LARGEST, JobFile, load, text_of, units_problems
from metercap.plan import Plan
from metercap.plan.load import load_plan
from metercap.planfile import pictures_beside, read_plan, read_text

JOB_FILE = "job.toml"
PLAN_FILE = "plan.toml"

JOURNAL = re.compile(r"(?P<number>[0-9]{1,9})[- ](?P<tag>[^/\\]+)\.jsonl")


class Sitting(msgspec.Struct, frozen=True, order=True):
    """One journal of a job: its `number`, the `tag` of its unit, its file."""

    number: int
    tag: str
    path: Path


class Folder(msgspec.Struct, frozen=True):
    """A job: its folder and what `job.toml` says. What journals there are is looked up each time."""

    path: Path
    job: JobFile

    @property
    def sittings(self) -> tuple[Sitting, ...]:
        """Every journal of a unit of this job, in the order in which they were begun."""
        tags = {unit.tag.casefold(): unit.tag for unit in self.job.units}
        found = []
        for number, tag, path in _numbered(self.path):
            if tag.casefold() in tags:
                found.append(Sitting(number, tags[tag.casefold()], path))
        return tuple(sorted(found))

    def of(self, tag: str) -> tuple[Sitting, ...]:
        """Return the journals of one unit."""
        return tuple(each for each in self.sittings if each.tag == tag)

    def free(self, tag: str) -> Sitting:
        """Return the next journal of a unit: a name that no file has, and a number above every other."""
        number = max((number for number, _, _ in _numbered(self.path)), default=0) + 1
        return Sitting(number, tag, self.path / f"{number:03d}-{tag}.jsonl")

    def plan(self) -> Plan:
        """Return the job's plan. Raises PlanError."""
        return read_plan(self.plan_path)

    @property
    def plan_path(self) -> Path:
        """The plan's file."""
        return self.path / self.job.plan


def _numbered(folder: Path) -> list[tuple[int, str, Path]]:
    found = []
    try:
        names = os.listdir(folder)  # noqa: PTH208 - names only: a job may lie among thousands of pictures
    except OSError as error:
        raise JobError(f"cannot be read: {error.strerror or error}", where=str(folder)) from error
    for name in names:
        if match := JOURNAL.fullmatch(name):
            found.append((int(match["number"]), match["tag"], folder / name))
    return found


def is_job(path: Path) -> bool:
    """Return whether a path is a job's folder, or its `job.toml`."""
    try:
        return (path / JOB_FILE).is_file() or (path.name == JOB_FILE and path.is_file())
    except (OSError, ValueError):
        return False


def open_job(path: Path) -> Folder:
    """Read a job's folder (or its `job.toml`). JobError when it cannot be used."""
    folder = path.parent if path.name == JOB_FILE and path.is_file() else path
    where = folder / JOB_FILE
    try:
        with open_file(where) as file:
            raw = file.read(LARGEST + 1)
    except OSError as error:
        raise JobError(f"cannot be read: {error.strerror or error}", where=str(where)) from error
    if len(raw) > LARGEST:
        raise JobError(f"larger than {LARGEST} bytes", where=str(where), hint="is it a job?")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise JobError(f"not UTF-8 (byte {error.start})", where=str(where), hint="save it as UTF-8") from error
    return Folder(folder, load(text, str(where)))


def make(folder: Path, job: JobFile, plan_from: Path) -> Folder:
    """Make a job's folder with a copy of its plan and of the plan's pictures.

    JobError when it is there, or cannot be made; PlanError.
    """
    problems = [*units_problems(job.units), *([] if job.title.strip() else ["title: is empty"])]
    if problems:
        raise JobError("this job cannot be made", problems=problems)
    plan = read_text(plan_from)
    pictures = list(pictures_beside(load_plan(plan, visible(str(plan_from))), plan_from))
    job = msgspec.structs.replace(job, plan=PLAN_FILE)
    try:
        folder.mkdir(parents=True)
    except FileExistsError:
        raise JobError("already exists", where=str(folder), hint="name a new folder with --folder") from None
    except OSError as error:
        raise JobError(f"cannot be made: {error.strerror or error}", where=str(folder)) from error
    for name, data in pictures:
        _write(folder / name, data)
    _write(folder / PLAN_FILE, plan.encode())
    _write(folder / JOB_FILE, text_of(job).encode())  # last: a folder without it is no job
    return Folder(folder, job)


def _write(path: Path, data: bytes) -> None:
    try:
        with path.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise JobError(f"cannot be written: {error.strerror or error}", where=str(path)) from error


def folder_name(title: str) -> str:
    """Return the name of a folder for a title: letters, digits and dashes."""
    name = re.sub(r"[^\w-]+", "-", title.strip().casefold()).strip("-_")[:60]
    if not name:
        raise JobError(f"no folder can be named for {title!r}", hint="name one with --folder")
    return name
