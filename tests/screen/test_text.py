"""Text for cells: nothing hostile survives, and nothing is wider than asked."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from metercap.screen.text import fitted, visible, width, wrapped


@given(st.text())
def test_visible_has_no_control(text: str) -> None:
    """No control, format or unassigned character is left, so no cursor moves and no text runs backwards."""
    shown = visible(text)
    assert shown.isprintable() or "\u3000" in shown or any(char.isspace() for char in shown)
    assert not any(ord(char) < 32 or 0x7F <= ord(char) < 0xA0 or char in "\u202e\u200b\u2028" for char in shown)


def test_escapes_are_readable() -> None:
    """An escape sequence shows as what it is."""
    assert visible("F1\x1b[2J") == "F1\\x1b[2J"
    assert visible("a\u202eb") == "a\\u202eb"
    assert visible("plain µΩ") == "plain µΩ"


@given(st.text(), st.integers(0, 40))
def test_fitted_fits(text: str, cells: int) -> None:
    """What is fitted is never wider than the cells it has, double-wide characters included."""
    assert cell_len(fitted(visible(text), cells)) <= cells


@given(st.text(alphabet="ab Ω漢 ", max_size=80), st.integers(1, 30), st.integers(1, 4))
def test_wrapped_fits(text: str, cells: int, rows: int) -> None:
    """At most so many lines, none too wide; words are only lost after a mark."""
    lines = wrapped(text, max(cells, 2), rows)
    assert len(lines) <= rows
    assert all(width(line) <= max(cells, 2) for line in lines)
