"""A grid of cells to draw on: characters and inks, clipped at the edges, turned into styled segments row by row."""

from __future__ import annotations

from enum import IntEnum
from itertools import groupby

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style

from metercap.screen.lettering import Lettering
from metercap.screen.text import fitted


class Ink(IntEnum):
    """What a cell is drawn with; a theme turns it into a style."""

    TEXT = 0
    QUIET = 1
    STRONG = 2
    GOOD = 3
    BAD = 4
    UNSURE = 5
    ALARM = 6
    LABEL = 7
    GOOD_LABEL = 8
    BAD_LABEL = 9
    UNSURE_LABEL = 10


class Row:
    """One row: a character and an ink for each cell; the cell after a wide character holds ""."""

    __slots__ = ("chars", "inks")

    def __init__(self, width: int) -> None:
        self.chars = [" "] * width
        self.inks = [Ink.TEXT] * width

    def same(self, other: Row) -> bool:
        """Whether both rows look the same."""
        return self.chars == other.chars and self.inks == other.inks

    def changed(self, other: Row) -> tuple[int, int] | None:
        """First and last cell that differ from a row of the same width, or None."""
        if self.same(other):
            return None
        chars, inks, old_chars, old_inks = self.chars, self.inks, other.chars, other.inks
        first, last = 0, len(chars) - 1
        while chars[first] == old_chars[first] and inks[first] is old_inks[first]:
            first += 1
        while chars[last] == old_chars[last] and inks[last] is old_inks[last]:
            last -= 1
        return first, last

    def segments(self, styles: tuple[Style, ...]) -> list[Segment]:
        """Return the row as runs of one style each."""
        runs: list[Segment] = []
        chars, start = self.chars, 0
        for ink, group in groupby(self.inks):
            end = start + len(list(group))
            runs.append(Segment("".join(chars[start:end]), styles[ink]))
            start = end
        return runs


class Canvas:
    """Rows of cells; everything outside is left out."""

    def __init__(self, width: int, height: int) -> None:
        self.width = width
        self.height = height
        self.rows = [Row(width) for _ in range(height)]

    def paste(self, x: int, y: int, other: Canvas) -> None:
        """Put another canvas on this one, its upper left cell at `x`, `y`; it must lie within."""
        for row, pasted in zip(self.rows[y:], other.rows, strict=False):
            row.chars[x : x + other.width] = pasted.chars
            row.inks[x : x + other.width] = pasted.inks

    def text(self, x: int, y: int, text: str, ink: Ink = Ink.TEXT, cells: int | None = None) -> int:
        """Write text from cell `x` of row `y`, at most `cells` wide; return the cell after it."""
        room = self.width - x if cells is None else min(cells, self.width - x)
        if not 0 <= y < self.height or x < 0 or room <= 0:
            return x
        row = self.rows[y]
        for char in fitted(text, room):
            size = 1 if char.isascii() else cell_len(char)
            if size == 0:
                continue
            if x + size > self.width:
                break
            row.chars[x], row.inks[x] = char, ink
            if size == 2:
                row.chars[x + 1], row.inks[x + 1] = "", ink
            x += size
        return x

    def letters(self, x: int, y: int, lettering: Lettering, ink: Ink) -> None:
        """Draw letters with their upper left cell at `x`, `y`; blank cells leave what is there."""
        for dy, line in enumerate(lettering.lines):
            if not 0 <= y + dy < self.height:
                continue
            row = self.rows[y + dy]
            for dx, char in enumerate(line):
                if char != " " and 0 <= x + dx < self.width:
                    row.chars[x + dx], row.inks[x + dx] = char, ink

    def fill(self, x: int, y: int, width: int, height: int, char: str, ink: Ink) -> None:
        """Fill a box with one character."""
        left, right = max(0, x), min(self.width, x + width)
        if right <= left:
            return
        for row in self.rows[max(0, y) : max(0, y + height)]:
            row.chars[left:right] = [char] * (right - left)
            row.inks[left:right] = [ink] * (right - left)

    def lines(self) -> list[str]:
        """Return the rows as plain text, for tests and for terminals of one ink."""
        return ["".join(row.chars) for row in self.rows]
