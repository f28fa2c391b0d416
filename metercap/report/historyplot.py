"""The pictures of a history: how far the values of each item lie apart, and one item's path and meters. Pure."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

from metercap.history.drift import YEAR_DAYS
from metercap.history.summary import Part, PlaceHistory
from metercap.history.text import NOT_NAMED, counted, drift_words
from metercap.metrology.series import median
from metercap.quantity import format_value
from metercap.report.axes import Scale, scale
from metercap.report.document import Box, Curve, Dot, Line, Picture, Shape, Words

WIDTH = 720.0
NAMES, RIGHT = 190.0, 704.0
ROW, TOP = 20.0, 14.0
_DIGITS = 20.0
"""An item is drawn relative to its median where that is so many last digits: else every digit would fill the scale."""
FEWEST = 3
_HEIGHT, _FLOOR = 190.0, 156.0
_LEFT, _SPLIT = 66.0, 440.0
MOST_COLUMNS = 5
"""Meters and benches that are drawn beside each other; those with fewest values are left to the table."""
_LETTERS = 12
_OFF = 52.0
"""Room for the words at the edge where a line goes on beyond it."""


def spread_picture(places: Sequence[PlaceHistory]) -> Picture | None:
    """Return how far the values of each item lie from its median, in percent; None where no item has enough values."""
    rows = [place for place in places if place.n >= FEWEST and _relative(place, place.median) is not None]
    if not rows:
        return None
    ends = [share for row in rows for share in (_share(row, row.least), _share(row, row.most))]
    boxes = [share for row in rows for share in (_share(row, row.low_quarter), _share(row, row.high_quarter))]
    across = scale(ends, [*boxes, 0.0], NAMES, RIGHT)
    bottom = TOP + ROW * len(rows)
    shapes: list[Shape] = []
    for tick in across.ticks(8):
        x = across.y(tick)
        shapes += [
            Line(x, TOP, x, bottom, "grid"),
            Words(x, bottom + 14.0, f"{tick:+g} %" if tick else "0 %", anchor="middle"),
        ]
    for n, row in enumerate(rows):
        shapes += _spread_row(row, across, TOP + ROW * (n + 0.5))
    shapes.append(Line(across.y(0.0), TOP, across.y(0.0), bottom, "target"))
    says = (
        f"{counted(len(rows), 'item')}, values beside their own median in percent",
        "a box holds the middle half, a line all values",
        *(f"{row.name}: {_share(row, row.least):+.1f} to {_share(row, row.most):+.1f} %" for row in rows[:3]),
    )
    return Picture("How far units lie apart", says[:2], WIDTH, bottom + 24.0, tuple(shapes))


def item_picture(place: PlaceHistory) -> Picture | None:
    """Return one item's path over the dates, and its meters and benches; None where there is nothing to set apart."""
    dates = [part for part in place.dates if part.n]
    columns = [*_columns(place.meters), *_columns(place.benches)]
    if place.n < FEWEST or (len(dates) < 2 and not columns) or place.median is None:
        return None
    shown = [edge for part in (*dates, *columns) for edge in (part.low_quarter, part.high_quarter)]
    up = scale([place.median, *(mark.value for mark in place.outliers)], shown, _FLOOR, TOP)
    shapes = [*_frame(up, place), *_path(dates, up, place), *_beside(place, up)]
    says = [f"{counted(place.n, 'value')}, median {format_value(place.median, place.unit, place.finer)}"]
    says += [f"over the dates: {drift_words(place.drift, place.unit)}"] if place.drift is not None else []
    says += ["a dot is a median, its bar the middle half"]
    return Picture(place.name, tuple(says), WIDTH, _HEIGHT, tuple(shapes))


def _relative(place: PlaceHistory, value: float | None) -> float | None:
    """Return a value beside the median in percent; None where a digit is too much of it."""
    if value is None or place.median is None or abs(place.median) < _DIGITS * max(place.finest, 1e-30):
        return None
    return 100.0 * (value - place.median) / abs(place.median)


def _share(place: PlaceHistory, value: float | None) -> float:
    return _relative(place, value) or 0.0


