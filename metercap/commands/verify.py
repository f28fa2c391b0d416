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

Exit status: 0 intact; 1 readable but torn or not closed; 2 damaged. Repair never touches the old file."""


@click.command(epilog=EPILOG)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--repair", "new", type=click.Path(path_type=Path), help="Write what is good to this new file.")
@click.option("--json", "as_json", is_flag=True, help="Print the finding as JSON.")
def command(file: Path, new: Path | None, as_json: bool) -> int:
    """Check every line of FILE: its checksum, the chain, the closing hash."""
    from metercap.journal import repair, verify

    report = verify(file) if new is None else repair(file, new)
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(report))
    else:
        for line in _lines(report):
            click.echo(safe(line))
    return report.exit_status


def _lines(report: Soundness) -> Iterator[str]:
    yield f"{report.path}: {report.state}, {report.records} records in {report.bytes} bytes"
    for problem in report.problems:
        yield f"  {problem}"
    if report.lost:
        yield f"  lost: {report.lost}"
    if report.written:
        yield f"  written: {report.written}"
