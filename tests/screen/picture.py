"""A screen's cells as SVG, the same in every viewer: blocks become shapes, text keeps its cells whatever the font.

Terminal pictures made of text alone fall apart where the viewer's font draws block characters with gaps.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from rich.cells import cell_len
from rich.color import Color
from rich.segment import Segment
from rich.style import Style

CELL_W = 10
CELL_H = 20
_FONT = "ui-monospace,Menlo,Consolas,'DejaVu Sans Mono','Liberation Mono',monospace"
_QUADRANTS = {char: bits for bits, char in enumerate(" ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█")}
_SHADES = {"░": 0.28, "▒": 0.55}
_LINES = {"╱": (0, 1, 1, 0), "╎": (0.5, 0.1, 0.5, 0.9), "┃": (0.5, 0, 0.5, 1)}


def svg(rows: Sequence[Sequence[Segment]], *, ink: str = "#d5d9dc", ground: str = "#0e1114") -> str:
    """Return an SVG document of styled rows; `ink` and `ground` stand for the terminal's own colours."""
    columns = max((sum(segment.cell_length for segment in row) for row in rows), default=0)
    wide, high = columns * CELL_W, len(rows) * CELL_H
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}" height="{high}">',
        f'<rect width="{wide}" height="{high}" fill="{ground}"/>',
        f'<g font-family="{_FONT}" font-size="16" text-anchor="start">',
    ]
    for y, row in enumerate(rows):
        x = 0
        for segment in row:
            front, back = _colours(segment.style, ink, ground)
            if back != ground:
                parts.append(_box(x, y, segment.cell_length, back))
            parts += _cells(segment.text, x, y, front, segment.style)
            x += segment.cell_length
    return "\n".join([*parts, "</g>", "</svg>", ""])


def _colours(style: Style | None, ink: str, ground: str) -> tuple[str, str]:
    front = _hex(style.color, ink) if style is not None else ink
    back = _hex(style.bgcolor, ground) if style is not None else ground
    return (back, front) if style is not None and style.reverse else (front, back)


def _hex(colour: Color | None, otherwise: str) -> str:
    return otherwise if colour is None or colour.is_default else colour.get_truecolor().hex


def _box(x: int, y: int, cells: int, fill: str) -> str:
    return f'<rect x="{x * CELL_W}" y="{y * CELL_H}" width="{cells * CELL_W}" height="{CELL_H}" fill="{fill}"/>'


def _cells(text: str, x: int, y: int, fill: str, style: Style | None) -> list[str]:
    """Shapes of one run: quarters of cells as one path, shades, lines, and words as text of fixed length."""
    parts: list[str] = []
    quarters: list[str] = []
    word, word_x = "", x
    dim = ' opacity="0.6"' if style is not None and style.dim else ""

    def flush() -> None:
        nonlocal word
        if word.strip():
            bold = ' font-weight="bold"' if style is not None and style.bold else ""
            length = cell_len(word) * CELL_W
            parts.append(
                f'<text x="{word_x * CELL_W}" y="{y * CELL_H + 15}" textLength="{length}" fill="{fill}"{bold}{dim}'
                f' xml:space="preserve">{escape(word)}</text>'
            )
        word = ""

    for char in text:
        left, top = x * CELL_W, y * CELL_H
        if char == " " or char in _QUADRANTS or char in _SHADES or char in _LINES or char == "▁":
            flush()
        if char == "▁":
            quarters.append(f"M{left} {top + CELL_H - 3}h{CELL_W}v3h-{CELL_W}z")
        elif char in _QUADRANTS:
            for bit in range(4):
                if _QUADRANTS[char] >> bit & 1:
                    px, py = left + bit % 2 * CELL_W // 2, top + bit // 2 * CELL_H // 2
                    quarters.append(f"M{px} {py}h{CELL_W // 2}v{CELL_H // 2}h-{CELL_W // 2}z")
        elif char in _SHADES:
            parts.append(_box(x, y, 1, fill).replace("/>", f' opacity="{_SHADES[char]}"/>'))
        elif char in _LINES:
            x0, y0, x1, y1 = _LINES[char]
            parts.append(
                f'<path d="M{left + x0 * CELL_W:g} {top + y0 * CELL_H:g}L{left + x1 * CELL_W:g} {top + y1 * CELL_H:g}"'
                f' stroke="{fill}" stroke-width="2"{dim}/>'
            )
        else:
            if not word:
                word_x = x
            word += char
        x += cell_len(char)
    flush()
    if quarters:
        parts.append(f'<path fill="{fill}"{dim} shape-rendering="crispEdges" d="{"".join(quarters)}"/>')
    return parts
