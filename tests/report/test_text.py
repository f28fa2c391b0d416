"""The report as plain text: the same content as the page, nothing unprintable."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from metercap.plain.style import safe
from metercap.records import Operator, VerdictKind
from metercap.report.document import Document, Facts, Group, Listing, Para, Picture, Row, Section, Table
from metercap.report.page import page
from metercap.report.text import WIDTH, text_lines
from tests.report.papers import HOSTILE, dipped, report, swept


def contents(document: Any) -> Iterator[Any]:
    """Yield every piece of text of a document, pictures by their words."""
    yield from (document.title, document.subtitle, document.result, document.closing)
    for part in document.sections:
        yield part.title
        for block in part.blocks:
            if isinstance(block, Facts):
                yield from (text for row in block.rows for text in row)
            elif isinstance(block, Para):
                yield block.text
            elif isinstance(block, Listing):
                yield from block.lines
            elif isinstance(block, Picture):
                yield from (block.title, *block.says)
            else:
                yield from block.heads
                for group in block.groups:
                    yield from (group.title, group.about)
                    yield from (cell for row in group.rows for cell in row.cells)


@pytest.mark.parametrize("play", [swept, dipped])
def test_text_and_page_say_the_same(tmp_path: Path, play: Any) -> None:
    """Every piece of the document is in both."""
    from tests.report.test_page import Parsed

    document = report(tmp_path, play(operator=HOSTILE))
    text, web = " ".join(" ".join(text_lines(document)).split()), Parsed(page(document)).text
    pieces = [" ".join(safe(piece).split()) for piece in contents(document)]
    assert len(pieces) > 60
    assert [piece for piece in pieces if piece not in text] == []
    assert [piece for piece in pieces if piece not in web] == []


def test_nothing_unprintable(tmp_path: Path) -> None:
    """A terminal gets escapes to read, none to obey."""
    play = swept(unit=HOSTILE, operator=HOSTILE)
    play.feed(Operator(play.t_s, "note", HOSTILE))
    found = list(text_lines(report(tmp_path, play)))
    assert all(line.isprintable() for line in found)
    assert sum("\\x1b[31m\\x07\\u202eevil" in line for line in found) >= 4


def test_running_text_is_wrapped_and_tables_are_aligned() -> None:
    """A hundred columns of words; columns of a table below each other, marks first, groups by their titles."""
    table = Table(
        "t",
        ("item", "verdict", "reason"),
        (
            Group(
                (Row(("F1", "pass", "good"), VerdictKind.PASS), Row(("F10", "fail", "bad"), VerdictKind.FAIL)),
                "fuses",
                "sweep",
            ),
            Group((Row(("clock", "open, for want of a word"), quiet=True),)),
        ),
    )
    document = Document(
        "T", "S", "word " * 60, (Section("Part", (table, Para("p", loud=True), Facts((("a", "b"),)))),), "end"
    )
    found = list(text_lines(document))
    assert max(len(line) for line in found) <= WIDTH
    at = found.index("Part") + 2
    assert found[at : at + 7] == [
        "     item   verdict  reason",
        "fuses sweep",
        "  +  F1     pass     good",
        "  X  F10    fail     bad",
        "  .  clock           open, for want of a word",
        "! p",
        "a  b",
    ]
