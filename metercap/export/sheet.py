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
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, TextIO

import msgspec

from metercap.errors import JournalError
from metercap.export.schema import TABLES, VERDICTS, TableName
from metercap.files import new_file
from metercap.gate import visible
from metercap.journal import State, iterate
from metercap.journal.reader import Records
from metercap.reading import Reading, told
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
    out = csv.writer(stream, lineterminator="\r\n")
    out.writerow([column.name for column in TABLES[table]])
    last = {} if table == "readings" else _standing(journal)
    records = iterate(journal)
    rows = 0
    with records:
        for row in _readings(records) if table == "readings" else _verdicts(records, last):
            out.writerow(row)
            rows += 1
    return Exported(rows=rows, state=records.state, lost=records.lost)


def save_csv(journal: str | Path, table: TableName, path: str | Path) -> Exported:
    """Write one table of a journal to a new CSV file, whole or not at all.

    Raises FileProblem when the file exists or cannot be written, JournalError as `write_csv` does.
    """
    with new_file(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as stream:
        return write_csv(journal, table, stream)


def cell(value: Any) -> str:
    """Return one value as it goes into a cell: text defused, None and UNSET empty, floats as their shortest text."""
    if value is None or value is msgspec.UNSET:
        return ""
    if isinstance(value, str):
        return defused(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value)


def defused(text: str) -> str:
    """Return text that no spreadsheet takes for a formula and no terminal for a command."""
    return _FORMULA.sub(r"\1'", visible(text))


def verdict_rows(records: Iterable[Any]) -> list[dict[str, Any]]:
    """Return one row for each verdict among the records, by the schema's column names."""
    found = [record for record in records if type(record) is Verdict]
    last = {(verdict.step, verdict.item): index for index, verdict in enumerate(found)}
    return [verdict_row(verdict, last[verdict.step, verdict.item] == index) for index, verdict in enumerate(found)]


def verdict_row(verdict: Verdict, stands: bool) -> dict[str, Any]:
    """Return one verdict's row, by the schema's column names."""
    row = {column.name: getattr(verdict, column.name, None) for column in VERDICTS}
    row["U"] = verdict.expanded
    row["stands"] = stands
    return row


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


def _readings(records: Records) -> Iterator[list[str]]:
    for record in records:
        if type(record) is Reading:
            yield [
                repr(record.t_s),
                record.quantity,
                "" if record.value is None else repr(record.value),
                repr(record.resolution),
                defused(record.unit),
                record.state,
                defused(" ".join(told(record.flags))),
                defused(record.raw),
            ]


def _verdicts(records: Records, last: dict[tuple[str, str], int]) -> Iterator[list[str]]:
    verdicts = (record for record in records if type(record) is Verdict)
    for n, verdict in enumerate(verdicts):
        # A file that is still being written may have grown since.
        stands = last.get((verdict.step, verdict.item), n) <= n
        yield [cell(value) for value in verdict_row(verdict, stands).values()]
