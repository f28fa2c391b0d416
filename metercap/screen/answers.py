"""What a terminal says of itself when it is asked: whether it draws pictures, how large its cells are. Pure.

Nothing is taken from its name. The first question is one that every terminal understands; the others are asked only
where its answer lists sixel graphics, since another terminal might take them for something else. An answer may come
late, or never: until then there are no pictures.
"""

from __future__ import annotations

import re
from typing import NamedTuple

FIRST = "\x1b[c"
"""Primary device attributes (ECMA-48, 8.3.24)."""
SIZES = "\x1b[16t\x1b[14t"
"""The pixels of a cell, and of the whole text area (the terminals' window reports; from memory)."""
THEN = SIZES + "\x1b[?1;1;0S"
"""The sizes, and how many colours a picture may have (from memory)."""
MOST_ANSWER = 128
"""Characters of the longest answer."""
SIXEL = 4
"""What stands for sixel graphics among a terminal's attributes; the first number says what kind of terminal it is."""
FEWEST_COLOURS, MOST_COLOURS = 16, 32
"""The first terminals with sixel had so many; more than the second show nothing that a glance sees."""
CELL_WIDE, CELL_HIGH = (4, 64), (6, 128)
"""Pixels that a cell can have; what says otherwise is a broken answer."""

_ATTRIBUTES = re.compile(r"\x1b\[\?([\d;]{1,100})c")
_SIZE = re.compile(r"\x1b\[([46]);(\d{1,6});(\d{1,6})t")
_COLOURS = re.compile(r"\x1b\[\?1;(\d{1,6});([\d;]{1,40})S")


class Cell(NamedTuple):
    """Pixels of one cell."""

    width: int
    height: int


def is_answer(key: str) -> bool:
    """Tell whether a whole sequence is an answer, which is no key whenever it comes."""
    return any(each.fullmatch(key) for each in (_ATTRIBUTES, _SIZE, _COLOURS))


class Answers:
    """What was answered so far. `sixel` is None until the first question was answered; `complete` once the last was."""

    def __init__(self) -> None:
        self.sixel: bool | None = None
        self.complete = False
        self.colours = FEWEST_COLOURS
        self._told: Cell | None = None
        self._area: tuple[int, int] | None = None

    def hear(self, key: str) -> None:
        """Take an answer; anything else says nothing."""
        if found := _ATTRIBUTES.fullmatch(key):
            self.sixel = str(SIXEL) in found[1].split(";")[1:]
        elif found := _SIZE.fullmatch(key):
            height, width = int(found[2]), int(found[3])
            if found[1] == "6":
                self._told = _cell(width, height)
            else:
                self._area = width, height
        elif found := _COLOURS.fullmatch(key):
            self.complete = True
            number = found[2].partition(";")[0]
            if int(found[1]) == 0 and number:
                self.colours = min(max(int(number[:6]), FEWEST_COLOURS), MOST_COLOURS)

    def cell(self, columns: int, rows: int) -> Cell | None:
        """Return the pixels of a cell of a terminal with so many, None where there are no pictures or none knows."""
        if not self.sixel:
            return None
        if self._told is not None or self._area is None or columns < 1 or rows < 1:
            return self._told
        return _cell(self._area[0] // columns, self._area[1] // rows)

    def resized(self) -> None:
        """Forget the sizes: the letters may have changed."""
        self._told = self._area = None


def _cell(width: int, height: int) -> Cell | None:
    fits = CELL_WIDE[0] <= width <= CELL_WIDE[1] and CELL_HIGH[0] <= height <= CELL_HIGH[1]
    return Cell(width, height) if fits else None
