"""Text for cells: nothing a meter, a plan or a journal holds can move the cursor or hide itself."""

from __future__ import annotations

from rich.cells import cell_len, chop_cells, set_cell_size

from metercap.gate import visible

__all__ = ["fitted", "visible", "width", "wrapped"]


def width(text: str) -> int:
    """Width in terminal cells."""
    return len(text) if text.isascii() else cell_len(text)


def fitted(text: str, cells: int) -> str:
    """`text` cut to at most `cells` terminal cells, with "…" where something was left out."""
    if cells <= 0:
        return ""
    if width(text) <= cells:
        return text
    return set_cell_size(text, cells - 1).rstrip() + "…"


def wrapped(text: str, cells: int, rows: int) -> list[str]:
    """`text` broken at spaces into at most `rows` lines of at most `cells` cells; the last says "…" when cut."""
    if cells <= 0 or rows <= 0:
        return []
    lines: list[str] = []
    for word in text.split():
        if lines and width(lines[-1]) + 1 + width(word) <= cells:
            lines[-1] += f" {word}"
        else:
            lines.extend(chop_cells(word, cells) if width(word) > cells else [word])
    if len(lines) > rows:
        lines = [*lines[: rows - 1], fitted(" ".join(lines[rows - 1 :]), cells)]
    return lines
