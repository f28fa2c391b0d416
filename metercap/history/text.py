"""A history in lines for people; whoever prints them escapes what files brought in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Literal

from metercap.history.drift import Drift
from metercap.history.model import Mark
from metercap.history.offsets import FEWEST_PLACES, FEWEST_VALUES, Offset
from metercap.history.summary import Part, PlaceHistory, Summary
from metercap.quantity import counted, format_value

By = Literal["", "meter", "bench", "date"]
NOT_NAMED = "not named"
HEADS = ("item", "n", "median", "spread", "lowest … highest", "over time", "not good")
"""Of a table with a row for each place, in a terminal and on the page."""


def history_lines(found: Summary, by: By = "") -> Iterator[str]:
    """Return the whole history in lines; `by` takes each place apart by meter, bench or date."""
    yield head(found)
    meters = list(_meter_lines(found))
    yield from ["", *meters] if meters else []
    for model, places in groupby(found.places, key=lambda place: place.model):
        yield ""
        yield model or "model not named"
        yield from _table(list(places), by)


def head(found: Summary) -> str:
    """Return how much there is, in a sentence."""
    when = f", {found.first} to {found.last}" if found.first else ""
    parts = (counted(len(found.meters), "meter"), counted(len(found.benches), "bench"))
    return f"{counted(found.sessions, 'session')}{when}, {parts[0]}, {parts[1]}"


def unfinished_words(sessions: int) -> str:
    """Return what is to be said of sessions that were not run to their end."""
    return f"{counted(sessions, 'session')}: not run to the end; what was decided is counted"


def percent(share: float, sign: str = "") -> str:
    """Return a share in percent, as people write it."""
    return f"{100.0 * share:{sign}.1f} %"


def offset_words(one: Offset) -> str:
    """Return what one meter reads beside the others."""
    side = "high" if one.shift > 0 else "low"
    how = (
        f"reads {one.unit} {percent(abs(one.shift))} {side}" if one.told else f"{percent(one.shift, '+')} in {one.unit}"
    )
    over = f"{counted(one.places, 'item')}, {counted(one.n, 'value')}"
    chance = f"chance alone {chance_words(one.p)}"
    which = f"; beside {one.either} alone, and either may be the one that is off" if one.either and one.told else ""
    return f"{one.meter or NOT_NAMED} {how} ({over}; {chance}{which})"


def chance_words(p: float) -> str:
    """Return a probability in words short enough for a line."""
    return "below 1 in a million" if p < 1e-6 else f"1 in {round(1 / p):,}".replace(",", " ") if p < 0.1 else f"{p:.2f}"


def drift_words(found: Drift | None, unit: str) -> str:
    """Return how values go over the dates; an empty text where nobody can say, "steady" where nothing shows."""
    if found is None:
        return ""
    if not found.told:
        return "steady"
    way = "rises" if found.per_year > 0 else "falls"
    share = "" if found.relative is None else f" ({percent(abs(found.relative))})"
    return f"{way} {format_value(abs(found.per_year), unit)}{share} a year"


def mark_words(mark: Mark, unit: str, resolution: float) -> str:
    """Return one value that stands out, and where it came from."""
    where = ", ".join(
        part for part in (f"unit {mark.unit}" if mark.unit else "", mark.job, mark.journal, mark.day) if part
    )
    return f"{format_value(mark.value, unit, resolution)}: {where}"


def cells(place: PlaceHistory) -> tuple[str, ...]:
    """Return a place's row under `HEADS`."""
    over = drift_words(place.drift, place.unit)
    return place.name, str(place.n), *_spread_words(place), over, verdict_words(place.verdicts)


def _spread_words(place: PlaceHistory) -> tuple[str, str, str]:
    """Return median, spread and ends of a place, each as people write it."""
    if place.median is None or place.spread is None or place.least is None or place.most is None:
        return "no value", "", ""
    return (
        *_middle_words(place.median, place.spread, place.n, place),
        f"{format_value(place.least, place.unit, place.finest)} … {format_value(place.most, place.unit, place.finest)}",
    )


def _middle_words(median: float, spread: float, n: int, place: PlaceHistory) -> tuple[str, str]:
    """Return a median and the spread beside it; one value has none."""
    words = format_value(median, place.unit, place.finer)
    return words, f"± {format_value(spread, place.unit, place.finer)}" if n > 1 else ""


def verdict_words(verdicts: dict[str, int]) -> str:
    """Return how often an item did not pass, worst first."""
    order = ("fail", "unsure", "absent")
    return ", ".join(f"{verdicts[kind]} {kind}" for kind in order if verdicts.get(kind))


def _meter_lines(found: Summary) -> Iterator[str]:
    for one in found.offsets:
        yield f"{'!' if one.told else ' '} {offset_words(one)}"
    if not found.offsets and len(found.meters) > 1:
        yield f"  too little to hold meters against each other: {FEWEST_PLACES} items with values of many digits, and "\
              f"{FEWEST_VALUES} values, that two meters share"  # fmt: skip


def _table(places: Sequence[PlaceHistory], by: By) -> Iterator[str]:
    heads = (*HEADS, "stands out")
    rows = [(*cells(place), str(place.outside) if place.outside else "") for place in places]
    widths = [max(len(row[column]) for row in (heads, *rows)) for column in range(len(heads))]
    yield _line(heads, widths)
    for place, row in zip(places, rows, strict=True):
        yield _line(row, widths)
        for part in _parts(place, by):
            yield _line(_part_cells(part, place), widths)
        for mark in place.outliers:
            yield f"      {mark_words(mark, place.unit, place.finest)}"
        if place.outside > len(place.outliers):
            yield f"      and {place.outside - len(place.outliers)} more"
        if place.coarse:
            yield f"      many different values: known to {format_value(place.cell or 0.0, place.unit)}"


def _part_cells(part: Part, place: PlaceHistory) -> tuple[str, ...]:
    middle = _middle_words(part.median, part.spread, part.n, place)
    return f"  {part.name or NOT_NAMED}", str(part.n), *middle, "", "", "", ""


def _parts(place: PlaceHistory, by: By) -> Iterable[Part]:
    return {"": (), "meter": place.meters, "bench": place.benches, "date": place.dates}[by]


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    right = (1, 2, 3)
    return (
        "  "
        + "  ".join(
            f"{cell:>{width}}" if n in right else f"{cell:<{width}}"
            for n, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ).rstrip()
    )
