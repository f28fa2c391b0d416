"""Parquet files with the fixed schema of `schema`, whole or not at all. Needs pyarrow (extra `parquet`)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from metercap.errors import UsageError
from metercap.export.recording import load
from metercap.export.schema import TABLES, Column, TableName
from metercap.export.sheet import Exported
from metercap.files import new_file

_TYPES = {"number": "float64", "count": "int64", "truth": "bool_", "word": "string", "text": "string"}


def save_parquet(journal: str | Path, table: TableName, path: str | Path) -> Exported:
    """Write one table of a journal to a new Parquet file; the file's metadata name session, unit, tag and start.

    Raises UsageError without pyarrow or pandas, FileProblem when the file exists or cannot be written,
    JournalError as `load` does.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise UsageError("Parquet needs pyarrow", hint="pip install 'metercap[parquet]', or export CSV") from error
    with new_file(path) as temporary:
        recording = load(journal)
        assert recording.state is not None
        frame = recording.readings(raw=True) if table == "readings" else recording.verdicts()
        arrow = pa.Table.from_pandas(frame, schema=schema_of(pa, TABLES[table]), preserve_index=False)
        arrow = arrow.replace_schema_metadata({f"metercap.{key}": str(value) for key, value in frame.attrs.items()})
        pq.write_table(arrow, temporary)
    return Exported(rows=len(frame), state=recording.state, lost=recording.lost)


def schema_of(pa: Any, columns: Sequence[Column]) -> Any:
    """Return the types of a table's columns, as pyarrow has them."""
    types = {name: getattr(pa, made)() for name, made in _TYPES.items()} | {"time": pa.timestamp("us", tz="UTC")}
    return pa.schema([(column.name, types[column.type]) for column in columns])
