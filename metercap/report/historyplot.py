"""The pictures of a history: how far the values of each item lie apart, and one item's path and meters. Pure."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterator, Mapping, Sequence

from metercap.history.drift import YEAR_DAYS
from metercap.history.summary import Part, PlaceHistory
from metercap.history.text import NOT_NAMED, drift_words
from metercap.metrology.series import median
from metercap.quantity import counted, format_value
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
_LETTER = 6.8
"""How wide a letter is, about."""
_EDGE = WIDTH - RIGHT
"""Names of columns go so far beyond them."""
_UNDER = 14.0
"""From one row of names to the next."""
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
    groups = {
        what: found for what, of in (("meter", place.meters), ("bench", place.benches)) if (found := _columns(of))
    }
    columns = [part for found in groups.values() for part in found]
    if place.n < FEWEST or (len(dates) < 2 and not columns) or place.median is None:
        return None
    up = _upward(place, dates, columns)
    shapes = [*_frame(up, place), *_path(dates, up, place, _SPLIT if columns else RIGHT + 16.0)]
    width, rows = _column(groups)
    shapes += _beside(groups, up, width, rows)
    says = [f"{counted(place.n, 'value')}, median {format_value(place.median, place.unit, place.finer)}"]
    says += [f"over the dates: {drift_words(place.drift, place.unit)}"] if place.drift is not None else []
    says += ["a dot is a median, its bar the middle half" + (", a ring or arrow stands out" if place.outliers else "")]
    return Picture(place.name, tuple(says), WIDTH, _HEIGHT + _UNDER * (rows - 1), tuple(shapes))


def _upward(place: PlaceHistory, dates: Sequence[Part], columns: Sequence[Part]) -> Scale:
    """Return the scale of an item's picture: values that stand out are on it where they flatten nothing."""
    assert place.median is not None
    shown = [place.median, *(edge for part in columns for edge in (part.low_quarter, part.high_quarter))]
    edges = [edge for part in dates for edge in (part.low_quarter, part.high_quarter)]
    without = scale(edges, shown, _FLOOR, TOP)
    near = [mark.value for mark in place.outliers if without.beyond(mark.value) <= 1.0]
    return scale(edges, [*shown, *near], _FLOOR, TOP)


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


def _path(dates: Sequence[Part], up: Scale, place: PlaceHistory, right: float) -> Iterator[Shape]:
    """Draw the dates from the left to `right`."""
    if len(dates) < 2:
        yield Words((_LEFT + right) / 2.0, _FLOOR + 15.0, dates[0].name if dates else "no dates", anchor="middle")
        return
    days = [_day(part.name) for part in dates]
    per_day = (right - 30.0 - _LEFT - 14.0) / (days[-1] - days[0])

    def x(day: float) -> float:
        return min(max(_LEFT + 14.0 + (day - days[0]) * per_day, _LEFT), right - 16.0)

    marks = {(mark.day, mark.value): x(_day(mark.day)) for mark in place.outliers if mark.day}
    yield from _outliers([(at, value) for (_, value), at in marks.items()], up, place)
    for part, day in zip(dates, days, strict=True):
        if (part.name, part.median) in marks:  # it is drawn as what stands out
            continue
        yield Line(x(day), up.y(part.low_quarter), x(day), up.y(part.high_quarter), "axis")
        yield Dot(x(day), up.y(part.median), 3.0, "left")
    if place.drift is not None and place.drift.told:
        slope = place.drift.per_year / YEAR_DAYS
        level = median([part.median - slope * day for part, day in zip(dates, days, strict=True)])
        ends = [(x(day), up.y(level + slope * day)) for day in (days[0], days[-1])]
        yield Line(*ends[0], *ends[1], "trace")
    yield Words(x(days[0]) - 10.0, _FLOOR + 15.0, dates[0].name)
    yield Words(x(days[-1]) + 10.0, _FLOOR + 15.0, dates[-1].name, anchor="end")


def _outliers(marks: Sequence[tuple[float, float]], up: Scale, place: PlaceHistory) -> Iterator[Shape]:
    """Draw values that stand out as rings; one off the scale as an arrow at its edge, with the value beside it."""
    for x, value in marks:
        y = up.y(value)
        if up.beyond(value) == 0.0:
            yield Dot(x, y, 2.5, "found")
            continue
        side = 1.0 if value > up.high else -1.0
        yield Curve(f"M{x - 4.0:.1f} {y + 6.0 * side:.1f}h8l-4 {-6.0 * side:.1f}z", "left")
        right = x < (_LEFT + _SPLIT) / 2.0
        words = format_value(value, place.unit, place.finest)
        yield Words(x + (7.0 if right else -7.0), y + 7.0 * side, words, "quiet", "start" if right else "end")


def _columns(parts: Sequence[Part]) -> list[Part]:
    """Return the meters or benches to draw: none where there is only one."""
    if len(parts) < 2:
        return []
    kept = sorted(parts, key=lambda part: -part.n)[:MOST_COLUMNS]
    return [part for part in parts if part in kept]


def _column(groups: Mapping[str, Sequence[Part]]) -> tuple[float, int]:
    """Return how wide a column is, and in how many rows their names stand: in two where one would be too narrow."""
    names = [part.name or NOT_NAMED for found in groups.values() for part in found]
    if not names:
        return 0.0, 1
    width = (RIGHT - _SPLIT) / (len(names) + 0.5 * (len(groups) - 1))
    widest = max(min(len(name), _LETTERS) for name in names)
    return width, 1 if widest <= _letters(width, 1) else 2


def _letters(width: float, rows: int) -> int:
    """Return how many letters of a name fit into a column; in two rows the outermost ones are pushed to its neighbour.

    A name of L letters that stands l = L/2 beside its column's middle has 2·width to the next of its row, less the push
    l − width/2 − _EDGE: 3·l ≤ 2.5·width + _EDGE.
    """
    room = width - 4.0 if rows == 1 else (2.5 * width + _EDGE - 4.0) / 1.5
    return max(4, min(_LETTERS, int(room / _LETTER)))


def _beside(groups: Mapping[str, Sequence[Part]], up: Scale, width: float, rows: int) -> Iterator[Shape]:
    if groups:
        yield Line(_SPLIT, TOP, _SPLIT, _FLOOR, "axis")
    left, letters = _SPLIT, _letters(width, rows)
    row = itertools.cycle(range(rows))
    for what, found in groups.items():
        for part in found:
            x = left + width / 2.0
            high = up.y(part.high_quarter)
            yield Box(x - 7.0, high, 14.0, max(up.y(part.low_quarter) - high, 1.0), "bar")
            yield Dot(x, up.y(part.median), 3.0, "left")
            name = _end(part.name or NOT_NAMED, letters)
            half = 0.5 * _LETTER * len(name)
            middle = min(max(x, _SPLIT - _EDGE + half), RIGHT + _EDGE - half)
            yield Words(middle, _FLOOR + 15.0 + _UNDER * next(row), name, anchor="middle")
            left += width
        yield Words(left - width * len(found) / 2.0, _FLOOR + 15.0 + _UNDER * rows, f"by {what}", "quiet", "middle")
        left += 0.5 * width


def _short(text: str, letters: int) -> str:
    return text if len(text) <= letters else f"{text[: letters - 1]}…"


def _end(text: str, letters: int) -> str:
    """Return the end of a name: meters and folders differ there."""
    return text if len(text) <= letters else f"…{text[1 - letters :]}"
