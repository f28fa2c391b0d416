"""The journals of several units as one table: the same columns, and two more that say whose row it is and where from.

What a sitting took over from an earlier one that is here has its row there, and no second one.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, TextIO

import msgspec

from metercap.errors import UsageError
from metercap.export.parquet import schema_of
from metercap.export.schema import TABLES, Column, TableName
from metercap.export.sheet import cell, verdict_row
from metercap.export.sittings import Units, given, records_in
from metercap.files import new_file
from metercap.reading import Reading, told
from metercap.records import SessionRecord

OF_A_JOB = (
    Column("tag", "word", "the unit's tag; in the table of a job only"),
    Column("journal", "word", "the file that the row is from; in the table of a job only"),
)
_BLOCK = 1 << 16
"""Rows that go into a Parquet file together."""

Key = tuple[str, str]


class SeveralExported(msgspec.Struct, frozen=True):
    """How many rows were written; `lost` says what each journal that is not closed may lack."""

    rows: int
    lost: tuple[str, ...]


def write_csv_of(units: Units, table: TableName, stream: TextIO) -> SeveralExported:
    """Write one table of all units' journals to an open text stream, which must not translate line ends."""
    out = csv.writer(stream, lineterminator="\r\n")
    out.writerow([column.name for column in (*TABLES[table], *OF_A_JOB)])
    lost: list[str] = []
    rows = 0
    for row in _rows(units, table, lost):
        out.writerow([cell(value) for value in row.values()])
        rows += 1
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
    schema = schema_of(pa, (*TABLES[table], *OF_A_JOB))
    lost: list[str] = []
    rows = 0
    with new_file(path) as temporary, pq.ParquetWriter(temporary, schema) as writer:
        held: list[dict[str, Any]] = []
        for row in _rows(units, table, lost):
            held.append({name: None if value is msgspec.UNSET else value for name, value in row.items()})
            rows += 1
            if len(held) == _BLOCK:
                writer.write_table(pa.Table.from_pylist(held, schema))
                held = []
        writer.write_table(pa.Table.from_pylist(held, schema))
    return SeveralExported(rows, tuple(dict.fromkeys(lost)))


def _rows(units: Units, table: TableName, lost: list[str]) -> Iterator[dict[str, Any]]:
    for tag, paths in units:
        last = _Last({}, {}) if table == "readings" else _standing(paths, lost)
        for number, path in enumerate(paths):
            more = {"tag": tag, "journal": path.name}
            if table == "readings":
                for record in records_in(path, lost):
                    if type(record) is Reading:
                        yield _reading_row(record) | more
            else:
                for n, verdict in given(path, last.ids, lost):
                    stands = last.places[verdict.step, verdict.item] == (number, n)
                    yield verdict_row(verdict, stands) | more


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


def _reading_row(record: Reading) -> dict[str, Any]:
    row = {column.name: getattr(record, column.name) for column in TABLES["readings"]}
    row["quantity"], row["state"] = record.quantity.value, record.state.value
    row["flags"] = " ".join(told(record.flags))
    return row
