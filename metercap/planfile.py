"""Reads plan files: the one place where a plan meets the disk."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import msgspec

from metercap.errors import FileProblem, PlanError
from metercap.files import open_file
from metercap.gate import visible
from metercap.pictures import beside, faults, read, sha256
from metercap.plan.load import LARGEST, load_plan
from metercap.plan.model import Plan
from metercap.plan.problems import Problem, spelled
from metercap.plankeys import Picture


def read_plan(path: Path | str) -> Plan:
    """Return the plan in a file. Raises PlanError: unreadable, too large, not UTF-8, or all its problems at once.

    A picture without a hash gets that of the file that lies there now, so that a session records which one it was.
    """
    plan = load_plan(read_text(path), visible(str(path)))
    if all(picture.sha256 for picture in plan.pictures):
        return plan
    folder = Path(path).parent
    return msgspec.structs.replace(plan, pictures=tuple(_hashed(folder, each) for each in plan.pictures))


def _hashed(folder: Path, picture: Picture) -> Picture:
    if picture.sha256:
        return picture
    try:
        found = sha256(read(beside(folder, picture.file)))
    except FileProblem:  # `picture_problems` says it
        return picture
    return msgspec.structs.replace(picture, sha256=found)


def pictures_beside(plan: Plan, path: Path | str) -> Iterator[tuple[str, bytes]]:
    """Yield name and bytes of each picture of a plan that lies beside its file and can be read."""
    for picture in plan.pictures:
        with contextlib.suppress(FileProblem):  # `picture_problems` says it
            yield picture.file, read(beside(Path(path).parent, picture.file))


def picture_problems(plan: Plan, path: Path | str) -> Iterator[Problem]:
    """Yield a warning for each picture of a plan, as its file says, that is not there, is none, or has changed."""
    for n, picture in enumerate(plan.pictures):

        def told(key: str, what: str, hint: str = "", n: int = n) -> Problem:
            place = ("picture", n, key)
            return Problem("warning", place, spelled(place, {}), what, hint)

        try:
            where = beside(Path(path).parent, picture.file)
            data = read(where)
        except FileProblem as error:
            yield told("file", f"{error.what}: nothing is lit", error.hint)
            continue
        found = sha256(data)
        if not picture.sha256:
            yield told("sha256", "missing, so that another picture would not be noticed", f'write sha256 = "{found}"')
        elif found != picture.sha256:
            what = "the file is another than the one that was marked: nothing is lit"
            yield told("sha256", what, f'look at every place again, then write sha256 = "{found}"')
        if why := faults(data, where):
            yield told("file", why, "a picture is a photograph as JPEG or PNG")


def read_text(path: Path | str) -> str:
    """Return a plan file's text. Raises PlanError when it cannot be read, is larger than 1 MiB, or is not UTF-8."""
    where = visible(str(path))
    try:
        with open_file(Path(path)) as file:
            raw = file.read(LARGEST + 1)
    except FileNotFoundError as error:
        raise PlanError("there is no such file", where=where, hint="check the path") from error
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        why = getattr(error, "strerror", None) or str(error)
        raise PlanError(f"cannot be read: {why}", where=where, hint="check the path and its permissions") from error
    if len(raw) > LARGEST:
        raise PlanError(f"larger than {LARGEST} bytes", where=where, hint="is it a plan?")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise PlanError("not UTF-8 text", where=f"{where}:{line}", hint="save the file as UTF-8") from error
