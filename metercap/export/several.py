"""The journals of several units as one table.

What a sitting took over from an earlier one that is here has its row there, and no second one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, TextIO

import msgspec

from metercap.errors import JournalError, UsageError
from metercap.export.parquet import schema_of
from metercap.export.read import Row, reading_rows, verdict_row
from metercap.export.schema import TABLES, TableName
from metercap.export.sheet import write_rows
from metercap.export.sittings import Units, given, records_in
from metercap.export.source import Whose, whose_of
from metercap.files import new_file
from metercap.records import SessionRecord

_BLOCK = 1 << 16
"""Rows that go into a Parquet file together."""

Key = tuple[str, str]


class SeveralExported(msgspec.Struct, frozen=True):
    """How many rows were written; `lost` says what each journal that is not closed may lack."""

    rows: int
    lost: tuple[str, ...]


def write_csv_of(units: Units, table: TableName, stream: TextIO) -> SeveralExported:
    """Write one table of all units' journals to an open text stream, which must not translate line ends."""
    lost: list[str] = []
    rows = write_rows(table_rows(units, table, lost), table, stream)
    return SeveralExported(rows, tuple(dict.fromkeys(lost)))


def save_csv_of(units: Units, table: TableName, path: str | Path) -> SeveralExported:
    """Write one table to a new CSV file, whole or not at all. Raises FileProblem as `save_csv` does."""
    with new_file(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as stream:
        return write_csv_of(units, table, stream)


def save_parquet_of(units: Units, table: TableName, path: str | Path) -> SeveralExported:
    """Write one table to a new Parquet file, block by block. Raises as `save_parquet` does."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise UsageError("Parquet needs pyarrow", hint="pip install 'metercap[parquet]', or export CSV") from error
    schema = schema_of(pa, TABLES[table])
    lost: list[str] = []
    rows = 0
    with new_file(path) as temporary, pq.ParquetWriter(temporary, schema) as writer:
        held: list[dict[str, Any]] = []
        for row in table_rows(units, table, lost):
            held.append({name: None if value is msgspec.UNSET else value for name, value in row.items()})
            rows += 1
            if len(held) == _BLOCK:
                writer.write_table(pa.Table.from_pylist(held, schema))
                held = []
        writer.write_table(pa.Table.from_pylist(held, schema))
    return SeveralExported(rows, tuple(dict.fromkeys(lost)))


def table_rows(units: Units, table: TableName, lost: list[str]) -> Iterator[Row]:
    """Yield all rows of a table, unit by unit; what journals that are not whole may lack is told in `lost`."""
    for tag, paths in units:
        last = _Last({}, {}) if table == "readings" else _standing(paths, lost)
        for number, path in enumerate(paths):
            whose = _whose(path, tag)
            if table == "readings":
                yield from reading_rows(records_in(path, lost), whose)
            else:
                for n, verdict in given(path, last.ids, lost):
                    stands = last.places[verdict.step, verdict.item] == (number, n)
                    yield verdict_row(verdict, stands) | whose.row(verdict.t_s)


def _whose(path: Path, tag: str) -> Whose:
    try:
        return whose_of(path, tag)
    except JournalError:
        return Whose(tag, path.name)


class _Last(msgspec.Struct):
    """Where the verdict stands that counts for each item: journal and place in it; and which sessions there are."""

    ids: dict[str, None] = {}
    places: dict[Key, tuple[int, int]] = {}


def _standing(paths: Sequence[Path], lost: list[str]) -> _Last:
    last = _Last({}, {})
    for number, path in enumerate(paths):
        for n, verdict in given(path, last.ids, lost):
            last.places[verdict.step, verdict.item] = (number, n)
        for record in records_in(path, []):
            if isinstance(record, SessionRecord):
                last.ids[record.id] = None
            break
    return last
