"""Readings as a pandas DataFrame, fast: blocks of lines go straight into columns, and no record is made on the way.

A journal of a million readings is one pass over its bytes: every line is decoded into a slim struct that has only what
is wanted of its kind, and the readings' are put into arrays block by block. Prompts, contacts and lifts among them say
where the readings belong; these change seldom, so a place is kept with the number of the reading it begins with. `raw`
costs a string for every row, so it is left out unless asked for.
"""

from __future__ import annotations

import functools
import operator
from array import array
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from metercap.export.columns import Words, categorical, numpy, pandas, times
from metercap.export.places import NOWHERE, Place, Places
from metercap.export.schema import FRAMES, FROM_WHERE
from metercap.export.source import Journal, blocks, only, placed
from metercap.quantity import Quantity
from metercap.reading import Reading, State, told
from metercap.records import EVENTS, OUTCOMES, Contact, EndRecord, Lift, Prompt, SessionRecord

if TYPE_CHECKING:
    import pandas as pd

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


class _Contact(msgspec.Struct, gc=False, tag_field="kind", tag="contact"):
    step: str
    item: str


class _Lift(msgspec.Struct, gc=False, tag_field="kind", tag="lift"):
    pass


class _Prompt(msgspec.Struct, gc=False, tag_field="kind", tag="prompt"):
    step: str
    item: str | None


def _tag(kind: type[msgspec.Struct]) -> str:
    return str(kind.__struct_config__.tag)


_HEEDED = (Reading, Contact, Lift, Prompt)
_STARTS = tuple(b'{"kind":"%b",' % _tag(kind).encode() for kind in _HEEDED)
_OTHERS = tuple(
    msgspec.defstruct(f"_{_tag(kind).title()}", [], tag_field="kind", tag=_tag(kind), gc=False)
    for kind in (*EVENTS, *OUTCOMES, SessionRecord, EndRecord)
    if kind not in _HEEDED
)
"""What is passed over: of these lines nothing is kept."""

_WORDS = ("quantity", "unit", "state", "flags")
_look: Callable[[Any], Any] = operator.attrgetter(*_WORDS)


def _either(*kinds: Any) -> Any:
    return functools.reduce(operator.or_, kinds)


class _Marks:
    """What holds from which reading on, by number."""

    def __init__(self) -> None:
        self.starts: list[int] = []
        self.codes: list[int] = []

    def put(self, start: int, code: int) -> None:
        self.starts.append(start)
        self.codes.append(code)

    def spread(self, n: int) -> Any:
        """Return what holds for each of `n` readings."""
        np = numpy()
        lengths = np.diff(np.array([*self.starts, n], dtype=np.int64))
        return np.repeat(np.array(self.codes, dtype=np.int32), lengths)


class _Readings:
    """The columns of all readings of some journals, one behind the other."""

    def __init__(self, *, raw: bool) -> None:
        self._raw = raw
        self._slim = slim = _SlimRaw if raw else _Slim
        kinds = (slim, _Contact, _Lift, _Prompt)
        self._decoder: msgspec.json.Decoder[Any] = msgspec.json.Decoder(_either(*kinds, *_OTHERS))
        self._heeding: msgspec.json.Decoder[Any] = msgspec.json.Decoder(_either(*kinds))
        self._numbers: dict[str, list[Any]] = {"t_s": [], "value": [], "resolution": []}
        self._words = Words()
        self._codes = array("i")
        self._texts: list[str] = []
        self._places = Words()
        assert self._places[NOWHERE] == 0
        self._on, self._asked, self._files = _Marks(), _Marks(), _Marks()
        self.n = 0

    def take(self, number: int, journal: Journal) -> None:
        """Take one journal's readings."""
        np = numpy()
        first, slim, places = self.n, self._slim, Places(journal.session)
        for marks in (self._on, self._asked):
            marks.put(first, 0)
        self._files.put(first, number)
        for block in blocks(journal.path):
            rows = self._decoded(block, journal.path)
            readings = [row for row in rows if type(row) is slim]
            if len(readings) < len(rows):
                self._heed(rows, first, places)
            self.n += len(readings)
            self._numbers["t_s"].append(np.array([row.t_s for row in readings], dtype=np.float64))
            self._numbers["value"].append(np.array([row.value for row in readings], dtype=np.float64))
            self._numbers["resolution"].append(np.array([row.resolution for row in readings], dtype=np.float64))
            self._codes.extend(map(self._words.__getitem__, map(_look, readings)))
            if self._raw:
                self._texts.extend([row.raw for row in readings])  # type: ignore[attr-defined]

    def _heed(self, rows: Sequence[Any], first: int, places: Places) -> None:
        """Look at what stands between readings."""
        n, slim = self.n, self._slim
        for row in rows:
            kind = type(row)
            if kind is slim:
                n += 1
            elif kind is _Prompt:
                self._asked.put(n, self._places[places.asked(row.step, row.item)])
            elif kind is _Contact:  # it stands behind the reading that made it
                self._on.put(max(n - 1, first), self._places[row.step, row.item])
            elif kind is _Lift:
                self._on.put(max(n - 1, first), 0)

    def _decoded(self, block: bytes, path: Path) -> list[Any]:
        """Return what a block's lines hold; where kinds are among them that nobody knows, what is heeded here."""
        try:
            return self._decoder.decode_lines(block)
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
            pass
        try:
            return self._heeding.decode_lines(b"\n".join(only(block, _STARTS)))
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
            raise placed(path, str(error)) from error

    def frame(self, journals: Sequence[Journal]) -> pd.DataFrame:
        """Return the columns as a DataFrame."""
        np, pd = numpy(), pandas()
        files = self._files.spread(self.n)
        on = self._on.spread(self.n)
        place = np.where(on != 0, on, self._asked.spread(self.n))
        known: list[Place] = list(self._places)
        words = list(zip(*self._words, strict=True)) or [()] * len(_WORDS)
        codes = np.frombuffer(self._codes, dtype=np.int32) if self._codes else np.empty(0, dtype=np.int32)
        columns: dict[str, Any] = {
            name: np.concatenate(arrays) if arrays else np.empty(0) for name, arrays in self._numbers.items()
        }
        for name, its in zip(_WORDS, words, strict=True):
            columns[name] = categorical([" ".join(told(word)) if name == "flags" else word for word in its], codes)
        columns["step"] = categorical([step for step, _ in known], place)
        columns["item"] = categorical([item for _, item in known], place)
        columns["time"] = times(columns["t_s"], journals, files)
        for where in FROM_WHERE[1:]:
            columns[where.name] = categorical([getattr(each.whose, where.name) for each in journals], files)
        if self._raw:
            columns["raw"] = pd.array(self._texts, dtype="str")
        wanted = {each.name: columns[each.name] for each in FRAMES["readings"] if each.name in columns}
        return pd.DataFrame(wanted, copy=False)


def readings_frame(journals: Sequence[Journal], *, raw: bool = False) -> pd.DataFrame:
    """Return every reading of some journals as a DataFrame with the schema's columns.

    Raises JournalError, with its place, for a line that cannot be decoded; UsageError without pandas.
    """
    pandas()
    taken = _Readings(raw=raw)
    for number, journal in enumerate(journals):
        taken.take(number, journal)
    return taken.frame(journals)
