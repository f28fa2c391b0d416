"""The ground that the answer stands on: a path of stones, a trimmer's field, or a time to wait out.

Every painter here draws into a box of a canvas and returns the cell where the answer should stand. Height and shape
carry the meaning: what is done stands tall, what lies ahead is low; each verdict but a pass carries its mark.
"""

from __future__ import annotations

from collections.abc import Callable

from metercap.quantity import format_value
from metercap.screen.canvas import Canvas, Ink
from metercap.screen.lettering import draw, fit_rows
from metercap.screen.model import MARKS, Field, Path, Place, Span, Stone
from metercap.screen.text import width

_MARGIN = 2
_POINTER = "▜█▛"
_STONE_INKS = {
    Place.PASS: Ink.GOOD,
    Place.FAIL: Ink.BAD,
    Place.UNSURE: Ink.UNSURE,
    Place.SKIPPED: Ink.UNSURE,
    Place.ABSENT: Ink.QUIET,
    Place.HERE: Ink.STRONG,
    Place.AHEAD: Ink.QUIET,
}
_FILLS = {
    Place.PASS: "█",
    Place.FAIL: " ",
    Place.UNSURE: "▒",
    Place.SKIPPED: "░",
    Place.ABSENT: " ",
    Place.HERE: "▄",
    Place.AHEAD: "▁",
}
_WORST = (Place.HERE, Place.FAIL, Place.UNSURE, Place.SKIPPED, Place.AHEAD, Place.ABSENT, Place.PASS)


