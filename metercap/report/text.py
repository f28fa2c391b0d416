"""A report as plain text, the same content as the page; needs nothing that is not installed anyway. Pure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from metercap.compare.text import table_lines
from metercap.plain.style import MARKS, safe
from metercap.report.document import Block, Document, Facts, Listing, Para, Photo, Picture, Signatures, Table

STACKED = ("abreast", "sittings")
"""Tables whose cells are sentences."""
WIDTH = 100
"""Columns of running text; a table's last cell runs on."""


def text_lines(document: Document) -> Iterator[str]:
    """Return the lines of a report, unprintable characters escaped, without line ends."""
    yield safe(document.title)
    yield safe(document.subtitle)
    yield ""
    yield from _wrapped(document.result)
    for section in document.sections:
        yield ""
        yield safe(section.title)
        yield "-" * min(len(safe(section.title)), WIDTH)
        for block in section.blocks:
            yield from _block(block)
    yield ""
    yield from _wrapped(document.closing)


def _block(block: Block) -> Iterator[str]:
    if isinstance(block, Facts):
        wide = max(len(name) for name, _ in block.rows)
        for name, told in block.rows:
            for n, text in enumerate((told,) if isinstance(told, str) else told):
                first = f"{'' if n else safe(name):<{wide}}  "
                yield from _wrapped(text, first, " " * (wide + (2 if isinstance(told, str) else 4)))
    elif isinstance(block, Para):
        yield from _wrapped(block.text, "! " if block.loud else "")
    elif isinstance(block, Listing):
        for line in block.lines:
            yield from _wrapped(line, "- ", "  ")
    elif isinstance(block, Table):
        yield from _stacked(block) if block.name in STACKED else _table(block)
    elif isinstance(block, Photo):
        yield from _wrapped(f"picture: {block.title} ({block.width} × {block.height}, in the page)")
    elif isinstance(block, Signatures):
        for who in block.who:
            yield f"{safe(who)}: {'_' * 30}  date: {'_' * 14}"
    elif isinstance(block, Picture):
        for n, line in enumerate(block.says):
            yield from _wrapped(line, f"{safe(block.title)}: " if n == 0 else "  ", "  ")


def _table(table: Table) -> Iterator[str]:
    """Yield a table's lines; what takes the room of several columns stands in the last."""
    rows = [("", *table.heads)]
    titles: dict[int, str] = {}
    for group in table.groups:
        if group.title:
            titles[len(rows)] = " ".join(part for part in (group.title, group.about) if part)
        for row in group.rows:
            mark = "" if row.mark is None else MARKS[row.mark][0]
            room = [""] * (len(table.heads) - len(row.cells))
            rows.append(("." if row.quiet else mark, *row.cells[:-1], *room, row.cells[-1]))
    for n, line in enumerate(table_lines([tuple(safe(cell) for cell in row) for row in rows])):
        if n in titles:
            yield safe(titles[n])
        yield line


def _stacked(table: Table) -> Iterator[str]:
    """Yield a table whose cells are too long to stand beside each other: each below its head."""
    wide = max(len(head) for head in table.heads[1:])
    for row in (row for group in table.groups for row in group.rows):
        yield safe(row.cells[0])
        for head, cell in zip(table.heads[1:], row.cells[1:], strict=False):
            if cell:
                yield from _wrapped(cell, f"  {safe(head):<{wide}}  ", " " * (wide + 4))


def _wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    rest = " " * len(first) if rest is None else rest
    lines = textwrap.wrap(
        safe(text), WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    )
    return lines or [first.rstrip()]
