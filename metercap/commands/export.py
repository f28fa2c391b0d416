"""`metercap export`: write a session's tables as CSV or Parquet, its verdicts as subtitles, or jobs into a data set."""

from __future__ import annotations

import codecs
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click
import msgspec

from metercap.commands._values import Text
from metercap.gate import visible

EPILOG = """\b
Examples:
  metercap export b.jsonl --to b.csv
  metercap export b.jsonl --to b-readings.csv --table readings
  metercap export b.jsonl --to b.parquet --table readings
  metercap export b.jsonl --to - --table verdicts
  metercap export vent-pair --to pair.csv
  metercap export film.jsonl --to film.vtt
  metercap export film.jsonl --to film.vtt --film-start 15:04:05
  metercap export --columns
  metercap export . --to fleet/
  metercap export vent-pair fan-pair --to fleet/ --bench north

CSV is RFC 4180 with CRLF and one fixed set of columns; text that a spreadsheet would take for a formula is defused with
a leading apostrophe. Parquet needs the extra: pip install 'metercap[parquet]'. What --to names must not exist.

A .vtt file (WebVTT) subtitles a film of the work with the verdicts as they were given. Its times are counted from the
word clap, said while a hand claps before the camera: cut the film to begin at that clap. Each clap begins a film.

A folder (DATASET/) is a data set of many jobs: one row a verdict, one Parquet file a job, by model and month. Folders
are searched for jobs at any depth. A job that is in at the same journals is not written again, a changed one replaces
its part; of copies of a job the one that goes farther counts. Two exports may write one set at once. A part that is
stale, half-written or damaged is told, and never counted, by metercap history DATASET/. Any reader of partitioned
Parquet takes the set as it is; rows with `counted` are what a history counts, `measured` their values.

Exit status: 0 written; 1 some jobs could not be brought into the set as they are; 2 bad usage or file."""


class _Wanted(msgspec.Struct, frozen=True):
    """What is asked for: where to, which table, and how it is told."""

    to: str
    table: str
    as_json: bool

    def tell(self, what: str, rows: int, lost: Any, counted_from: str = "") -> None:
        """Print what was written."""
        if self.as_json:
            from metercap.plain import json_text

            more = {"counted_from": counted_from} if counted_from else {}
            click.echo(json_text({"file": self.to, "table": what, "rows": rows, "lost": lost, **more}))
        else:
            since = f", counted from {visible(counted_from)}" if counted_from else ""
            click.echo(f"{visible(self.to)}: {rows} {what}{since}")


class _Ways(msgspec.Struct, frozen=True):
    """How one table of a journal, or of a job's units, is written: to a stream, to a new CSV file, as Parquet."""

    stream: Callable[..., Any]
    csv: Callable[..., Any]
    parquet: Callable[..., Any]


