"""Files that hold what units measured: a session's journal or a learned reference."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

import msgspec

from metercap.errors import FileProblem, JournalError, PlanError
from metercap.evidence import Evidence, Gathering, evidence, joined
from metercap.files import open_file
from metercap.job import is_job, open_job
from metercap.journal import iterate
from metercap.reference.model import Reference


class Source(msgspec.Struct, frozen=True):
    """One file: a session's `evidence`, or a `learned` reference. `lost` says what a torn journal no longer has."""

    path: Path
    evidence: Evidence | None = None
    learned: Reference | None = None
    lost: str = ""

    def good(self) -> Reference:
        """Return the good units' values that it holds."""
        if self.learned is not None:
            return self.learned
        assert self.evidence is not None
        return self.evidence.reference()


class Closed(msgspec.Struct, frozen=True):
    """A source that is not read yet: a `path` that names it, and its `files`: of a job's unit all its journals."""

    path: Path
    files: tuple[Path, ...]
    of_job: bool = False

    def open(self, say: Callable[[str], None]) -> Source | None:
        """Read it; None where nothing of it can be read. Raises as `open_source` does; `say` as in `open_sources`."""
        if not self.of_job:
            return open_source(self.path)
        sat = [each for file in self.files if (each := _sitting(file, say)) is not None]
        return Source(self.path, evidence=joined(sat)) if sat else None


def open_sources(paths: Sequence[Path], say: Callable[[str], None]) -> list[Source]:
    """Read files and jobs' folders: of a job one source a unit, over all its sittings. Raises as `open_source` does.

    `say` is told of each journal of a job that cannot be read, or only up to a damage.
    """
    return [source for each in closed_sources(paths) if (source := each.open(say)) is not None]


def closed_sources(paths: Iterable[Path], *, good: bool = False) -> Iterator[Closed]:
    """Yield what files and jobs' folders hold, unread; `good`: of a job the units known to be good, where any is."""
    for path in paths:
        if not is_job(path):
            yield Closed(path, (path,))
            continue
        folder = open_job(path)
        chosen = [unit for unit in folder.job.units if unit.known_good] if good else []
        for unit in chosen or folder.job.units:
            files = tuple(sitting.path for sitting in folder.of(unit.tag))
            if files:
                yield Closed(folder.path / unit.tag, files, of_job=True)


def _sitting(path: Path, say: Callable[[str], None]) -> Evidence | None:
    """Read one journal of a job as far as it goes; None where that is nowhere."""
    gathering, lost = Gathering(), ""
    try:
        with iterate(path) as records:
            for record in records:
                gathering.add(record)
            lost = records.lost if records.state != "unclosed" else ""
    except (JournalError, PlanError) as error:
        lost = error.what
    read = gathering.fold.session is not None
    if lost:
        say(f"{path.name}: {lost}; {'what stands before it is taken' if read else 'passed over'}")
    return gathering.evidence() if read else None


def open_source(path: Path) -> Source:
    """Read a file; FileProblem when it cannot be read, is neither, is damaged or of a newer schema."""
    from metercap.journal.format import FIRST

    try:
        with open_file(path) as file:
            head = file.read(len(FIRST))
    except OSError as error:
        raise FileProblem(f"cannot be read: {error.strerror or error}", where=str(path)) from error
    return _session(path) if head == FIRST[: len(head)] else _learned(path)


def _session(path: Path) -> Source:
    with iterate(path) as records:
        try:
            found = evidence(records)
        except JournalError as error:
            raise JournalError(error.what, where=error.where or str(path), hint=error.hint) from error
        return Source(path, evidence=found, lost="" if records.state == "closed" else records.lost)


def _learned(path: Path) -> Source:
    from metercap.reference.file import LARGEST, decode

    with open_file(path) as file:
        data = file.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise FileProblem(f"longer than {LARGEST} bytes, which no reference is", where=str(path))
    return Source(path, learned=decode(data, str(path)))
