"""Columns of DataFrames, by the types of `schema`."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from typing import Any

import msgspec

from metercap.errors import UsageError
from metercap.export.schema import Column
from metercap.export.sittings import began
from metercap.export.source import Journal

_LONGEST_S = 1e11
"""No session lasts longer; a time beyond is none."""


class Words(dict[Any, int]):
    """Numbers distinct things in the order they come."""

    def __missing__(self, key: Any) -> int:
        self[key] = code = len(self)
        return code


def column(values: list[Any], its: Column) -> Any:
    """Return values of any type but time as a column."""
    np, pd = numpy(), pandas()
    values = [None if value is msgspec.UNSET else value for value in values]
    if its.type == "number":
        return np.array(values, dtype=np.float64)
    if its.type == "count":
        return pd.array(values, dtype="Int64")
    if its.type == "truth":
        return np.array(values, dtype=bool)
    texts = ["" if value is None else str(value) for value in values]
    if its.type == "text":
        return pd.array(texts, dtype="str")
    words = Words()
    codes = array("i", map(words.__getitem__, texts))
    return categorical(list(words), codes)


def categorical(words: Sequence[str], codes: Sequence[int]) -> Any:
    """Return a categorical column of words by their numbers; texts that look alike become one category."""
    np, pd = numpy(), pandas()
    distinct = {word: place for place, word in enumerate(dict.fromkeys(words))}
    small = np.int8 if len(distinct) < 128 else np.int32  # what pandas keeps them in, so that it makes no other copy
    table = np.array([distinct[word] for word in words], dtype=small)
    codes = table[np.asarray(codes)] if words else np.empty(0, dtype=small)
    return pd.Categorical.from_codes(codes, categories=pd.Index(list(distinct), dtype="str"))


def times(t_s: Any, journals: Sequence[Journal], files: Any) -> Any:
    """Return when something was at `t_s` of the journal that `files` numbers: UTC, to 1 µs; NaT where none can tell."""
    np, pd = numpy(), pandas()
    starts = np.array([_start(each) for each in journals], dtype="datetime64[us]")
    sane = np.abs(t_s) < _LONGEST_S
    since = np.rint(np.where(sane, t_s, 0.0) * 1e6).astype(np.int64).astype("timedelta64[us]")
    when = starts[files] + since
    when[~sane] = np.datetime64("NaT", "us")
    return pd.DatetimeIndex(when).tz_localize("UTC")


def _start(journal: Journal) -> Any:
    """Return a session's start in UTC; NaT where its record does not tell."""
    start = None if journal.session is None else began(journal.session)
    return numpy().datetime64("NaT" if start is None else start.replace(tzinfo=None), "us")


def pandas() -> Any:
    """Return pandas. UsageError, with the extra's name, where it is missing."""
    try:
        import pandas as pd
    except ImportError as error:
        raise UsageError("tables need pandas", hint="pip install 'metercap[tables]'") from error
    return pd


def numpy() -> Any:
    """Return numpy, which pandas brings."""
    import numpy as np

    return np
