"""What some parts of a set measured, counted with pandas: rows that are alike are counted before they are looked at.

Only whole numbers are added here and in `history.counts`, so that any cut of a set into parts, in any order and on any
machine, adds up to the same history to the last digit.
"""

from __future__ import annotations

import math
import platform
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

from metercap.archive.gather import Trouble
from metercap.errors import FileProblem
from metercap.export.columns import pandas
from metercap.fleet.part import Unusable, arrow, opened
from metercap.fleet.schema import Footer, Source, is_set
from metercap.history import History, Mark, Place, Sight
from metercap.history.counts import EXTREMES

_PLACE = ["model", "step", "item", "unit", "aspect", "how"]
_ALIKE = [*_PLACE, "verdict", "measured", "resolution", "meter", "bench", "day"]
_FROM = ["measured", "day", "job", "unit_name", "journal"]
_READ = [*_ALIKE, "identity", "job", "unit_name", "journal", "folder", "session", "counted"]
_ROWS = 50_000
"""Rows that are in memory at a time, or those of one part."""


class SetTold(msgspec.Struct):
    """What was found in a set: how many `parts`, and what is to be said of some. `undated`, `damaged`: of journals.

    `unusable` parts are not counted.
    """

    parts: int = 0
    unusable: Trouble = msgspec.field(default_factory=Trouble)
    copies: Trouble = msgspec.field(default_factory=Trouble)
    damaged: Trouble = msgspec.field(default_factory=Trouble)
    undated: Trouble = msgspec.field(default_factory=Trouble)
    unfinished: int = 0

    def take(self, other: SetTold) -> None:
        """Add what was found in other parts."""
        self.parts += other.parts
        self.unfinished += other.unfinished
        for name in ("unusable", "copies", "damaged", "undated"):
            mine, its = getattr(self, name), getattr(other, name)
            for text in its.named:
                mine.add(text)
            mine.n += its.n - len(its.named)


class Sessions(msgspec.Struct, frozen=True):
    """The sessions of one part."""

    part: str
    sources: tuple[tuple[str, float, str], ...]
    """Session, time of its last record, name of its journal."""


def sessions_of(dataset: Path, parts: Sequence[str]) -> list[Sessions]:
    """Return the sessions of some parts; what cannot be used has none."""
    _there(dataset)
    found = []
    for part in parts:
        try:
            with opened(dataset, part) as (footer, _):
                its = tuple((each.session, each.last_s, _name(footer, each)) for each in footer.sources if each.whole)
                found.append(Sessions(part, its))
        except Unusable:
            continue
    return found


def count_parts(dataset: Path, parts: Sequence[str], left_out: Mapping[str, Sequence[str]]) -> tuple[History, SetTold]:
    """Return the history of some parts, and what is to be said of them; `left_out` are sessions to be passed over."""
    _there(dataset)
    history, told = History(), SetTold()
    for frame in _frames(dataset, parts, left_out, history, told):
        _count(history, frame)
    return history, told


def _there(dataset: Path) -> None:
    """Make sure that the set can be seen from here: parts that cannot be read are told one by one, and a set is not."""
    if not is_set(dataset):
        hint = "every worker must see the set under this path"
        raise FileProblem("there is no data set here", where=f"{dataset} on {platform.node()}", hint=hint)


def _frames(
    dataset: Path, parts: Sequence[str], left_out: Mapping[str, Sequence[str]], history: History, told: SetTold
) -> Iterator[Any]:
    """Yield the counted rows of parts that can be used, many parts at a time; their sessions are counted."""
    pa = arrow()
    tables, rows = [], 0
    for part in parts:
        told.parts += 1
        try:
            with opened(dataset, part) as (footer, found):
                table = found.read(_READ, use_threads=False)
        except Unusable as error:
            told.unusable.add(f"{part} {error}")
            continue
        except (pa.ArrowException, OSError) as error:
            told.unusable.add(f"{part} is damaged: {error}")
            continue
        without = left_out.get(part, ())
        _sessions(history, footer, without, told)
        table = table.filter(pa.compute.field("counted"))
        if without:
            table = table.filter(~pa.compute.field("session").isin(list(without)))
        tables.append(table)
        rows += table.num_rows
        if rows >= _ROWS:
            yield pa.concat_tables(tables).to_pandas()
            tables, rows = [], 0
    if rows:
        yield pa.concat_tables(tables).to_pandas()


def _sessions(history: History, footer: Footer, without: Sequence[str], told: SetTold) -> None:
    for source in footer.sources:
        if source.whole and source.session not in without:
            history.session(source.meter, footer.bench, source.day)
            told.unfinished += not source.finished
    for trouble, texts in ((told.damaged, footer.lost), (told.undated, footer.undated)):
        for text in texts:
            trouble.add(f"{footer.folder}/{text}" if footer.folder else text)


def _name(footer: Footer, source: Source) -> str:
    return str(Path(footer.folder) / source.journal)


def _count(history: History, frame: Any) -> None:
    pd = pandas()
    known = frame["identity"] != ""
    frame["meter"] = frame["meter"].where(~known, frame["meter"] + " (" + frame["identity"] + ")")
    inside = frame["folder"] != ""
    frame["journal"] = frame["journal"].where(~inside, frame["folder"] + "/" + frame["journal"])
    alike = frame.groupby(_ALIKE, dropna=False, sort=False, observed=True).size()
    for row, n in zip(alike.index, alike, strict=True):
        verdict, value, resolution, meter, bench, day = row[len(_PLACE) :]
        seen = Sight(verdict, _number(value), _number(resolution) or 0.0, meter, bench, day)
        history.cell(Place(*row[: len(_PLACE)])).count(seen, int(n))
    there = frame[frame["measured"].notna()].sort_values([*_PLACE, *_FROM])
    by_place = there.groupby(_PLACE, sort=False, observed=True)
    ends = pd.concat([by_place.head(EXTREMES), by_place.tail(EXTREMES)])
    ends = ends[~ends.index.duplicated()]
    for row in ends[[*_PLACE, *_FROM]].itertuples(index=False, name=None):
        value, *origin = row[len(_PLACE) :]
        history.cell(Place(*row[: len(_PLACE)])).mark(Mark(value, *origin))


def _number(value: float) -> float | None:
    return None if math.isnan(value) else float(value)
