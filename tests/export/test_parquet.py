"""Parquet: one fixed schema, the same rows as the DataFrame."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import metercap
from metercap.errors import FileProblem, UsageError
from metercap.export import TABLES, save_parquet

Write = Callable[..., Path]
TYPES = {"number": "double", "count": "int64", "truth": "bool", "word": "string", "text": "string"}


def test_without_pyarrow_the_error_says_what_to_install(
    write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without pyarrow nothing is written and the extra is named."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UsageError, match=r"metercap\[parquet\]"):
        save_parquet(write(), "readings", tmp_path / "out.parquet")
    assert [path.name for path in tmp_path.iterdir()] == ["gc8.jsonl"]


@pytest.mark.parametrize("table", ["readings", "verdicts"])
@pytest.mark.parametrize("empty", [False, True])
def test_schema_and_rows(write: Write, tmp_path: Path, table: str, empty: bool) -> None:
    """The file has the schema's columns and types, with rows or without, and gives back what the DataFrame holds."""
    pq = pytest.importorskip("pyarrow.parquet")
    journal = write([]) if empty else write()
    out = tmp_path / "out.parquet"
    result = save_parquet(journal, table, out)  # type: ignore[arg-type]
    read = pq.read_table(out)
    assert [(field.name, str(field.type)) for field in read.schema] == [
        (column.name, TYPES[column.type]) for column in TABLES[table]
    ]
    assert read.schema.metadata[b"metercap.session"] == b"7f3c"
    recording = metercap.load(journal)
    frame = recording.readings(raw=True) if table == "readings" else recording.verdicts()
    assert (result.rows, result.state) == (len(frame), "closed")
    for name, column in read.to_pydict().items():
        there = zip(frame[name].astype(object), frame[name].isna(), strict=True)
        expected = [None if missing else value for value, missing in there]
        assert column == expected, name
    with pytest.raises(FileProblem, match="already exists"):
        save_parquet(journal, table, out)  # type: ignore[arg-type]
