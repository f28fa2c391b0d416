"""cell: voltage by chemistry, polarity by the operator's yes, internal resistance under a load."""

from __future__ import annotations

from typing import Any

import pytest
from bench_play import Play

from metercap.records import VerdictKind
from metercap.steps import CellStep, Item


def cell(**more: Any) -> CellStep:
    """Return a cell step of BT1, lithium 3 V."""
    return CellStep(**({"id": "backup", "items": (Item("BT1", connected="removed"),)} | more))


def measured(script: str, **more: Any) -> Play:
    """Return a play at 5 conversions/s with open tips first."""
    return Play(cell(**more), rate=5.0)("0.000V*6 " + script)


@pytest.mark.parametrize(
    ("volt", "verdict", "condition"),
    [("3.210V", "pass", "good"), ("3.000V", "unsure", "weak"), ("2.700V", "fail", "weak"), ("1.500V", "fail", "spent")],
)
def test_unloaded_voltage_by_chemistry(volt: str, verdict: str, condition: str) -> None:
    """From 3.1 V good, 2.9 to 3.1 V unsure, below weak, below the end voltage of 2.0 V spent (makers' data sheets)."""
    found = measured(f"{volt}*4").verdicts["BT1"]
    assert (found.verdict.value, found.condition) == (verdict, condition)
    assert "removed" in found.reason


def test_reversed_only_after_the_operators_yes() -> None:
    """A negative value first asks whether red is on +."""
    play = measured("-3.100V*4")
    assert play.prompts[-1] == "answer BT1"
    assert not play.verdicts
    play(":yes")
    assert play.verdicts["BT1"].condition == "reversed"
    assert play.verdicts["BT1"].verdict is VerdictKind.FAIL


def test_no_to_that_question_measures_again() -> None:
    """The leads were the wrong way round."""
    play = measured("-3.200V*4 :no 0.000V*8 3.200V*4")
    assert play.verdicts["BT1"].condition == "good"


def test_a_dead_cell_needs_a_yes() -> None:
    """Open tips read about zero too."""
    play = measured("0.002V*10")
    assert not play.verdicts
    play(":yes")
    assert (play.verdicts["BT1"].verdict, play.verdicts["BT1"].condition) == (VerdictKind.FAIL, "spent")


def test_a_load_gives_internal_resistance() -> None:
    """470 Ω, 3.000 V to 2.820 V: r = 470 · 0.18 / 2.82 = 30 Ω (Ohm's law)."""
    play = measured("3.000V*4 2.820V*20", load=470.0)
    found = play.verdicts["BT1"]
    assert (found.verdict, found.condition) == (VerdictKind.PASS, "good")
    assert "internal 30 Ω" in found.reason


def test_a_drop_under_twenty_counts_shows_no_load() -> None:
    """10 counts could be the cell's own sag: the tool goes on waiting for the load; 180 counts are one."""
    play = measured("3.000V*4 2.990V*40", load=470.0)
    assert play.prompts[-1] == "keep BT1"
    assert not play.verdicts
    play("2.820V*20")
    assert "internal 30 Ω" in play.verdicts["BT1"].reason


def test_a_load_that_recovers_under_twenty_counts_is_refused() -> None:
    """It dropped by 25 counts at first, and by 10 when it was read: a smaller resistor is asked for."""
    play = measured("3.000V*4 2.975V*2 2.990V*20", load=470.0)
    assert play.verdicts["BT1"].verdict is VerdictKind.UNSURE
    assert "take a smaller resistor" in play.verdicts["BT1"].reason


def test_a_weak_cell_fails_under_load() -> None:
    """3.0 V unloaded, 2.2 V loaded."""
    play = measured("3.000V*4 2.200V*20", load=470.0)
    assert (play.verdicts["BT1"].verdict, play.verdicts["BT1"].condition) == (VerdictKind.FAIL, "weak")
