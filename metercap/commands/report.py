"""`metercap report`: the report of a session, to hand over."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

import click

from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.compare import Side
    from metercap.report import Findings

Form: TypeAlias = Literal["html", "text", "json"]

EPILOG = """\b
Examples:
  metercap report b.jsonl
  metercap report b.jsonl --against a.jsonl --to b-report.html
  metercap report b.jsonl --text
  metercap report b.jsonl --json
  metercap report b.jsonl --to - > b.html

One HTML file that needs nothing else: verdicts with their uncertainty, trimmers as found and as left, counts with their
intervals, what is open, what was said, what this meter cannot see, and the cautions. It prints on A4, without colour
too. Without --to it stands beside the journal, as b.html; it never takes a file's place.

HTML needs the extra: pip install 'metercap[report]'. --text says the same in plain text and needs nothing more.

Exit status: 0 written, whatever the verdicts are; 2 bad usage or file. A torn journal is reported as far as it goes."""


@click.command(epilog=EPILOG)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--against", type=click.Path(path_type=Path), help="Session or reference file of a known-good unit.")
@click.option("--to", type=click.Path(), help="New file to write, or - for stdout.")
@click.option("--text", "as_text", is_flag=True, help="Plain text; to stdout unless --to names a file.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object; to stdout unless --to names a file.")
def command(file: Path, against: Path | None, to: str | None, as_text: bool, as_json: bool) -> int:
    """Write the report of the session in FILE."""
    from metercap.errors import UsageError
    from metercap.files import refuse_existing
    from metercap.journal.reader import open_journal

    if as_text and as_json:
        raise UsageError("--text and --json exclude each other")
    form: Form = "text" if as_text else "json" if as_json else "html"
    open_journal(file).close()
    path = _where(file, to, form)
    if path is not None:
        refuse_existing(path)
    found, content = make(file, against, form)
    if path is None:
        click.echo(content if form == "text" else content.encode(), nl=False)
    else:
        save(content, path)
        click.echo(f"report: {visible(str(path))}")
    if found.file.lost:
        click.echo(f"{visible(str(file))}: {found.file.lost}", err=True)
    return 0


def _where(file: Path, to: str | None, form: Form) -> Path | None:
    """Return the file to write, or None for stdout."""
    if to == "-" or (to is None and form != "html"):
        return None
    return file.with_suffix(".html") if to is None else Path(to)


def make(file: Path, against: Path | None = None, form: Form = "html") -> tuple[Findings, str]:
    """Return what there is to say of a session, and its report in one of the forms.

    UsageError where HTML is wanted and jinja2 is missing, before the journal is read; otherwise as `study`.
    """
    from metercap.commands._opening import program
    from metercap.report import compose, study

    if form == "html":
        from metercap.report.page import page, ready

        ready()
    found, gathered = study(file, program=program(), against=None if against is None else _side(against))
    if form == "json":
        from metercap.plain import json_text

        return found, json_text(found) + "\n"
    document = compose(found, gathered)
    if form == "html":
        return found, page(document)
    from metercap.report.text import text_lines

    return found, "".join(f"{line}\n" for line in text_lines(document))


def save(content: str, path: Path) -> None:
    """Write a report to a new file, whole or not at all. FileProblem when it exists or cannot be written."""
    from metercap.files import new_file

    with new_file(path) as temporary:
        temporary.write_text(content, "utf-8")


def _side(path: Path) -> Side:
    from metercap.commands._sources import open_source
    from metercap.compare import Side

    one = open_source(path)
    return Side(one.path.name, one.evidence, one.learned, one.lost)