@click.command(epilog=EPILOG)
@click.argument("files", nargs=-1, metavar="[FILE]...", type=click.Path(path_type=Path))
@click.option(
    "--to", type=click.Path(), help="New .csv, .parquet or .vtt file, - for CSV on stdout, or a data set: DATASET/."
)
@click.option(
    "--table", type=click.Choice(["verdicts", "readings"]), default="verdicts", show_default=True, help="Which table."
)
@click.option("--clap", type=click.IntRange(1, 999), help="Subtitles: count from this clap where there are several.")
@click.option(
    "--film-start",
    type=Text(),
    default="",
    help="Subtitles: when the film begins, local or with a zone; no clap needed.",
)
@click.option(
    "--bench", type=Text(), default="", help="Data set: where the jobs were measured. Else each FILE is a bench."
)
@click.option("--columns", is_flag=True, help="List the columns of the tables and what they say.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
def command(
    files: tuple[Path, ...],
    to: str | None,
    table: str,
    clap: int | None,
    film_start: str,
    bench: str,
    columns: bool,
    as_json: bool,
) -> int:
    """Write the verdicts or the readings of the session in FILE, or of a job's folder, to a table or as subtitles.

    Many jobs go into a data set.
    """
    from metercap.commands import _dataset
    from metercap.errors import UsageError
    from metercap.job import is_job

    if columns:
        return _columns(as_json=as_json)
    if not files or to is None:
        raise UsageError("export needs a FILE and --to", hint="metercap export b.jsonl --to b.csv")
    as_set = _dataset.meant(to)
    if bench and not as_set:
        raise UsageError("only a data set has benches", where="--bench", hint="name a folder: --to DATASET/")
    if as_set and table != "verdicts":
        raise UsageError("a data set holds verdicts", where="--table", hint="leave it out, or export job by job")
    if as_set and clap is None and not film_start:
        return _dataset.save(files, to, bench, as_json=as_json)
    if len(files) > 1:
        hint = "name one, or a data set: --to DATASET/"
        raise UsageError("a table is of one FILE", where=str(files[1]), hint=hint)
    file = files[0]
    if to == "-" and as_json:
        raise UsageError("stdout holds the table itself", where="--json", hint="leave it out, or name a file with --to")
    wanted = _Wanted(to, table, as_json)
    if to.endswith(".vtt"):
        return _subtitles(file, wanted, clap, film_start)
    if clap is not None or film_start:
        where = "--clap" if clap is not None else "--film-start"
        raise UsageError("only subtitles are counted from a film's start", where=where, hint="name the file x.vtt")
    return _of_a_job(file, wanted) if is_job(file) else _of_a_journal(file, wanted)


def _columns(*, as_json: bool) -> int:
    """List every column there is."""
    from metercap.export import TABLES, Column
    from metercap.fleet.schema import SET

    tables: dict[str, tuple[Column, ...]] = {str(name): its for name, its in TABLES.items()} | {"data set": SET}
    if as_json:
        from metercap.plain import json_text

        described = {name: [{"name": c.name, "type": c.type, "says": c.says} for c in its]
                     for name, its in tables.items()}  # fmt: skip
        click.echo(json_text(described))
        return 0
    for name, its in tables.items():
        click.echo(name)
        for column in its:
            click.echo(f"  {column.name:<12} {column.type:<7} {column.says}")
    return 0


def _written(of: Any, wanted: _Wanted, ways: _Ways) -> Any:
    """Write one table of a journal or of a job's units where it is wanted, and tell what was written."""
    from metercap.errors import UsageError

    to, table = wanted.to, wanted.table
    if to == "-":
        # Every cell is harmless as it is (`sheet.defused`), and CR LF ends a record.
        return ways.stream(of, table, codecs.getwriter("utf-8")(sys.stdout.buffer))
    if not to.endswith((".parquet", ".csv")):
        raise UsageError(
            f"{to!a} is neither .csv nor .parquet nor .vtt",
            where="--to",
            hint="name the file x.csv; DATASET/ is a data set",
        )
    done = (ways.parquet if to.endswith(".parquet") else ways.csv)(of, table, to)
    wanted.tell(table, done.rows, done.lost)
    return done


def _of_a_journal(file: Path, wanted: _Wanted) -> int:
    """Write one table of a journal."""
    from metercap.export import save_csv, save_parquet, write_csv

    done = _written(file, wanted, _Ways(write_csv, save_csv, save_parquet))
    if done.lost:
        click.echo(f"{visible(str(file))}: {done.lost}", err=True)
    return 0


def _of_a_job(folder: Path, wanted: _Wanted) -> int:
    """Write one table of all units of a job, over all their sittings."""
    from metercap.commands._folders import units_of
    from metercap.export import save_csv_of, save_parquet_of, write_csv_of

    _warn(_written(units_of(folder), wanted, _Ways(write_csv_of, save_csv_of, save_parquet_of)).lost)
    return 0


def _subtitles(file: Path, wanted: _Wanted, clap: int | None, film_start: str) -> int:
    """Write the verdicts of one film as subtitles."""
    from metercap.commands._folders import units_of
    from metercap.errors import UsageError
    from metercap.export import save_subtitles
    from metercap.job import is_job

    if wanted.table != "verdicts":
        raise UsageError("subtitles show verdicts", where="--table", hint="leave it out")
    if clap is not None and film_start:
        raise UsageError("a film begins at a clap or at a time", where="--film-start", hint="leave one of them out")
    units = units_of(file) if is_job(file) else [("", [file])]
    done = save_subtitles(units, wanted.to, clap=clap, film_start=film_start)
    wanted.tell("subtitles", done.rows, done.lost, done.counted_from)
    _warn(done.lost)
    return 0


def _warn(lost: Sequence[str]) -> None:
    for each in lost:
        click.echo(f"metercap: {visible(each)}", err=True)
