"""The part of a report that sets the unit beside known-good ones."""

from __future__ import annotations

from metercap.compare.model import Pair
from metercap.compare.text import line_cells, remarks
from metercap.records import VerdictKind
from metercap.report.document import Block, Group, Listing, Para, Row, Section, Table

HEADS = ("item", "verdict", "here", "there", "difference", "ratio", "E_n", "")


def beside(pair: Pair) -> Section:
    """Return one comparison, most suspicious first."""
    title = f"Beside {pair.beside}"
    blocks: list[Block] = []
    if pair.odd:
        lines = tuple(f"{odd.step} {odd.item}: {odd.here}; there {odd.there}" for odd in pair.odd)
        blocks += [Para("With a value there and none here:"), Listing(lines)]
    if pair.lines:
        rows = []
        for line in pair.lines:
            flag, step, item, verdict, *cells, how = line_cells(line)
            last = "; ".join(part for part in ("differs" if flag and line.differs else "", how) if part)
            rows.append(Row((f"{step} {item}", verdict, *cells, last), VerdictKind(line.verdict)))
        blocks.append(Table("beside", HEADS, (Group(tuple(rows)),)))
        said = "; ".join([*remarks(pair), "a difference is a reason to look, a fault is what the limits say"])
        blocks.append(Para(f"{said}."))
    if pair.apart:
        lines = tuple(f"{one.step} {one.item}: {one.why}" for one in pair.apart)
        blocks += [Para("Not compared:"), Listing(lines)]
    return Section(title, tuple(blocks) or (Para("No item has a value on both sides."),))
