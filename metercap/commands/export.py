"""`metercap export`: write a session's tables as CSV or Parquet."""

from __future__ import annotations

import codecs
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from metercap.gate import visible

EPILOG = """\b
Examples:
  metercap export b.jsonl --to b.csv
  metercap export b.jsonl --to b-readings.csv --table readings
  metercap export b.jsonl --to b.parquet --table readings
  metercap export b.jsonl --to - --table verdicts
  metercap export vent-pair --to pair.csv
  metercap export --columns

CSV is RFC 4180 with CRLF and one fixed set of columns; text that a spreadsheet would take for a formula is defused with
a leading apostrophe. Parquet needs the extra: pip install 'metercap[parquet]'. What --to names must not exist."""


@click.command(epilog=EPILOG)
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--to", type=click.Path(), help="New .csv or .parquet file, or - for CSV on stdout.")
@click.option(
    "--table", type=click.Choice(["verdicts", "readings"]), default="verdicts", show_default=True, help="Which table."
)
@click.option("--columns", is_flag=True, help="List the columns of both tables and what they say.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
def command(file: Path | None, to: str | None, table: str, columns: bool, as_json: bool) -> int:
    """Write the verdicts or the readings of the session in FILE, or of a job's folder, to a table."""
    from metercap.errors import UsageError
    from metercap.export import OF_A_JOB, TABLES, save_csv, save_parquet, write_csv
    from metercap.job import is_job

    if columns and as_json:
        from metercap.plain import json_text

        described = {name: [{"name": c.name, "type": c.type, "says": c.says} for c in (*its, *OF_A_JOB)]
                     for name, its in TABLES.items()}  # fmt: skip
        click.echo(json_text(described))
        return 0
    if columns:
        for name, its in TABLES.items():
            click.echo(name)
            for column in (*its, *OF_A_JOB):
                click.echo(f"  {column.name:<12} {column.type:<7} {column.says}")
        return 0
    if file is None or to is None:
        raise UsageError("export needs a FILE and --to", hint="metercap export b.jsonl --to b.csv")
    if to == "-" and as_json:
        raise UsageError("stdout holds the table itself", where="--json", hint="leave it out, or name a file with --to")
    if is_job(file):
        return _of_a_job(file, to, table, as_json=as_json)
    done = _written(file, to, table, as_json, write_csv, save_parquet, save_csv)
    if done.lost:
        click.echo(f"{visible(str(file))}: {done.lost}", err=True)
    return 0


def _written(
    of: Any,
    to: str,
    table: str,
    as_json: bool,
    write: Callable[..., Any],
    parquet: Callable[..., Any],
    csv: Callable[..., Any],
) -> Any:
    """Write one table of a journal or of a job's units where `to` says, and tell what was written."""
    from metercap.errors import UsageError

    if to == "-":
        # Every cell is harmless as it is (`sheet.defused`), and CR LF ends a record.
        return write(of, table, codecs.getwriter("utf-8")(sys.stdout.buffer))
    if to.endswith(".parquet"):
        done = parquet(of, table, to)
    elif to.endswith(".csv"):
        done = csv(of, table, to)
    else:
        raise UsageError(f"{to!a} is neither .csv nor .parquet", where="--to", hint="name the file x.csv")
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text({"file": to, "table": table, "rows": done.rows, "lost": done.lost}))
    else:
        click.echo(f"{visible(str(to))}: {done.rows} {table}")
    return done


def _of_a_job(folder: Path, to: str, table: str, *, as_json: bool) -> int:
    """Write one table of all units of a job, over all their sittings."""
    from metercap.commands._folders import units_of
    from metercap.export import save_csv_of, save_parquet_of, write_csv_of

    done = _written(units_of(folder), to, table, as_json, write_csv_of, save_parquet_of, save_csv_of)
    for lost in done.lost:
        click.echo(f"metercap: {visible(lost)}", err=True)
    return 0
