"""Letters drawn with strokes, from three terminal rows up to the whole screen.

A glyph is a few strokes in a box of its own proportions: straight runs and parts of ellipses. To draw it, the box is
laid on a grid of quarter cells, every node of a stroke is moved to the grid so that straight edges fall between
quarters, and a pen of whole quarters is dragged along. The result is quadrant blocks, which every terminal font has.
Pen widths grow with the height: `HEAVY` is made to be read across a bench, `LIGHT` says the same words more quietly.

The letter shapes are metercap's own. Nothing is invented for a character without a glyph: accents are taken off,
small letters become capitals, and what is left is an empty box.
"""

from __future__ import annotations

import itertools
import math
import unicodedata
from enum import IntEnum
from functools import lru_cache
from typing import TypeAlias

import msgspec

from metercap.screen.glyphs import GLYPHS, Glyph

MIN_ROWS = 3
"""Least height, in terminal rows, at which every glyph can be told from every other."""
MAX_ROWS = 40
"""Greatest height drawn; beyond it nothing is gained across a bench."""

UNITS = frozenset(
    [prefix + unit for unit in ("Ω", "V", "A", "F", "Hz") for prefix in ("p", "n", "µ", "m", "", "k", "M", "G")]
    + ["s", "ms", "min", "h", "%", "°C"]
)
"""Words that keep their small letters in a headline, since m is not M."""
_QUADRANTS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
_STEPS = 40
"""Straight pieces of a full ellipse; at 40 rows one piece is about four quarters long."""
_Grid: TypeAlias = tuple[int, ...]


class Weight(IntEnum):
    """How wide the pen is, in thousandths of the letter's height."""

    LIGHT = 70
    HEAVY = 175


class Lettering(msgspec.Struct, frozen=True):
    """Drawn text: `lines` are `rows` strings of `width` terminal cells each."""

    lines: tuple[str, ...]
    width: int

    @property
    def rows(self) -> int:
        """Height in terminal rows."""
        return len(self.lines)


def draw(text: str, rows: int, weight: Weight = Weight.HEAVY) -> Lettering:
    """Draw one line of text `rows` terminal rows high (3 to 40; other heights are brought into that range).

    Empty text gives `rows` empty lines. Pure: the same text and height always give the same cells.
    """
    rows = min(max(rows, MIN_ROWS), MAX_ROWS)
    glyphs = [_glyph_cells(_known(char), rows, weight) for char in plain_glyphs(text)]
    gap = " " * _gap_cells(rows)
    lines = tuple(gap.join(glyph[row] for glyph in glyphs) for row in range(rows))
    return Lettering(lines=lines, width=len(lines[0]))


def width_of(text: str, rows: int) -> int:
    """Width in terminal cells of `draw(text, rows)`, without drawing."""
    rows = min(max(rows, MIN_ROWS), MAX_ROWS)
    chars = plain_glyphs(text)
    if not chars:
        return 0
    return sum(_box_cells(_known(char), rows) for char in chars) + _gap_cells(rows) * (len(chars) - 1)


def fit_rows(text: str, max_width: int, max_rows: int) -> int:
    """The greatest height at which `text` is at most `max_width` cells wide and `max_rows` high; 0 when none is."""
    for rows in range(min(max_rows, MAX_ROWS), MIN_ROWS - 1, -1):
        if width_of(text, rows) <= max_width:
            return rows
    return 0


def wrap(text: str, max_width: int, rows: int) -> list[str]:
    """Break `text` at spaces into lines that fit `max_width` when drawn `rows` high; a longer word keeps its line."""
    lines: list[str] = []
    for word in text.split():
        if lines and width_of(f"{lines[-1]} {word}", rows) <= max_width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def capitals(text: str) -> str:
    """`text` for a headline: words in capitals, units as they are written ("probe RV1 at 1.5 kΩ" keeps its k)."""
    return " ".join(word if word.strip("(),.;:?!") in UNITS else _upper(word) for word in text.split(" "))


def _upper(word: str) -> str:
    return "".join(char.upper() if char.isascii() else char for char in word)


def plain_glyphs(text: str) -> str:
    """The characters that will stand for `text`: accents off, small letters without a glyph as capitals."""
    if all(char in GLYPHS for char in text):
        return text
    shown: list[str] = []
    for char in text:
        if char in GLYPHS:
            shown.append(char)
            continue
        for part in unicodedata.normalize("NFKD", char):
            if unicodedata.combining(part):
                continue
            shown.append(part if part in GLYPHS else part.upper())
    return "".join(shown)


