"""The picture: a view laid out on the terminal's cells.

There is no fixed stack of panes. The answer is drawn as large as the terminal allows and stands *on* the ground, at the
place it speaks of: over the item's stone, over the trimmer's value. So how far the work has come shows from across the
room by where the big letters stand, before a word is read. What is said beside it goes to the wider side.

`paint` is pure and fits any size from 1 × 1; below 30 × 9 it keeps the answer and the next action and drops the rest.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import msgspec

from metercap.screen.answers import Cell
from metercap.screen.canvas import Canvas, Ink
from metercap.screen.grounds import paint_field, paint_path, paint_span
from metercap.screen.hero import paint_hero
from metercap.screen.lettering import MIN_ROWS, capitals, draw, fit_rows, wrap
from metercap.screen.model import Face, Field, Line, Path, Span, Tone
from metercap.screen.text import fitted, width, wrapped
from metercap.screen.theme import TONE_INKS

LEAST_BESIDE, MOST_BESIDE = (20, 9), (52, 20)
"""Columns and rows that a picture beside the answer takes."""
LEAST_COLUMNS = 96
"""Below so many the answer needs them all."""
SHAPE = 1.2
"""Width over height of such a picture, and the share of the columns that it takes at most."""
MOST_SHARE = 0.4
MOST_PIXELS = 220_000
"""More would be many bytes for what a glance sees of it."""


class Box(NamedTuple):
    """Cells that are left blank for a picture, and the pixels of each."""

    x: int
    y: int
    columns: int
    rows: int
    cell: Cell


class Plot(msgspec.Struct, frozen=True):
    """How many rows each part gets; what is 0 is left out. They add up to the height, `air` being blank."""

    top: int = 0
    hero: int = 0
    detail: int = 0
    ground: int = 0
    cautions: int = 0
    next: int = 0
    words: int = 0
    status: int = 0


def plot(face: Face, columns: int, height: int) -> Plot:
    """Share out the rows: first one each for what matters most, then what makes it readable from afar."""
    left = height
    take: dict[str, int] = {}

    def give(part: str, rows: int, least: int = 0) -> None:
        nonlocal left
        if left - rows >= least:
            take[part] = take.get(part, 0) + rows
            left -= rows

    give("hero", _least(face, columns, height))
    give("next", 1)
    if face.ground is not None:
        give("ground", 1)
    if height >= 16 and width(face.next.text) > columns - 2:
        give("next", 1)
    give("top", 1)
    give("status", 1)
    give("words", 1, least=2)
    if face.ground is not None and columns >= 24:
        wanted = (6 if isinstance(face.ground, Field) else 3) + (height - 20) // 8
        give("ground", min(max(3, wanted), max(0, left // 3)))
    give("detail", 1, least=3)
    if face.cautions:
        most = max(1, height // 8)
        give("cautions", min(len(_cautions(face, columns, most)), most), least=4)
    if height >= 34 and columns >= 100:
        give("next", 3, least=10)
    give("hero", left)
    return Plot(**take)


def room_beside(face: Face, columns: int, height: int, cell: Cell) -> Box | None:
    """Return the cells for a picture to the right of the answer, None where the answer needs them."""
    if face.alarm or columns < LEAST_COLUMNS:
        return None
    rows = plot(face, columns, height)
    most = math.isqrt(int(MOST_PIXELS / SHAPE)) // cell.height
    high = min(rows.hero - 2, MOST_BESIDE[1], most)
    wide = min(round(high * cell.height * SHAPE / cell.width), MOST_BESIDE[0], int(columns * MOST_SHARE))
    if wide < LEAST_BESIDE[0] or high < LEAST_BESIDE[1]:
        return None
    return Box(columns - 1 - wide, (1 if rows.top else 0) + (rows.hero - high) // 2, wide, high, cell)


def _least(face: Face, columns: int, height: int) -> int:
    """Rows without which the answer cannot be drawn in letters; a long question needs several lines of them."""
    if height < 5:
        return 1
    lines = 1 if face.hero.unit else len(wrap(capitals(face.hero.text), columns - 2, MIN_ROWS))
    return max(MIN_ROWS, min(lines * (MIN_ROWS + 1), height - 6))


def paint(
    face: Face,
    columns: int,
    height: int,
    keys: Mapping[str, str] | None = None,
    entry: str = "",
    box: Box | None = None,
) -> Canvas:
    """Draw `view`; `keys` gives the key of each word; `entry` is a line being typed, shown instead of the words; `box`
    stays blank, for the picture beside the answer."""
    canvas = Canvas(max(1, columns), max(1, height))
    rows = plot(face, canvas.width, canvas.height)
    y = 0
    if rows.top:
        _top(canvas, face)
        y = 1
    hero_top = y
    y += rows.hero
    detail_y = y
    y += rows.detail
    here = _ground(canvas, y, rows.ground, face) if rows.ground else None
    y += rows.ground
    if face.alarm and rows.hero >= MIN_ROWS:
        canvas.fill(0, hero_top, canvas.width, rows.hero, "╱", Ink.BAD)
    aside = _tag_width(canvas, rows.hero, face) if face.tag_stays and not face.alarm else 0
    end = canvas.width if box is None else box.x - 1
    if aside or box is not None:
        hero = Canvas(end - aside, rows.hero)
        paint_hero(hero, 0, rows.hero, face, None if here is None else min(max(0, here - aside), hero.width - 1))
        canvas.paste(aside, hero_top, hero)
    else:
        paint_hero(canvas, hero_top, rows.hero, face, here)
    if face.tag and rows.hero >= 2 * MIN_ROWS:
        _tag(canvas, hero_top, rows.hero, face.tag, end)
    if rows.detail:
        _centred(canvas, detail_y, face.detail, Ink.TEXT, here)
    for line in _cautions(face, canvas.width, rows.cautions)[: rows.cautions]:
        canvas.text(1, y, line, Ink.UNSURE)
        y += 1
    _next(canvas, y, rows.next, face.next)
    y += rows.next
    if entry and canvas.height > 1:
        _entry(canvas, y if rows.words else canvas.height - 1, entry)
    elif rows.words:
        _words(canvas, y, face.words, keys or {})
    if rows.status:
        _status(canvas, canvas.height - 1, face.status)
    return canvas


def _top(canvas: Canvas, face: Face) -> None:
    x = 0
    if face.tag:
        x = canvas.text(0, 0, f" {face.tag} ", Ink.LABEL) + 1
    end = canvas.width - width(face.progress) - 1
    if end > x + 8:
        canvas.text(end, 0, face.progress, Ink.QUIET)
    else:
        end = canvas.width
    canvas.text(x if face.tag else 1, 0, face.title, Ink.TEXT, max(0, end - x - 1))


def _cautions(face: Face, columns: int, rows: int = 0) -> list[str]:
    """The cautions broken into lines, each begun with "!"; where `rows` cannot hold all, whole ones take turns."""
    blocks = [
        [("! " if not at else "  ") + line for at, line in enumerate(wrapped(caution, columns - 4, 4))]
        for caution in face.cautions
    ]
    if blocks and 0 < rows < sum(len(block) for block in blocks):
        first = face.turn % len(blocks)
        blocks = blocks[first:] + blocks[:first]
        while len(blocks) > 1 and sum(len(block) for block in blocks) > rows:
            blocks.pop()
    return [line for block in blocks for line in block]


def _tag_width(canvas: Canvas, rows: int, face: Face) -> int:
    """Columns that the tag takes beside the hero; 0 where it is the hero itself, or has no room."""
    if not face.tag or rows < 2 * MIN_ROWS or face.hero.text == face.tag:
        return 0
    wide = draw(capitals(face.tag), min(max(MIN_ROWS, rows // 5), 8)).width + 6
    return wide if wide * 5 <= canvas.width else 0


def _tag(canvas: Canvas, top: int, rows: int, tag: str, end: int) -> None:
    """The unit's tag again, large, in an upper corner before column `end` that the answer left free: a mixed-up unit is
    the worst slip."""
    size = min(max(MIN_ROWS, rows // 5), 8)
    drawn = draw(capitals(tag), size)
    wide = drawn.width + 4
    for x in (1, end - 1 - wide):
        free = x >= 1 and all(
            canvas.rows[y].chars[cell] in " ╱"
            for y in range(top, top + size + 3)
            for cell in range(max(0, x - 2), min(end, x + wide + 2))
        )
        if free and wide * 5 <= canvas.width:
            canvas.letters(x + 2, top + 1, drawn, Ink.TEXT)
            canvas.text(x, top + 1 + size, "▄" * wide, Ink.TEXT)
            return


def _ground(canvas: Canvas, top: int, rows: int, face: Face) -> int | None:
    if isinstance(face.ground, Path):
        return paint_path(canvas, top, rows, face.ground)
    if isinstance(face.ground, Field):
        return paint_field(canvas, top, rows, face.ground)
    return paint_span(canvas, top, rows, face.ground) if isinstance(face.ground, Span) else None


def _centred(canvas: Canvas, y: int, text: str, ink: Ink, here: int | None) -> None:
    shown = fitted(text, canvas.width - 2)
    middle = canvas.width // 2 if here is None else here
    canvas.text(min(max(1, middle - width(shown) // 2), max(1, canvas.width - 1 - width(shown))), y, shown, ink)


def _next(canvas: Canvas, y: int, rows: int, line: Line) -> None:
    if rows <= 0:
        return
    ink = TONE_INKS[line.tone]
    large = capitals(line.text)
    size = fit_rows(large, canvas.width - 4, rows - 1)
    if size:
        canvas.letters(2, y + rows - size, draw(large, size), Ink.BAD if line.tone is Tone.ALARM else ink)
        return
    for at, text in enumerate(wrapped(line.text, canvas.width - 2, rows)):
        canvas.text(1 if canvas.width > 2 else 0, y + at, text, ink)


def _words(canvas: Canvas, y: int, words: tuple[str, ...], keys: Mapping[str, str]) -> None:
    x = 1
    for word in words:
        key = keys.get(word, "")
        size = width(word) + (width(key) + 3 if key else 0)
        if x + size > canvas.width:
            break
        if key:
            x = canvas.text(x, y, f" {key} ", Ink.LABEL) + 1
        x = canvas.text(x, y, word, Ink.TEXT) + 2


def _entry(canvas: Canvas, y: int, entry: str) -> None:
    canvas.fill(0, y, canvas.width, 1, " ", Ink.TEXT)
    shown = entry if width(entry) < canvas.width - 1 else "…" + entry[-(canvas.width - 4) :]
    canvas.text(0, y, shown, Ink.STRONG)


def _status(canvas: Canvas, y: int, lines: tuple[Line, ...]) -> None:
    x = 1
    for at, line in enumerate(lines):
        size = width(line.text) + (3 if at else 0)
        if x + size > canvas.width:
            break
        if at:
            x = canvas.text(x, y, " · ", Ink.QUIET)
        ink = {Tone.BAD: Ink.BAD_LABEL, Tone.PLAIN: Ink.TEXT}.get(line.tone, TONE_INKS[line.tone])
        x = canvas.text(x, y, line.text, ink)
