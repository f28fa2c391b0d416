"""Finds the journals that files and folders stand for, at any depth, one after the other."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import msgspec

from metercap.errors import FileProblem
from metercap.job import is_job
from metercap.job.find import job_at
from metercap.job.folder import JOURNAL

SUFFIX = ".jsonl"


class Found(msgspec.Struct, frozen=True):
    """One file: the `argument` it was found under, and its name `below` that; `named`: it was asked for by itself.

    `job` is the folder of the job that it is numbered in, and `number` its number there; "" and 0 where there is none.
    """

    path: Path
    argument: str
    below: str
    named: bool = False
    job: str = ""
    number: int = 0


def journals(arguments: Sequence[str], say: Callable[[str], None]) -> Iterator[Found]:
    """Yield every file that may be a journal: those named, and in folders whatever ends with .jsonl.

    A job may be named by its title. Links to folders are not followed, hidden ones are passed over. Raises FileProblem
    for what is not there, JobError for a title of two jobs; `say` is told of folders that cannot be read.
    """
    for text in arguments:
        path = Path(text)
        if not os.path.lexists(text):
            job = job_at(text)
            if job is None:
                hint = "name journals, jobs, or folders of them"
                raise FileProblem("there is no such file, folder or job", where=text, hint=hint)
            path = job.path
        if path.is_dir():
            yield from _below(path, text, say)
        else:
            yield Found(path, text, path.name, named=True)


def _below(top: Path, argument: str, say: Callable[[str], None]) -> Iterator[Found]:
    left = [top]
    while left:
        folder = left.pop()
        job = str(folder.absolute()) if is_job(folder) else ""
        try:
            with os.scandir(folder) as entries:
                for entry in entries:
                    if entry.name.startswith("."):
                        continue
                    if entry.is_dir(follow_symlinks=False):
                        left.append(folder / entry.name)
                    elif entry.name.endswith(SUFFIX):
                        yield _found(folder, entry.name, top, argument, job)
        except OSError as error:
            say(f"{folder}: cannot be read: {error.strerror or error}; passed over")


def _found(folder: Path, name: str, top: Path, argument: str, job: str) -> Found:
    match = JOURNAL.fullmatch(name) if job else None
    path = folder / name
    return Found(
        path,
        argument,
        str(path.relative_to(top)),
        job=job if match else "",
        number=int(match["number"]) if match else 0,
    )
