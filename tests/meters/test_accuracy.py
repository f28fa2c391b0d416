"""Rows of an accuracy table as manuals print them: what they give, and what cannot be so."""

from __future__ import annotations

import pytest

from metercap.errors import UsageError
from metercap.meters.accuracy import row, rows, within


@pytest.mark.parametrize(
    ("text", "quantity", "resolution", "percent", "counts"),
    [
        ("resistance 400.0 ohm 1.2 % + 2", "resistance", 0.1, 1.2, 2.0),
        ("resistance: 4.000 kohm, \u00b1(0.9% + 3 digits)", "resistance", 1.0, 0.9, 3.0),
        ("voltage dc 400.0 mV 0.5 % + 1", "voltage_dc", 1e-4, 0.5, 1.0),
        ("voltage_ac 1000 V 1.5 %", "voltage_ac", 1.0, 1.5, 0.0),
        ("capacitance all 3 % + 5", "capacitance", None, 3.0, 5.0),
    ],
)
def test_a_row(text: str, quantity: str, resolution: float | None, percent: float, counts: float) -> None:
    """The last digit's weight of the range as written, by hand.

    400.0 ohm is 0.1, 4.000 kohm is 1, 400.0 mV is 0.1 mV.
    """
    one = row(text, 3999)
    assert (one.quantity.value, one.resolution, one.percent, one.counts) == (quantity, resolution, percent, counts)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("resistance 400 ohm 1.2 % + 2", "3999 counts"),
        ("resistance 40.000 kohm 1.2 % + 2", "3999 counts"),
        ("resistance 400.0 V 1.2 % + 2", "no unit of resistance"),
        ("resistence 400.0 ohm 1.2 % + 2", "no quantity"),
        ("resistance 400.0 ohm 120 % + 2", "no meter's accuracy"),
        ("resistance 400.0 ohm 1.2 % + 2000", "no meter's accuracy"),
        ("resistance 400.0 ohm 0 % + 0", "exact"),
        ("resistance 400.0 ohm", "is no row"),
    ],
)
def test_what_cannot_be_so(text: str, why: str) -> None:
    """A range without its digits would put the row on another range: refused, with an example."""
    with pytest.raises(UsageError, match=why) as told:
        row(text, 3999)
    assert "1.2 % + 2" in told.value.hint


def test_a_range_stands_once() -> None:
    """Twice the same range is a slip; no row at all too."""
    with pytest.raises(UsageError, match="twice"):
        rows(["resistance 400.0 ohm 1.2 % + 2", "resistance 300.0 ohm 1 % + 1"], 3999)
    with pytest.raises(UsageError, match="no row"):
        rows([], 3999)


def test_worked_out() -> None:
    """1.2 % of 200 ohm is 2.4 ohm, 2 counts of 0.1 ohm are 0.2 ohm: 2.6 ohm, by hand."""
    assert within(row("resistance 400.0 ohm 1.2 % + 2", 3999), -200.0, 0.1) == pytest.approx(2.6)
