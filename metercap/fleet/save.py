"""Jobs into a data set: what is in at the same journals stays, what has changed is replaced, nothing is in twice.

Two passes. The first finds the jobs whose parts are not right any more and announces that, so that whenever the second
stops nobody counts what it did not come to. What waits between them is in a temporary file, not in memory.
"""

from __future__ import annotations

import datetime
import hashlib
import itertools
import os
import platform
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Literal, TextIO

import msgspec

from metercap.archive.find import journals
from metercap.archive.gather import Trouble
from metercap.errors import FileProblem, MetercapError
from metercap.files import new_file
from metercap.fleet.job import Sum, part_path, read_job, rows_of, sums_of
from metercap.fleet.part import Held, announce, arrow, half_of, keep, standing, withdraw, write, writing
from metercap.fleet.schema import MARK, SET_VERSION, Footer, SetMark, is_set, open_set
from metercap.gate import storable
from metercap.job import Folder, open_job

Say = Callable[[str], None]
Progress = Callable[[str], None]
Stands = Literal["same", "changed", "copy"]


class Waiting(msgspec.Struct, frozen=True):
    """A job that the first pass found: its folder, as it is called in the set."""

    folder: str
    below: str
    bench: str


class Saved(msgspec.Struct):
    """How many jobs were found, and what became of each; `rows` were written. `left_out` is not in the set as it is.

    `damaged` journals are in as far as they go, `copies` of jobs that go farther are not in, `empty` jobs have nothing.
    """

    jobs: int = 0
    same: int = 0
    written: int = 0
    rows: int = 0
    empty: int = 0
    loose: int = 0
    copies: Trouble = msgspec.field(default_factory=Trouble)
    damaged: Trouble = msgspec.field(default_factory=Trouble)
    undated: Trouble = msgspec.field(default_factory=Trouble)
    left_out: Trouble = msgspec.field(default_factory=Trouble)


def save_set(
    arguments: Sequence[str], dataset: Path, bench: str, say: Say, progress: Progress, now: datetime.datetime
) -> Saved:
    """Bring the jobs in files and folders into a set, which is made where there is none; return what was done.

    `bench`: where they were measured; each argument is one where it is empty. Raises FileProblem where the set is none
    or cannot be written, UsageError without pyarrow.
    """
    arrow()
    _open_or_make(dataset)
    saved = Saved()
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="surrogatepass") as waiting:
        for job in _jobs(arguments, bench, saved, say):
            saved.jobs += 1
            if _to_be_written(job, dataset, saved):
                waiting.write(msgspec.json.encode(_escaped(job)).decode() + "\n")
            progress(f"{saved.jobs} jobs found, {saved.same} of them are in already")
        waiting.seek(0)
        for job in _back(waiting):
            _save(job, dataset, saved, now)
            progress(f"{saved.written} jobs written, {saved.jobs - saved.same - saved.written} to go")
    return saved


def _open_or_make(dataset: Path) -> None:
    if not is_set(dataset):
        try:
            dataset.mkdir(parents=True, exist_ok=True)
            if any(dataset.iterdir()):
                hint = "name a new folder, or a set that export made"
                raise FileProblem("this folder is no data set, and not empty", where=str(dataset), hint=hint)
        except OSError as error:
            raise FileProblem(f"cannot be made: {error.strerror or error}", where=str(dataset)) from error
        try:
            with new_file(dataset / MARK) as temporary:
                temporary.write_bytes(msgspec.json.encode(SetMark(SET_VERSION)) + b"\n")
        except FileProblem:
            if not is_set(dataset):  # else another export made it just now
                raise
    open_set(dataset)


def _jobs(arguments: Sequence[str], bench: str, saved: Saved, say: Say) -> Iterator[Waiting]:
    """Yield each job once for each time that it is found; journals that are in none are counted."""
    for job, found in itertools.groupby(journals(arguments, say), key=lambda one: (one.job, one.argument)):
        if not job[0]:
            saved.loose += sum(1 for one in found if not one.path.name.startswith("rescued-"))
            continue
        below = Path(next(found).below).parent.as_posix()
        yield Waiting(job[0], str(storable("" if below == "." else below)), str(storable(bench or job[1])))


