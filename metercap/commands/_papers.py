"""What `metercap report` writes: of one session, or of several journals of one unit or more."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

import msgspec

from metercap.errors import JournalError, MetercapError

if TYPE_CHECKING:
    from metercap.compare import Side
    from metercap.job.folder import Folder
    from metercap.report import About, Findings, JobFindings
    from metercap.report.document import Document, Photo

Form: TypeAlias = Literal["html", "text", "json"]


class Papers(msgspec.Struct, frozen=True):
    """What a report is made of: units with their journals in order, a `title`, and pictures.

    `attached` must be pictures; of those that lie in the job's folder (`dropped`) what is none is named and left out.
    """

    units: tuple[tuple[About, tuple[Path, ...]], ...]
    title: str = ""
    model: str = ""
    attached: tuple[Path, ...] = ()
    dropped: tuple[Path, ...] = ()
    folder: Path | None = None

    def free_page(self) -> Path:
        """Return the name of a new page in the job's folder: a job goes on, and no page is written over."""
        folder = self.folder or Path()
        path, n = folder / "report.html", 1
        while path.exists():
            n += 1
            path = folder / f"report-{n}.html"
        return path


def papers_of(path: Path, attached: Sequence[Path] = ()) -> Papers | None:
    """Return what a job's report is made of; None where the path is no job's folder and no job's title."""
    from metercap.job.find import job_at
    from metercap.report import About
    from metercap.report.photos import photos_in

    try:
        job = None if path.is_file() else job_at(str(path))
    except (OSError, ValueError):  # what can be no path is no job either; whoever opens it says so
        job = None
    if job is None:
        return None
    units = tuple(
        (
            About(unit.tag, unit.name, unit.serial, unit.symptom, unit.known_good),
            tuple(sitting.path for sitting in job.of(unit.tag)),
        )
        for unit in job.job.units
    )
    boards = _boards(job)
    dropped = tuple(photo for photo in photos_in(job.path) if photo.name not in boards)
    return Papers(units, job.job.title, job.job.model, tuple(attached), dropped, job.path)


def _boards(job: Folder) -> tuple[str, ...]:
    """Return the pictures that belong to the job's plan: they tell nothing of a unit."""
    try:
        return tuple(picture.file for picture in job.plan().pictures)
    except MetercapError:  # whoever runs it says so
        return ()


def units_of(paths: Sequence[Path]) -> tuple[tuple[About, tuple[Path, ...]], ...]:
    """Return journals by unit, each unit's in the order in which their sessions were begun.

    JournalError for one without a session.
    """
    from metercap.journal import iterate
    from metercap.reference.gather import same_unit
    from metercap.report import About
    from metercap.session import opening

    units: list[tuple[About, list[tuple[str, Path]]]] = []
    for path in paths:
        with iterate(path) as records:
            try:
                first = opening(records)
            except JournalError as error:
                raise JournalError(error.what, where=error.where or str(path), hint=error.hint) from error
        here = next((files for about, files in units if same_unit(about.name, first.unit)), None)
        if here is None:
            here = []
            about = About(first.tag or first.unit, first.unit, known_good=first.known_good)
            units.append((about, here))
        here.append((first.start_utc, path))
    return tuple((about, tuple(path for _, path in sorted(files))) for about, files in units)


def make(
    file: Path, against: Path | None = None, form: Form = "html", attached: Sequence[Path] = ()
) -> tuple[Findings, str]:
    """Return what there is to say of a session, and its report in one of the forms; errors as of `study`."""
    from metercap.commands._opening import program
    from metercap.report import compose, study

    photos = _photos(attached)
    found, gathered = study(file, program=program(), against=None if against is None else _side(against))
    return found, _written(found, compose(found, gathered, photos), form)


def make_job(papers: Papers, against: Path | None = None, form: Form = "html") -> tuple[JobFindings, str]:
    """Return what there is to say of a job's units, and their report in one of the forms."""
    from metercap.commands._opening import program
    from metercap.report import compose_job, study_job

    tags = [about.tag for about, _ in papers.units]
    photos = list(_photos(papers.attached))
    left_out: list[str] = []
    if form != "json":
        photos += _dropped(papers.dropped, left_out)
    side = None if against is None else _side(against)
    found, units = study_job(papers.title, papers.model, papers.units, program=program(), against=side)
    found = msgspec.structs.replace(found, warnings=(*found.warnings, *left_out))
    whose = [(_tag_of(photo.title, tags), photo) for photo in photos]
    return found, _written(found, compose_job(found, units, whose), form)


def _written(found: Findings | JobFindings, document: Document, form: Form) -> str:
    if form == "json":
        from metercap.plain import json_text

        return json_text(found) + "\n"
    if form == "html":
        from metercap.report.page import page

        return page(document)
    from metercap.report.text import text_lines

    return "".join(f"{line}\n" for line in text_lines(document))


def _photos(paths: Sequence[Path]) -> tuple[Photo, ...]:
    if not paths:
        return ()
    from metercap.report.photos import photo

    return tuple(photo(path) for path in paths)


def _dropped(paths: Sequence[Path], left_out: list[str]) -> list[Photo]:
    from metercap.report.photos import MOST, photo

    found = []
    for path in paths[:MOST]:
        try:
            found.append(photo(path))
        except MetercapError as error:
            left_out.append(f"picture {path.name} is left out: {error.what}")
    if len(paths) > MOST:
        left_out.append(f"{len(paths) - MOST} pictures more lie in the folder, and are left out")
    return found


def _tag_of(name: str, tags: Sequence[str]) -> str:
    """Return the tag of the unit that a picture's name begins with ("L front.jpg"); "" where there is none."""
    for tag in sorted(tags, key=len, reverse=True):
        rest = name.casefold().removeprefix(tag.casefold())
        if tag and len(rest) < len(name) and not rest[:1].isalnum():
            return tag
    return ""


def _side(path: Path) -> Side:
    from metercap.compare import Side
    from metercap.compare.sources import open_source

    one = open_source(path)
    return Side(one.path.name, one.evidence, one.learned, one.lost)
