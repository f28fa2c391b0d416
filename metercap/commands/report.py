"""`metercap report`: the report of a session, or of a job, to hand over."""

from __future__ import annotations

from pathlib import Path

import click

from metercap.gate import visible

EPILOG = """\b
Examples:
  metercap report b.jsonl
  metercap report b.jsonl --against a.jsonl --to b-report.html
  metercap report b.jsonl --text
  metercap report b.jsonl --json
  metercap report b.jsonl --to - > b.html
  metercap report monday.jsonl tuesday.jsonl good.jsonl --to pair.html
  metercap report b.jsonl --attach board.jpg
  metercap report "vent pair"

One HTML file that needs nothing else: verdicts with their uncertainty, trimmers as found and as left, counts with their
intervals, what is open, what was said, what this meter cannot see, the cautions. It prints on A4 and Letter, without
colour too. Without --to it stands beside the journal, as b.html; it never takes a file's place.

Several journals, or a job (its folder or its title), make one report: the units side by side, then what became of each
over all its sittings, a place to sign, and the tables behind. A job's stands in its folder, as report.html, then as
report-2.html, with the pictures that lie there.

Pictures (--attach, JPEG or PNG) are made small and drawn anew, without what a camera writes into them; one whose name
begins with a unit's tag stands with that unit.

--text says the same in plain text. Pictures need the extra: pip install 'metercap[pictures]'.

Exit status: 0 written, whatever the verdicts are; 2 bad usage or file. A torn journal is reported as far as it goes."""


@click.command(epilog=EPILOG)
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@click.option("--against", type=click.Path(path_type=Path), help="Session or reference file of a known-good unit.")
@click.option("--attach", multiple=True, type=click.Path(path_type=Path), help="Picture to put in; may be repeated.")
@click.option("--to", type=click.Path(), help="New file to write, or - for stdout.")
@click.option("--text", "as_text", is_flag=True, help="Plain text; to stdout unless --to names a file.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object; to stdout unless --to names a file.")
def command(
    files: tuple[Path, ...],
    against: Path | None,
    attach: tuple[Path, ...],
    to: str | None,
    as_text: bool,
    as_json: bool,
) -> int:
    """Write the report of the sessions in FILES, or of a job."""
    from metercap.commands._papers import Form, Papers, make, make_job, papers_of, units_of
    from metercap.errors import UsageError
    from metercap.files import refuse_existing
    from metercap.journal.reader import open_journal

    if as_text and as_json:
        raise UsageError("--text and --json exclude each other")
    form: Form = "text" if as_text else "json" if as_json else "html"
    job = papers_of(files[0], attach) if len(files) == 1 else None
    for file in files if job is None else ():
        open_journal(file).close()
    if to is None and form == "html" and len(files) > 1:
        raise UsageError("several journals make one report", where="--to", hint="name the file to write")
    path = _where(files[0] if job is None else job.free_page(), to, form)
    if path is not None:
        refuse_existing(path)
    if len(files) == 1 and job is None:
        found, content = make(files[0], against, form, attach)
        lost = [f"{files[0]}: {found.file.lost}"] if found.file.lost else []
    else:
        whole, content = make_job(job or Papers(units_of(files), attached=attach), against, form)
        lost = list(whole.warnings)
    if path is None:
        click.echo(content if form == "text" else content.encode(), nl=False)
    else:
        save(content, path)
        click.echo(f"report: {visible(str(path))}")
    for text in lost:
        click.echo(visible(text), err=True)
    return 0


def _where(file: Path, to: str | None, form: str) -> Path | None:
    """Return the file to write, or None for stdout."""
    if to == "-" or (to is None and form != "html"):
        return None
    return file.with_suffix(".html") if to is None else Path(to)


def save(content: str, path: Path) -> None:
    """Write a report to a new file, whole or not at all. FileProblem when it exists or cannot be written."""
    from metercap.files import new_file

    with new_file(path) as temporary:
        temporary.write_text(content, "utf-8")
