"""Parquet: one fixed schema, the same rows as the DataFrame."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import metercap
from metercap.errors import FileProblem, UsageError
from metercap.export import TABLES, save_csv, save_csv_of, save_parquet, save_parquet_of
from metercap.records import Contact, Do, Lift, Operator, Prompt, Record, Verdict, VerdictKind
from tests.export.conftest import make_reading

Write = Callable[..., Path]
TYPES = {
    "number": "double",
    "count": "int64",
    "truth": "bool",
    "word": "string",
    "text": "string",
    "time": "timestamp[us, tz=UTC]",
}


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


PLACED: list[Record] = [
    Prompt(t_s=0.0, step="fuses", item="F1", do=Do.PROBE, say="F1"),
    make_reading(0.1, None),
    make_reading(0.2, 0.3),
    Contact(t_s=0.2, step="fuses", item="F1"),
    make_reading(0.3, 0.2),
    Prompt(t_s=0.3, step="fuses", item="F2", do=Do.PROBE, say="F2"),
    make_reading(0.4, 0.2),
    make_reading(0.5, None),
    Lift(t_s=0.5, step="fuses", item="F1"),
    Operator(t_s=0.55, word="name", text="controller R"),
    Prompt(t_s=0.6, step="start", item="cold", do=Do.CONFIRM, say="starts?"),
    make_reading(0.7, None),
    Verdict(t_s=0.8, step="fuses", item="F1", verdict=VerdictKind.PASS, value=0.2, unit="ohm"),
]
"""In air, on F1 from the reading that began the contact to the last before the lift, in a step that sees no contact."""


@pytest.mark.parametrize("table", ["readings", "verdicts"])
def test_a_journal_and_a_job_and_every_format_say_the_same(write: Write, tmp_path: Path, table: str) -> None:
    """Each row has its step, item, unit and UTC time: in CSV and Parquet, of one journal and of a job, cell by cell."""
    pq = pytest.importorskip("pyarrow.parquet")
    plan = {"model": "GC-8", "steps": [{"id": "fuses", "kind": "sweep"}, {"id": "start", "kind": "trials"}]}
    journal = write(PLACED, plan=plan)
    units = [("", [journal])]
    save_parquet(journal, table, tmp_path / "one.parquet")  # type: ignore[arg-type]
    save_parquet_of(units, table, tmp_path / "job.parquet")  # type: ignore[arg-type]
    one, job = (pq.read_table(tmp_path / name) for name in ("one.parquet", "job.parquet"))
    assert one.schema == job.schema.with_metadata(one.schema.metadata)
    blank = [{k: v or None for k, v in row.items()} for row in one.to_pylist()]  # a frame has no text that is missing
    assert blank == [{k: v or None for k, v in row.items()} for row in job.to_pylist()]
    save_csv(journal, table, tmp_path / "one.csv")  # type: ignore[arg-type]
    save_csv_of(units, table, tmp_path / "job.csv")  # type: ignore[arg-type]
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "job.csv").read_bytes()
    lines = (tmp_path / "one.csv").read_text("utf-8").splitlines()
    header = lines[0].split(",")
    rows = [dict(zip(header, line.split(","), strict=True)) for line in lines[1:]]
    if table == "readings":
        assert [(row["step"], row["item"]) for row in rows] == [
            *[("fuses", ""), *[("fuses", "F1")] * 3, ("fuses", ""), ("start", "cold")]
        ]
    for row, there in zip(rows, job.to_pylist(), strict=True):
        assert (row["step"], row["item"]) == (there["step"] or "", there["item"] or "")
        assert datetime.datetime.fromisoformat(row["time"]) == there["time"]
        assert there["time"] == datetime.datetime(2031, 3, 4, 5, 6, 7, tzinfo=datetime.UTC) + datetime.timedelta(
            seconds=there["t_s"]
        )
        assert (row["tag"], row["unit_name"], row["session"]) == ("R", "controller R", "7f3c")
        assert (there["tag"], there["model"], there["meter"]) == ("R", "GC-8", "lcd14")
