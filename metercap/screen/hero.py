"""The answer in letters: the hero, what the last touch came to, and what is said beside it, set into one box.

The hero stands over the place on the ground that it speaks of, as far as the box allows. Sizes are tried from the
largest down; what does not fit even at the smallest is written as plain bold text.
"""

from __future__ import annotations

import msgspec

from metercap.screen.canvas import Canvas, Ink
from metercap.screen.lettering import (
    MAX_ROWS,
    MIN_ROWS,
    Lettering,
    Weight,
    capitals,
    draw,
    fit_rows,
    width_of,
    wrap,
)
from metercap.screen.model import Done, Face, Hero, Line, Tone
from metercap.screen.text import fitted, width, wrapped
from metercap.screen.theme import TONE_INKS

_UNIT_SHARE = 0.62
"""Height of a unit as a share of its number's."""
_GAP = 4
"""Least cells between the hero and what is drawn beside it."""


class Block(msgspec.Struct, frozen=True):
    """Letters set together: pieces with their cell and row inside the block, and their ink."""

    pieces: tuple[tuple[int, int, Lettering, Ink], ...]
    width: int
    rows: int

    def put(self, canvas: Canvas, x: int, y: int) -> None:
        """Draw it with its upper left cell at `x`, `y`."""
        for dx, dy, lettering, ink in self.pieces:
            canvas.letters(x + dx, y + dy, lettering, ink)


