"""`metercap verify`: say whether a journal is whole; repair into a new file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from metercap.plain.style import safe

if TYPE_CHECKING:
    from metercap.journal import Soundness

EPILOG = """\b
Examples:
  metercap verify a.jsonl
  metercap verify a.jsonl --repair a-repaired.jsonl
  metercap verify vent-pair

Exit status, of a job that of its worst journal: 0 intact; 1 readable but torn or not closed; 2 damaged. Repair never
touches the old file."""


@click.command(epilog=EPILOG)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--repair", "new", type=click.Path(path_type=Path), help="Write what is good to this new file.")
@click.option("--json", "as_json", is_flag=True, help="Print the finding as JSON.")
def command(file: Path, new: Path | None, as_json: bool) -> int:
    """Check every line of FILE, or of every journal in a job's folder: its checksum, the chain, the closing hash."""
    from metercap.errors import UsageError
    from metercap.job import is_job
    from metercap.journal import repair, verify

    if is_job(file):
        if new is not None:
            raise UsageError("one journal at a time is repaired", where="--repair", hint="name it, not its job")
        return _job(file, as_json=as_json)
    report = verify(file) if new is None else repair(file, new)
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(report))
    else:
        for line in _lines(report):
            click.echo(safe(line))
    return report.exit_status


def _job(folder: Path, *, as_json: bool) -> int:
    """Check every journal of a job; return the status of the worst."""
    from metercap.commands._folders import expanded
    from metercap.errors import JournalError
    from metercap.journal import verify

    worst, reports = 0, []
    for path in expanded([folder]):
        try:
            report = verify(path)
        except JournalError as error:  # one that cannot be read at all hides nothing of the others
            worst = 2
            click.echo(f"metercap: {safe(str(error))}", err=True)
            continue
        worst = max(worst, report.exit_status)
        reports.append(report)
        for line in () if as_json else _lines(report):
            click.echo(safe(line))
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(reports))
    return worst


def _lines(report: Soundness) -> Iterator[str]:
    yield f"{report.path}: {report.state}, {report.records} records in {report.bytes} bytes"
    for problem in report.problems:
        yield f"  {problem}"
    if report.lost:
        yield f"  lost: {report.lost}"
    if report.written:
        yield f"  written: {report.written}"