def _spread_row(row: PlaceHistory, across: Scale, y: float) -> Iterator[Shape]:
    yield Words(NAMES - 8.0, y + 3.5, _short(row.name, 30), anchor="end")
    least, most = _share(row, row.least), _share(row, row.most)
    low, high = across.y(_share(row, row.low_quarter)), across.y(_share(row, row.high_quarter))
    ends = [
        across.y(share) - (side * _OFF if across.beyond(share) > 0.0 else 0.0)
        for share, side in ((least, -1.0), (most, 1.0))
    ]
    yield Line(ends[0], y, ends[1], y, "axis")
    yield Box(low, y - 5.0, max(high - low, 1.0), 10.0, "bar")
    for share, side in ((least, -1.0), (most, 1.0)):
        if across.beyond(share) > 0.0:
            x = across.y(share)
            yield Curve(f"M{x - 6.0 * side:.1f} {y - 4.0:.1f}v8l{6.0 * side:.1f} -4z", "left")
            yield Words(x - 9.0 * side, y + 3.5, f"{share:+.0f} %", "quiet", "end" if side > 0 else "start")


def _frame(up: Scale, place: PlaceHistory) -> Iterator[Shape]:
    for value in up.ticks(4):
        y = up.y(value)
        yield Line(_LEFT, y, RIGHT, y, "grid")
        yield Words(_LEFT - 6.0, y + 3.5, format_value(value, place.unit), anchor="end")
    assert place.median is not None
    yield Line(_LEFT, up.y(place.median), RIGHT, up.y(place.median), "target")
    yield Line(_LEFT, _FLOOR, RIGHT, _FLOOR, "axis")


def _day(name: str) -> float:
    """Return the day that a date stands at: of a month or a year its middle."""
    first = datetime.date.fromisoformat((name + "-01-01")[:10])
    return first.toordinal() + {10: 0.0, 7: 15.0, 4: 182.0}[len(name)]


def _path(dates: Sequence[Part], up: Scale, place: PlaceHistory) -> Iterator[Shape]:
    if len(dates) < 2:
        yield Words((_LEFT + _SPLIT) / 2.0, _FLOOR + 15.0, dates[0].name if dates else "no dates", anchor="middle")
        return
    days = [_day(part.name) for part in dates]
    per_day = (_SPLIT - 30.0 - _LEFT - 14.0) / (days[-1] - days[0])

    def x(day: float) -> float:
        return _LEFT + 14.0 + (day - days[0]) * per_day

    for part, day in zip(dates, days, strict=True):
        yield Line(x(day), up.y(part.low_quarter), x(day), up.y(part.high_quarter), "axis")
        yield Dot(x(day), up.y(part.median), 3.0, "left")
    if place.drift is not None and place.drift.told:
        slope = place.drift.per_year / YEAR_DAYS
        level = median([part.median - slope * day for part, day in zip(dates, days, strict=True)])
        ends = [(x(day), up.y(level + slope * day)) for day in (days[0], days[-1])]
        yield Line(*ends[0], *ends[1], "trace")
    yield Words(x(days[0]) - 10.0, _FLOOR + 15.0, dates[0].name)
    yield Words(x(days[-1]) + 10.0, _FLOOR + 15.0, dates[-1].name, anchor="end")


def _columns(parts: Sequence[Part]) -> list[Part]:
    """Return the meters or benches to draw: none where there is only one."""
    if len(parts) < 2:
        return []
    kept = sorted(parts, key=lambda part: -part.n)[:MOST_COLUMNS]
    return [part for part in parts if part in kept]


def _beside(place: PlaceHistory, up: Scale) -> Iterator[Shape]:
    groups = [
        (what, found)
        for what, found in (("meter", _columns(place.meters)), ("bench", _columns(place.benches)))
        if found
    ]
    n = sum(len(found) for _, found in groups)
    if not n:
        return
    yield Line(_SPLIT, TOP, _SPLIT, _FLOOR, "axis")
    width = (RIGHT - _SPLIT) / (n + 0.5 * (len(groups) - 1))
    left = _SPLIT
    for what, found in groups:
        for part in found:
            x = left + width / 2.0
            high = up.y(part.high_quarter)
            yield Box(x - 7.0, high, 14.0, max(up.y(part.low_quarter) - high, 1.0), "bar")
            yield Dot(x, up.y(part.median), 3.0, "left")
            letters = max(4, min(_LETTERS, int(width / 6.0)))
            yield Words(x, _FLOOR + 15.0, _end(part.name or NOT_NAMED, letters), anchor="middle")
            left += width
        yield Words(left - width * len(found) / 2.0, _FLOOR + 29.0, f"by {what}", "quiet", "middle")
        left += 0.5 * width


def _short(text: str, letters: int) -> str:
    return text if len(text) <= letters else f"{text[: letters - 1]}…"


def _end(text: str, letters: int) -> str:
    """Return the end of a name: meters and folders differ there."""
    return text if len(text) <= letters else f"…{text[1 - letters :]}"
