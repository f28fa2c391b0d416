"""The part that sets a unit beside known-good ones."""

from __future__ import annotations

from metercap.compare.model import Apart, Line, Odd, Pair
from metercap.records import VerdictKind
from metercap.report.beside import HEADS, beside
from metercap.report.document import Listing, Para, Table

K3 = Line(
    "coils",
    "K3",
    "ohm",
    "unsure",
    861.0,
    1.0,
    1.0,
    1149.0,
    1.0,
    3,
    1146.06,
    1151.94,
    -288.0,
    2.94,
    0.749347,
    -97.83,
    True,
    flagged=True,
)
K1 = Line(
    "coils",
    "K1",
    "ohm",
    "pass",
    1152.5,
    1.0,
    1.0,
    1152.0,
    1.0,
    1,
    1149.0,
    1155.0,
    0.5,
    3.4,
    1.00043,
    0.147,
    False,
    "full U of both: another day",
)
PAIR = Pair(
    "good units",
    "B",
    "b.jsonl",
    "unit A",
    (Odd("fuses", "F11", "fail: open", "0.2 Ω"),),
    (K3, K1),
    (Apart("rails", "TP9", "not in unit A"),),
    0.0455,
)


def test_lines_odd_and_apart() -> None:
    """Ranked as they came, each value with its U, what has no number before them, what is not compared after them."""
    part = beside(PAIR)
    assert part.title == "Beside unit A"
    _, odd, table, chance, _, apart = part.blocks
    assert odd == Listing(("fuses F11: fail: open; there 0.2 Ω",))
    assert isinstance(table, Table) and table.heads == HEADS
    first, second = table.groups[0].rows
    assert first.cells[:4] == ("coils K3", "unsure", "861 Ω ± 1.0 Ω", "1.149 kΩ ± 1.0 Ω of 3")
    assert first.cells[-3:] == ("0.7493", "-97.83", "differs")
    assert (first.mark, second.mark) == (VerdictKind.UNSURE, VerdictKind.PASS)
    assert second.cells[-1] == "(full U of both: another day)"
    assert isinstance(chance, Para)
    assert chance.text.startswith("1 of 1 differ by more than their uncertainty")
    assert "chance alone would flag about 0.045" in chance.text
    assert "0 of 1 differ from one unit" in chance.text
    assert apart == Listing(("rails TP9: not in unit A",))


def test_nothing_in_common() -> None:
    """Two units without a value on both sides: said in a sentence."""
    empty = Pair("good units", "B", "b.jsonl", "unit A", (), (), (), 0.0)
    assert beside(empty).blocks == (Para("No item has a value on both sides."),)