def paint_path(canvas: Canvas, top: int, rows: int, path: Path) -> int | None:
    """Draw a path over the whole width, `rows` high (3 or more also have a pointer and names); return where we are."""
    stones, here = _grouped(path, canvas.width - 2 * _MARGIN)
    if not stones:
        return None
    named = rows >= 3
    tall = max(1, rows - 2) if named else rows
    first = top + 1 if named else top
    room = canvas.width - 2 * _MARGIN
    gap = 1 if room / len(stones) >= 2.5 else 0
    spots = [
        (_MARGIN + index * room // len(stones), _MARGIN + (index + 1) * room // len(stones) - gap)
        for index in range(len(stones))
    ]
    for stone, (left, right) in zip(stones, spots, strict=True):
        _stone(canvas, left, first, max(1, right - left), tall, stone)
    if named:
        _names(canvas, first + tall, stones, here, spots)
    if here is None:
        return None
    middle = (spots[here][0] + spots[here][1]) // 2
    if named:
        canvas.text(max(0, middle - 1), top, _POINTER, Ink.STRONG)
    return middle


def _stone(canvas: Canvas, left: int, top: int, wide: int, tall: int, stone: Stone) -> None:
    place, ink = stone.place, _STONE_INKS[stone.place]
    if place in (Place.AHEAD, Place.HERE):
        canvas.fill(left, top + tall - 1, wide, 1, _FILLS[place], ink)
        return
    canvas.fill(left, top, wide, tall, _FILLS[place], ink)
    if place is Place.FAIL:
        _cross(canvas, left, top, wide, tall)
    elif place is not Place.PASS:
        canvas.text(left + (wide - 1) // 2, top + tall // 2, MARKS[place], ink)


def _cross(canvas: Canvas, left: int, top: int, wide: int, tall: int) -> None:
    """A failed stone is no stone but a cross, so that it stands out without any hue."""
    size = fit_rows("✗", wide, tall)
    if size:
        drawn = draw("✗", size)
        canvas.letters(left + (wide - drawn.width) // 2, top + (tall - size) // 2, drawn, Ink.BAD)
    elif tall >= 2 and wide >= 4:
        x, y = left + (wide - 4) // 2, top + (tall - 2) // 2
        canvas.text(x, y, "▝▙▟▘", Ink.BAD)
        canvas.text(x, y + 1, "▗▛▜▖", Ink.BAD)
    else:
        canvas.text(left + (wide - 1) // 2, top + tall // 2, MARKS[Place.FAIL], Ink.BAD_LABEL)


def _grouped(path: Path, cells: int) -> tuple[list[Stone], int | None]:
    """As many stones as there are cells; where several share one, it shows the one that needs most attention."""
    count = len(path.stones)
    if count <= cells or cells <= 0:
        return list(path.stones), path.here
    stones: list[Stone] = []
    for cell in range(cells):
        group = path.stones[cell * count // cells : (cell + 1) * count // cells]
        stones.append(min(group, key=lambda stone: _WORST.index(stone.place)))
    return stones, None if path.here is None else min(path.here * cells // count, cells - 1)


def _names(canvas: Canvas, y: int, stones: list[Stone], here: int | None, spots: list[tuple[int, int]]) -> None:
    """Names under the stones: the current one first, then ends and trouble, then all that still find room."""
    taken: list[tuple[int, int]] = []
    order = sorted(range(len(stones)), key=lambda index: (index != here, _dull(index, stones), index))
    for index in order:
        name = stones[index].name
        middle = (spots[index][0] + spots[index][1]) / 2
        left = min(max(0, round(middle - width(name) / 2)), max(0, canvas.width - width(name)))
        right = left + width(name)
        if name and right <= canvas.width and all(right + 1 < start or left > end + 1 for start, end in taken):
            taken.append((left, right))
            ink = Ink.STRONG if index == here else Ink.QUIET if stones[index].place is Place.AHEAD else Ink.TEXT
            canvas.text(left, y, name, ink)


def _dull(index: int, stones: list[Stone]) -> bool:
    return 0 < index < len(stones) - 1 and stones[index].place in (Place.AHEAD, Place.PASS, Place.ABSENT)


def paint_span(canvas: Canvas, top: int, rows: int, span: Span) -> int:
    """Draw a time as a wall that grows to the right; return the cell of its edge."""
    room = canvas.width - 2 * _MARGIN
    edge = round(span.done * room)
    canvas.fill(_MARGIN + edge, top + rows - 1, room - edge, 1, "▁", Ink.QUIET)
    canvas.fill(_MARGIN, top, edge, rows, "█", Ink.GOOD)
    return _MARGIN + edge


def paint_field(canvas: Canvas, top: int, rows: int, field: Field) -> int:
    """Draw a trimmer's field: the way still to go is one solid bar that ends at the band; return the live value's cell.

    Dots are the band, its denser middle the part this meter can prove, slashes the hazardous side. From two rows on the
    last row holds words.
    """
    room, facts = canvas.width - 2 * _MARGIN, field.facts

    def cell(value: float) -> int:
        return _MARGIN + min(room - 1, max(0, round(field.share(value) * (room - 1))))

    worded = rows >= 4
    tall = rows - 2 if worded else rows
    body = top + 1 if worded else top
    canvas.fill(_MARGIN, body + tall - 1, room, 1, "▁", Ink.QUIET)
    if facts.never_below is not None:
        canvas.fill(0, body, cell(facts.never_below) + 1, tall, "╱", Ink.BAD)
    if facts.never_above is not None:
        edge = cell(facts.never_above)
        canvas.fill(edge, body, canvas.width - edge, tall, "╱", Ink.BAD)
    low, high = cell(field.low), cell(field.high)
    inner = (cell(_or(facts.inner_low, field.low)), cell(_or(facts.inner_high, field.high)))
    canvas.fill(low, body, high - low + 1, tall, "░", Ink.GOOD)
    filled = "█" if facts.inside and field.now is not None else "▒"
    canvas.fill(inner[0], body, inner[1] - inner[0] + 1, tall, filled, Ink.GOOD)
    here = (inner[0] + inner[1]) // 2
    if field.now is not None:
        here = cell(field.now)
        _way(canvas, body, tall, here, field, inner)
    if facts.found is not None and worded:
        _upright(canvas, body, tall, cell(facts.found), "╎", Ink.QUIET)
    if facts.stops_at is not None and field.now is not None:
        middle = (field.low + field.high) / 2
        past = (facts.stops_at - middle) * (field.now - middle) < 0
        _upright(canvas, body, tall, cell(facts.stops_at), "◆", Ink.BAD if past else Ink.UNSURE)
    if worded:
        canvas.text(min(max(0, here - 1), canvas.width - 3), top, _POINTER, Ink.STRONG)
        _field_words(canvas, body + tall, field, cell)
    return here


def _way(canvas: Canvas, body: int, tall: int, here: int, field: Field, inner: tuple[int, int]) -> None:
    """The solid bar from the live value to the nearest proved-good cell, a quarter slimmer than the ground."""
    slim = tall // 4
    if field.facts.inside:
        canvas.fill(here, body, 1, tall, "┃", Ink.GOOD_LABEL)
        return
    start, end = (here, inner[0] - 1) if (field.facts.to_go or 0.0) > 0 else (inner[1] + 1, here)
    canvas.fill(start, body + slim, max(1, end - start + 1), tall - 2 * slim, "█", Ink.STRONG)


def _upright(canvas: Canvas, body: int, tall: int, x: int, char: str, ink: Ink) -> None:
    canvas.fill(x, body, 1, tall, char, ink)


def _field_words(canvas: Canvas, y: int, field: Field, cell: Callable[[float], int]) -> None:
    """Band ends, hazard limit and start under the field, as far as they do not collide, the weightiest first."""
    facts = field.facts
    words = [
        (value, f"{sign} {format_value(value, facts.unit)}", Ink.BAD)
        for value, sign in ((facts.never_below, "never below"), (facts.never_above, "never above"))
        if value is not None
    ]
    words += [(field.low, format_value(field.low, facts.unit), Ink.TEXT)]
    words += [(field.high, format_value(field.high, facts.unit), Ink.TEXT)]
    if facts.found is not None:
        words.append((facts.found, "found", Ink.QUIET))
    if facts.stops_at is not None:
        words.append((facts.stops_at, "stops", Ink.UNSURE))
    taken: list[tuple[int, int]] = []
    for value, text, ink in words:
        left = min(max(1, cell(value) - width(text) // 2), max(1, canvas.width - width(text) - 1))
        right = left + width(text)
        if all(right < start or left > end for start, end in taken):
            taken.append((left, right))
            canvas.text(left, y, text, ink)


def _or(value: float | None, other: float) -> float:
    return other if value is None else value