def paint_hero(canvas: Canvas, top: int, rows: int, face: Face, here: int | None) -> None:
    """Draw the answer into `rows` rows from `top`, standing over cell `here` (the middle when None)."""
    room = rows - 1 if rows > 5 else rows
    columns = canvas.width - 2
    if face.done is not None and _with_done(canvas, top, room, face.hero, face.done, here):
        return
    aside = face.aside
    if face.done is not None:
        aside = Line(f"{face.done.mark} {face.done.text}", face.done.tone)
    block = _set(face.hero, columns, room)
    if block is None:
        _plain(canvas, top, rows, face.hero, aside)
        return
    left = _over(here, block.width, canvas.width)
    beside = _beside(canvas.width, left, block, aside) if aside is not None else None
    below: Lettering | None = None
    if aside is not None and beside is None:
        # No room at the side: the hero gives up rows for what must be said under it.
        size = fit_rows(aside.text, columns - 2, min(max(MIN_ROWS, rows // 4), 8)) if room > 2 * MIN_ROWS else 0
        smaller = _set(face.hero, columns, room - size - 1) if size else None
        if smaller is not None:
            block, below = smaller, draw(aside.text, size)
            left = _over(here, block.width, canvas.width)
    used = block.rows + (below.rows + 1 if below is not None else 0)
    y = top + max(0, room - used) // 2
    if face.alarm:
        canvas.fill(left - 2, y - 1, block.width + 4, used + 2, " ", Ink.TEXT)
    block.put(canvas, left, y)
    if aside is None:
        return
    ink = TONE_INKS[aside.tone] if aside.tone is not Tone.ALARM else Ink.BAD
    if beside is not None:
        x, size = beside
        if face.alarm:
            canvas.fill(x - 2, y - 1, width_of(aside.text, size) + 4, used + 2, " ", Ink.TEXT)
        canvas.letters(x, y + block.rows - size, draw(aside.text, size), ink)
    elif below is not None:
        x = min(max(left, 1), canvas.width - 1 - below.width) if face.alarm else _over(here, below.width, canvas.width)
        canvas.letters(x, y + block.rows + 1, below, ink)
    elif rows > block.rows:
        text = fitted(aside.text, columns)
        canvas.text(_over(here, width(text), canvas.width), top + rows - 1, text, ink)


def _over(here: int | None, wide: int, columns: int) -> int:
    """The left cell of something `wide` cells that stands over `here` and stays on the screen.

    It moves in strides, so that a live value does not make the large letters tremble.
    """
    stride = max(1, columns // 25)
    middle = columns // 2 if here is None else here // stride * stride + stride // 2
    return min(max(1, middle - wide // 2), max(1, columns - 1 - wide))


def _with_done(canvas: Canvas, top: int, rows: int, hero: Hero, done: Done, here: int | None) -> bool:
    """Draw the mark with its caption and, to the right of it, the hero; False when that would be too small."""
    columns = canvas.width - 2
    for size in range(min(rows, MAX_ROWS), 2 * MIN_ROWS, -1):
        block = _line(hero, columns, size)
        if block is None:
            continue
        for caption in range(max(MIN_ROWS, size // 3), MIN_ROWS - 1, -1):
            mark = draw(done.mark, size - caption - 1)
            words = draw(done.text, caption)
            wide = max(mark.width, words.width)
            if wide + _GAP + block.width <= columns:
                left = max(_over(here, block.width, canvas.width), 1 + wide + _GAP)
                y = top + (rows - size) // 2
                start = max(1, (left - _GAP - wide) // 2)
                canvas.letters(start + (wide - mark.width) // 2, y, mark, TONE_INKS[done.tone])
                canvas.letters(start + (wide - words.width) // 2, y + size - caption, words, TONE_INKS[done.tone])
                block.put(canvas, left, y)
                return True
    return False


def _beside(columns: int, left: int, block: Block, aside: Line) -> tuple[int, int] | None:
    """Cell and height of the aside on the wider side of the hero, when it is legible there."""
    before, after = left - 1, columns - left - block.width - 1
    size = fit_rows(aside.text, max(before, after) - _GAP, max(MIN_ROWS, round(block.rows * 0.55)))
    if size < min(4, block.rows):
        return None
    return (left + block.width + _GAP if after >= before else left - _GAP - width_of(aside.text, size)), size


def _set(hero: Hero, columns: int, rows: int) -> Block | None:
    """The hero in letters, on one line or broken, whichever is larger; None when not even the smallest fits."""
    best: Block | None = None
    size = 0
    for lines in range(1, 1 + min(6, len(hero.text.split()) or 1)):
        for high in range(min(MAX_ROWS, (rows - (lines - 1)) // lines), max(size, MIN_ROWS - 1), -1):
            block = _line(hero, columns, high) if lines == 1 else _broken(hero, columns, high, lines)
            if block is not None:
                best, size = block, high
                break
    return best


def _line(hero: Hero, columns: int, size: int) -> Block | None:
    """The hero on one line, `size` rows high; None when it is wider than `columns`."""
    gap = max(2, size // 3)
    lead = width_of(hero.lead, size) + gap if hero.lead else 0
    text = capitals(hero.text)
    middle = width_of(text, size)
    unit_size = max(MIN_ROWS, round(size * _UNIT_SHARE))
    unit = width_of(hero.unit, unit_size) + max(1, size // 4) if hero.unit else 0
    if lead + middle + unit > columns:
        return None
    weight, ink = _pen(hero)
    pieces = [(lead, 0, draw(text, size, weight), ink)]
    if hero.lead:
        pieces.append((0, 0, draw(hero.lead, size), TONE_INKS[hero.lead_tone]))
    if hero.unit:
        pieces.append((lead + middle + max(1, size // 4), size - unit_size, draw(hero.unit, unit_size, weight), ink))
    return Block(tuple(pieces), lead + middle + unit, size)


def _broken(hero: Hero, columns: int, size: int, lines: int) -> Block | None:
    """The hero's words on up to `lines` lines; its lead stands before the first, its unit is not broken off."""
    gap = max(2, size // 3)
    lead = width_of(hero.lead, size) + gap if hero.lead else 0
    texts = wrap(capitals(f"{hero.text} {hero.unit}".strip()), columns - lead, size)
    widest = max((width_of(text, size) for text in texts), default=0)
    if len(texts) > lines or lead + widest > columns:
        return None
    weight, ink = _pen(hero)
    pieces = [(lead, at * (size + 1), draw(text, size, weight), ink) for at, text in enumerate(texts)]
    if hero.lead:
        pieces.append((0, 0, draw(hero.lead, size), TONE_INKS[hero.lead_tone]))
    return Block(tuple(pieces), lead + widest, len(texts) * (size + 1) - 1)


def _pen(hero: Hero) -> tuple[Weight, Ink]:
    ink = TONE_INKS[hero.tone] if hero.tone is not Tone.ALARM else Ink.BAD
    return Weight.HEAVY if hero.armed else Weight.LIGHT, ink


def _plain(canvas: Canvas, top: int, rows: int, hero: Hero, aside: Line | None) -> None:
    """Too small for letters: the same words as bold text."""
    text = " ".join(part for part in (hero.lead, hero.text, hero.unit) if part)
    ink = TONE_INKS[hero.tone] if hero.tone is not Tone.PLAIN else Ink.STRONG
    lines = wrapped(text, canvas.width, rows)
    if aside is not None and len(lines) < rows:
        lines.append(fitted(aside.text, canvas.width))
    for at, line in enumerate(lines):
        canvas.text(0, top + max(0, rows - len(lines)) // 2 + at, line, ink)