def _escaped(job: Waiting) -> Waiting:
    """Return it with a folder's name that JSON can hold, whatever bytes it is of."""
    return msgspec.structs.replace(job, folder=os.fsencode(job.folder).hex())


def _back(waiting: TextIO) -> Iterator[Waiting]:
    for line in waiting:
        job = msgspec.json.decode(line, type=Waiting)
        yield msgspec.structs.replace(job, folder=os.fsdecode(bytes.fromhex(job.folder)))


def _to_be_written(job: Waiting, dataset: Path, saved: Saved) -> bool:
    """Return whether a job's part is to be made or made anew; in the second case say so in the set."""
    try:
        folder = open_job(Path(job.folder))
        relative = part_path(folder)
        if not relative:
            _nothing(folder, saved)
            return False
        path = dataset / relative
        if not path.exists():
            return True
        stands = _stands(job, folder, standing(dataset, relative), sums_of(folder))
        if stands == "changed":
            announce(path)
        elif not half_of(path).exists():
            _leave(job, stands, saved)
            return False
    except (MetercapError, OSError) as error:
        saved.left_out.add(f"{job.folder}: {_why(error)}")
        return False
    return True


def _nothing(folder: Folder, saved: Saved) -> None:
    if folder.sittings:
        saved.left_out.add(f"{folder.path}: none of its journals can be read")
    else:
        saved.empty += 1


def _leave(job: Waiting, stands: Stands, saved: Saved) -> None:
    if stands == "copy":
        saved.copies.add(f"{job.folder}: a copy of a job that is in already and goes as far")
    else:
        saved.same += 1


def _stands(job: Waiting, folder: Folder, footer: Footer | None, sums: Sequence[Sum]) -> Stands:
    """Return how what stands in the set is to a job as it is now.

    The same journals in another place are the same job; of different ones those with more sessions and bytes count.
    """
    if footer is None:
        return "changed"
    same = footer.sums == tuple(sums)
    if footer.place != _place(folder):
        if same:
            return "same"
        farther = (len(sums), sum(size for _, size, _ in sums)) > (
            len(footer.sources),
            sum(source.size for source in footer.sources),
        )
        return "changed" if farther else "copy"
    called = (footer.job, footer.folder, footer.bench) == (folder.job.title, job.below, job.bench)
    return "same" if same and called else "changed"


def _place(folder: Folder) -> str:
    """Return what stands for a folder on this machine, and does not tell its name."""
    where = f"{platform.node()}\0{folder.path.absolute()}"
    return hashlib.sha256(where.encode("utf-8", "surrogateescape")).hexdigest()[:16]


def _save(job: Waiting, dataset: Path, saved: Saved, now: datetime.datetime) -> None:
    """Write a job's part, unless another program did meanwhile."""
    try:
        folder = open_job(Path(job.folder))
        relative = part_path(folder)
        if not relative:
            _nothing(folder, saved)
            return
        path = dataset / relative
        with writing(path) as file:
            stands = _stands(job, folder, standing(dataset, relative), sums_of(folder))
            if stands != "changed":
                withdraw(path)
                _leave(job, stands, saved)
                return
            sittings = read_job(folder, now)
            rows = list(rows_of(folder, sittings, job.below, job.bench))
            lost = tuple(f"{sat.path.name}: {sat.lost}" for sat in sittings if sat.lost)
            undated = tuple(f"{sat.path.name}: {sat.undated}" for sat in sittings if sat.undated)
            sources = tuple(sat.source for sat in sittings)
            footer = Footer(
                relative, len(rows), folder.job.title, job.below, job.bench, _place(folder), sources, lost, undated
            )
            write(file, rows, footer)
            keep(file, path)
    except Held:
        saved.left_out.add(f"{job.folder}: another export is writing its part; export it again")
        return
    except MetercapError as error:
        saved.left_out.add(f"{job.folder}: {_why(error)}")
        return
    saved.written += 1
    saved.rows += len(rows)
    for trouble, texts in ((saved.damaged, lost), (saved.undated, undated)):
        for text in texts:
            trouble.add(f"{job.folder}/{text}")


def _why(error: Exception) -> str:
    if isinstance(error, MetercapError):
        return error.what
    return str(error)