def _known(char: str) -> str:
    return char if char in GLYPHS else "\ufffd"


def _gap_cells(rows: int) -> int:
    return max(1, round(rows * 0.16))


def _pen(rows: int, weight: Weight) -> tuple[int, int]:
    """Pen width and height in quarter cells, which are twice as high as wide."""
    across = rows * 4 * weight / 1000
    return 2 * max(1, round(across / 2)), max(1, round(across / 2))


@lru_cache(maxsize=4096)
def _box_cells(char: str, rows: int) -> int:
    return max(1, round(GLYPHS[char].width * rows * 2))


@lru_cache(maxsize=4096)
def _glyph_cells(char: str, rows: int, weight: Weight) -> _Cells:
    columns = _box_cells(char, rows)
    grid = _raster(GLYPHS[char], columns * 2, rows * 2, _pen(rows, weight))
    return tuple(
        "".join(
            _QUADRANTS[((grid[row] >> column) & 3) | (((grid[row + 1] >> column) & 3) << 2)]
            for column in range(0, columns * 2, 2)
        )
        for row in range(0, rows * 2, 2)
    )


_Cells: TypeAlias = tuple[str, ...]


def _raster(glyph: Glyph, width: int, height: int, pen: tuple[int, int]) -> _Grid:
    """One integer a grid row, bit 0 leftmost: a quarter is set when its middle is under the pen."""
    across, down = min(pen[0], width), min(pen[1], height)
    grid = [0] * height
    whole = (1 << width) - 1
    for stroke in glyph.strokes:
        points = [
            (_snapped(x, width - across) + across / 2, _snapped(y, height - down) + down / 2) for x, y in stroke.nodes
        ]
        track = _bent(points) if stroke.curved else points
        pieces = list(itertools.pairwise(track)) or [(track[0], track[0])]
        for (x0, y0), (x1, y1) in pieces:
            top = max(0, math.floor(min(y0, y1) - down / 2))
            bottom = min(height, math.ceil(max(y0, y1) + down / 2))
            for row in range(top, bottom):
                span = _under_pen(x0 / across, y0 / down, x1 / across, y1 / down, (row + 0.5) / down)
                if span is not None:
                    first = max(0, math.ceil(span[0] * across - 0.5 - 1e-9))
                    last = min(width - 1, math.floor(span[1] * across - 0.5 + 1e-9))
                    if last >= first:
                        grid[row] |= ((1 << (last - first + 1)) - 1) << first
    return tuple(row & whole for row in grid)


def _snapped(share: float, room: int) -> float:
    return math.floor(share * room + 0.5)


def _bent(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Quarter ellipses through the nodes: a curved stroke's nodes are start, corner, end, corner, end, …"""
    track = [points[0]]
    for index in range(0, len(points) - 2, 2):
        (x0, y0), (xc, yc), (x1, y1) = points[index : index + 3]
        for step in range(1, _STEPS // 4 + 1):
            angle = step / (_STEPS // 4) * math.pi / 2
            # The quarter ellipse with the corner outside: centre is the fourth corner of the box of the three nodes.
            along, still = math.sin(angle), math.cos(angle)
            track.append(
                (
                    x0 + x1 - xc + (xc - x1) * still + (xc - x0) * along,
                    y0 + y1 - yc + (yc - y1) * still + (yc - y0) * along,
                )
            )
    return track


def _under_pen(x0: float, y0: float, x1: float, y1: float, y: float) -> tuple[float, float] | None:
    """Where the horizontal line at `y` lies within half a pen of a straight run; all in pen widths and heights."""
    ends: list[float] = []
    for px, py in ((x0, y0), (x1, y1)):
        half = 0.25 - (y - py) ** 2
        if half >= 0:
            ends += (px - math.sqrt(half), px + math.sqrt(half))
    length = math.hypot(x1 - x0, y1 - y0)
    if length > 1e-9:
        nx, ny = (y0 - y1) / length / 2, (x1 - x0) / length / 2
        corners = [(x0 + nx, y0 + ny), (x1 + nx, y1 + ny), (x1 - nx, y1 - ny), (x0 - nx, y0 - ny)]
        for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
            if min(ay, by) <= y <= max(ay, by) and abs(by - ay) > 1e-12:
                ends.append(ax + (bx - ax) * (y - ay) / (by - ay))
    return (min(ends), max(ends)) if ends else None
