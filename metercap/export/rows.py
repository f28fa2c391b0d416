"""Rows of the tables that are small: contacts, prompts, words and verdicts of some journals, as DataFrames."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from metercap.export.columns import column, numpy, pandas, times
from metercap.export.read import verdict_row
from metercap.export.schema import FRAMES, FROM_WHERE, FrameName
from metercap.export.sittings import source_of
from metercap.export.source import Journal, records_of
from metercap.records import Contact, Lift, Operator, Prompt, Verdict

if TYPE_CHECKING:
    import pandas as pd

Row = dict[str, Any]


def rows_frame(journals: Sequence[Journal], name: FrameName) -> pd.DataFrame:
    """Return a table of some journals as a DataFrame with the schema's columns, journal by journal.

    Raises JournalError, with its place, for a line that cannot be decoded; UsageError without pandas.
    """
    pd, np = pandas(), numpy()
    numbered = [(number, row) for number, row in _MAKERS[name](journals)]
    files = np.array([number for number, _ in numbered], dtype=np.int64)
    own = FRAMES[name][: -len(FROM_WHERE)]
    columns = {each.name: column([row[each.name] for _, row in numbered], each) for each in own}
    columns["time"] = times(columns["t_s"], journals, files)
    for each in FROM_WHERE[1:]:
        said = [getattr(journal.whose, each.name) for journal in journals]
        columns[each.name] = column([said[number] for number, _ in numbered], each)
    return pd.DataFrame(columns)


def _contacts(journals: Sequence[Journal]) -> Iterator[tuple[int, Row]]:
    for number, journal in enumerate(journals):
        open_row: Row | None = None
        for record in records_of(journal.path, "contact", "lift"):
            if open_row is not None:
                if isinstance(record, Lift):
                    open_row["until_s"] = record.t_s
                yield number, open_row
                open_row = None
            if isinstance(record, Contact):
                open_row = {
                    "t_s": record.t_s,
                    "until_s": None,
                    "step": record.step,
                    "item": record.item,
                    "same": record.same,
                }
        if open_row is not None:
            yield number, open_row


def _prompts(journals: Sequence[Journal]) -> Iterator[tuple[int, Row]]:
    return _plain(journals, "prompts", Prompt)


def _words(journals: Sequence[Journal]) -> Iterator[tuple[int, Row]]:
    return _plain(journals, "words", Operator)


def _plain(journals: Sequence[Journal], name: FrameName, kind: type[Any]) -> Iterator[tuple[int, Row]]:
    """Give rows whose columns are a record's own fields."""
    names = [each.name for each in FRAMES[name][: -len(FROM_WHERE)]]
    for number, journal in enumerate(journals):
        for record in records_of(journal.path, str(kind.__struct_config__.tag)):
            yield number, {each: getattr(record, each) for each in names}


def _verdicts(journals: Sequence[Journal]) -> Iterator[tuple[int, Row]]:
    """Give every verdict; what a sitting took over from an earlier one that is here has its row there alone."""
    ids = {journal.session.id for journal in journals if journal.session is not None}
    found: list[tuple[int, Verdict]] = []
    for number, journal in enumerate(journals):
        for record in records_of(journal.path, "verdict"):
            assert isinstance(record, Verdict)
            if source_of(record) not in ids:
                found.append((number, record))
    last = {(journals[number].tag, verdict.step, verdict.item): place for place, (number, verdict) in enumerate(found)}
    for place, (number, verdict) in enumerate(found):
        yield number, verdict_row(verdict, last[journals[number].tag, verdict.step, verdict.item] == place)


_MAKERS: dict[FrameName, Callable[[Sequence[Journal]], Iterator[tuple[int, Row]]]] = {
    "contacts": _contacts,
    "prompts": _prompts,
    "words": _words,
    "verdicts": _verdicts,
}
