"""CSV files by RFC 4180 for spreadsheets and everything else: streamed, and harmless to open.

    record    one line ended by CR LF, the last one too; the first holds the column names (`schema`)
    field     quoted when it holds a comma, a quote, CR or LF, with quotes inside doubled
    charset   UTF-8, no byte-order mark

Text comes from meters, plans and people, and a spreadsheet runs what looks like a formula. So in text columns
an apostrophe goes before =, +, - and @ (their full-width forms too) where they begin a field, or a cell for a
spreadsheet that splits at semicolons or bars, behind spaces too since some programs take these off; control and other
unprintable characters are written as escapes (`\\x1b`). Number columns hold only numbers and are left alone.
"""

from __future__ import annotations

import contextlib
import csv
import datetime
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, TextIO

import msgspec

from metercap.errors import JournalError
from metercap.export.read import Row, reading_rows, verdict_row
from metercap.export.schema import TABLES, TableName
from metercap.export.source import Whose, whose_of
from metercap.files import new_file
from metercap.gate import visible
from metercap.journal import State, iterate
from metercap.journal.reader import Records
from metercap.records import Verdict

_FORMULA = re.compile(r"(^|[,;|])(?=\s*[=+\-@＝＋－＠])")


class Exported(msgspec.Struct, frozen=True):
    """How many rows were written, and the journal's state; `lost` says what a torn or unclosed one may lack."""

    rows: int
    state: State
    lost: str


def write_csv(journal: str | Path, table: TableName, stream: TextIO) -> Exported:
    """Write one table of a journal to an open text stream, which must not translate line ends (newline="").

    Both tables are streamed; of the verdicts, which one stands is looked for first. Raises JournalError as
    `journal.iterate` does; at damage the rows before it are out already.
    """
    whose = whose_of(Path(journal))
    last = {} if table == "readings" else _standing(journal)
    with iterate(journal) as records:
        rows = reading_rows(records, whose) if table == "readings" else _verdicts(records, last, whose)
        n = write_rows(rows, table, stream)
    return Exported(rows=n, state=records.state, lost=records.lost)


def write_rows(rows: Iterable[Row], table: TableName, stream: TextIO) -> int:
    """Write a table's header and rows to an open text stream; return how many rows there were."""
    out = csv.writer(stream, lineterminator="\r\n")
    out.writerow([column.name for column in TABLES[table]])
    n = 0
    for row in rows:
        out.writerow([cell(value) for value in row.values()])
        n += 1
    return n


def save_csv(journal: str | Path, table: TableName, path: str | Path) -> Exported:
    """Write one table of a journal to a new CSV file, whole or not at all.

    Raises FileProblem when the file exists or cannot be written, JournalError as `write_csv` does.
    """
    with new_file(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as stream:
        return write_csv(journal, table, stream)


def cell(value: Any) -> str:
    """Return one value as it goes into a cell: text defused, None and UNSET empty, floats as their shortest text.

    A time, which is UTC, is RFC 3339 to 1 µs.
    """
    if value is None or value is msgspec.UNSET:
        return ""
    if isinstance(value, str):
        return defused(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime.datetime):
        return value.replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"
    return repr(value)


def defused(text: str) -> str:
    """Return text that no spreadsheet takes for a formula and no terminal for a command."""
    return _FORMULA.sub(r"\1'", visible(text))


def _standing(journal: str | Path) -> dict[tuple[str, str], int]:
    """Return which verdict of each item stands, by its place among those before any damage: a pass of its own."""
    last: dict[tuple[str, str], int] = {}
    steps: dict[str, str] = {}
    n = 0
    with iterate(journal) as records, contextlib.suppress(JournalError):
        for record in records:
            if type(record) is Verdict:
                last[steps.setdefault(record.step, record.step), record.item] = n
                n += 1
    return last


def _verdicts(records: Records, last: dict[tuple[str, str], int], whose: Whose) -> Iterator[Row]:
    verdicts = (record for record in records if type(record) is Verdict)
    for n, verdict in enumerate(verdicts):
        # A file that is still being written may have grown since.
        stands = last.get((verdict.step, verdict.item), n) <= n
        yield verdict_row(verdict, stands) | whose.row(verdict.t_s)
