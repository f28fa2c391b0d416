"""Journals as pandas DataFrames, fast: blocks of lines go straight into columns, and no record is made on the way.

A journal of a million readings is one pass over its bytes: lines of the wanted kind are picked by how they
begin, decoded into a slim struct that has only the columns, and put into arrays block by block. `raw` costs a
string for every row, so it is left out unless asked for.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from metercap.errors import JournalError, UsageError
from metercap.export.schema import READINGS, VERDICTS, Column
from metercap.export.sheet import verdict_rows
from metercap.journal import iterate
from metercap.journal.format import MAX_LINE
from metercap.journal.reader import open_journal
from metercap.quantity import Quantity
from metercap.reading import State, told
from metercap.records import Verdict, decode

if TYPE_CHECKING:
    import pandas as pd

_BLOCK = 1 << 20
_READING = b'{"kind":"reading",'
_VERDICT = b'{"kind":"verdict",'

# Literals and not the enums: their strings are the same objects every time, and cost no look-up.
_QuantityWord = Literal[tuple(quantity.value for quantity in Quantity)]  # type: ignore[valid-type]
_StateWord = Literal[tuple(state.value for state in State)]  # type: ignore[valid-type]


class _Slim(msgspec.Struct, gc=False, tag_field="kind", tag="reading"):
    t_s: float
    quantity: _QuantityWord  # type: ignore[valid-type]
    value: float | None
    resolution: float
    unit: str
    state: _StateWord  # type: ignore[valid-type]
    flags: tuple[str, ...]


class _SlimRaw(_Slim, gc=False, tag_field="kind", tag="reading"):
    raw: str


class _Words(dict[Any, int]):
    """Numbers distinct things in the order they come."""

    def __missing__(self, key: Any) -> int:
        self[key] = code = len(self)
        return code


def readings_frame(path: Path, *, raw: bool = False) -> pd.DataFrame:
    """Return every reading of a journal as a DataFrame with the schema's columns.

    Raises JournalError, with its place, for a line that cannot be decoded; UsageError without pandas.
    """
    np, pd = _numpy(), _pandas()
    slim = _SlimRaw if raw else _Slim
    decoder = msgspec.json.Decoder(slim)
    numbers: dict[str, list[Any]] = {"t_s": [], "value": [], "resolution": []}
    words = {name: _Words() for name in ("quantity", "unit", "state", "flags")}
    codes: dict[str, array[int]] = {name: array("i") for name in words}
    texts: list[str] = []
    for block in _blocks(path):
        rows = _rows(decoder, block, path)
        numbers["t_s"].append(np.array([row.t_s for row in rows], dtype=np.float64))
        numbers["value"].append(np.array([row.value for row in rows], dtype=np.float64))
        numbers["resolution"].append(np.array([row.resolution for row in rows], dtype=np.float64))
        codes["quantity"].extend(map(words["quantity"].__getitem__, [row.quantity for row in rows]))
        codes["unit"].extend(map(words["unit"].__getitem__, [row.unit for row in rows]))
        codes["state"].extend(map(words["state"].__getitem__, [row.state for row in rows]))
        codes["flags"].extend(map(words["flags"].__getitem__, [row.flags for row in rows]))
        if raw:
            texts.extend([row.raw for row in rows])  # type: ignore[attr-defined]
    columns: dict[str, Any] = {}
    for column in READINGS:
        name = column.name
        if name in numbers:
            columns[name] = np.concatenate(numbers[name]) if numbers[name] else np.empty(0)
        elif name in codes:
            known = [" ".join(told(word)) if name == "flags" else word for word in words[name]]
            columns[name] = _categorical(known, codes[name])
        elif raw:
            columns[name] = pd.array(texts, dtype="str")
    return pd.DataFrame(columns)


def verdicts_frame(path: Path) -> pd.DataFrame:
    """Return every verdict of a journal, replaced ones too, as a DataFrame with the schema's columns.

    Raises JournalError, with its place, for a line that cannot be decoded; UsageError without pandas.
    """
    pd = _pandas()
    found: list[Verdict] = []
    for block in _blocks(path):
        try:
            found.extend(decode(line) for line in _only(block, _VERDICT))  # type: ignore[misc]
        except JournalError as error:
            raise _placed(path, error.what) from error
    rows = verdict_rows(found)
    return pd.DataFrame({column.name: _column([row[column.name] for row in rows], column) for column in VERDICTS})


def _column(values: list[Any], column: Column) -> Any:
    np, pd = _numpy(), _pandas()
    values = [None if value is msgspec.UNSET else value for value in values]
    if column.type == "number":
        return np.array(values, dtype=np.float64)
    if column.type == "count":
        return pd.array(values, dtype="Int64")
    if column.type == "truth":
        return np.array(values, dtype=bool)
    texts = ["" if value is None else str(value) for value in values]
    if column.type == "text":
        return pd.array(texts, dtype="str")
    words = _Words()
    codes = array("i", map(words.__getitem__, texts))
    return _categorical(list(words), codes)


def _categorical(words: list[str], codes: Iterable[int]) -> Any:
    """A categorical column; texts that look alike become one category."""
    np, pd = _numpy(), _pandas()
    codes = np.array(codes, dtype=np.int32)
    distinct = list(dict.fromkeys(words))
    if len(distinct) < len(words):
        codes = np.array([distinct.index(word) for word in words], dtype=np.int32)[codes]
    return pd.Categorical.from_codes(codes, categories=pd.Index(distinct, dtype="str"))


def _rows(decoder: msgspec.json.Decoder[_Slim], block: bytes, path: Path) -> list[_Slim]:
    """Return the readings among a block's lines: all of them at once, or, when others are among them, only those."""
    try:
        return decoder.decode_lines(block)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        pass
    try:
        return decoder.decode_lines(b"\n".join(_only(block, _READING)))
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise _placed(path, str(error)) from error


def _only(block: bytes, start: bytes) -> list[bytes]:
    if start not in block:
        return []
    return [line for line in block.split(b"\n") if line.startswith(start)]


def _blocks(path: Path) -> Iterator[bytes]:
    """Give the file's whole lines, many at a time. A tail without LF is not given."""
    with open_journal(path) as file:
        tail = b""
        while block := file.read(_BLOCK):
            end = block.rfind(b"\n") + 1
            if end:
                yield tail + block[:end]
                tail = block[end:]
            else:
                tail += block
            if len(tail) > MAX_LINE:
                raise _placed(path, f"a line of more than {MAX_LINE} bytes")


def _placed(path: Path, what: str) -> JournalError:
    """Return the error with its place, which reading the slow way finds."""
    try:
        for _ in iterate(path):
            pass
    except JournalError as error:
        return error
    return JournalError(what, where=str(path))


def _pandas() -> Any:
    try:
        import pandas as pd
    except ImportError as error:
        raise UsageError("tables need pandas", hint="pip install 'metercap[tables]'") from error
    return pd


def _numpy() -> Any:
    import numpy as np

    return np
