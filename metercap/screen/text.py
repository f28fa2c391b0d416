"""Text for cells: nothing a meter, a plan or a journal holds can move the cursor or hide itself."""

from __future__ import annotations

import unicodedata

from rich.cells import cell_len, chop_cells, set_cell_size

_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def visible(text: str) -> str:
    """`text` with every control, format, unassigned or separator character written as an escape, such as `\\x1b`."""
    if text.isascii() and text.isprintable():
        return text
    shown: list[str] = []
    for char in text:
        if unicodedata.category(char) in _HIDDEN:
            shown.append(char.encode("unicode_escape").decode("ascii") if char.isascii() else f"\\u{ord(char):04x}")
        else:
            shown.append(char)
    return "".join(shown)


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
