"""cell: voltage by chemistry, polarity by the operator's yes, internal resistance under a load."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET

from metercap.meter import Accuracy
from metercap.plankeys import CellStep, Item
from metercap.quantity import Quantity
from metercap.records import VerdictKind
from tests.steps.bench_play import Play, meter


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
    assert play.prompts[-1] == "answer BT1"


def test_a_yes_on_a_voltage_makes_no_dead_cell_of_the_air_before_it() -> None:
    """The tips reach BT2 too early after BT1: lift. What the meter showed of the air in between is no cell."""
    play = measured("3.210V*4 0.000V*3 3.210V*3 :yes", items=(Item("BT1"), Item("BT2")))
    assert list(play.verdicts) == ["BT1"]
    assert play("0.000V*8 3.210V*5").verdicts["BT2"].condition == "good"


def test_a_spent_cell_is_asked_about_and_a_new_one_measured() -> None:
    """`replaced` keeps 1.5 V as found and 3.21 V as left, and enters the list of parts with what it was called."""
    play = measured("1.500V*4")
    assert "BT1 is spent: replaced?" in play.said
    play(":replaced=lithium_coin_cell")
    assert "part replaced: BT1 (backup): lithium coin cell" in play.notes
    assert play.prompts[-1] == "probe BT1"
    assert not play.session.finished
    verdict = play("0.000V*8 3.210V*4").verdicts["BT1"]
    assert (verdict.verdict, verdict.condition) == (VerdictKind.PASS, "good")
    assert (verdict.as_found, verdict.as_left) == (1.5, 3.21)
    assert "replaced, lithium coin cell" in verdict.reason
    assert play.session.finished


@pytest.mark.parametrize("word", ["no", "skip"])
def test_a_spent_cell_may_be_left(word: str) -> None:
    """The verdict stands, and nothing was replaced."""
    play = measured(f"1.500V*4 :{word}")
    assert play.session.finished
    assert play.verdicts["BT1"].condition == "spent"
    assert play.verdicts["BT1"].as_found is UNSET
    assert not any(note.startswith("part replaced") for note in play.notes)


def test_as_found_stays_the_first_cell_where_the_new_one_is_spent_too() -> None:
    """A drawer cell that is no better: asked about again, and what the unit came with is not overwritten."""
    play = measured("1.500V*4 :yes 0.000V*8 1.900V*4")
    assert play.prompts[-1] == "answer BT1"
    verdict = play(":replaced 0.000V*8 3.210V*4").verdicts["BT1"]
    assert (verdict.as_found, verdict.as_left) == (1.5, 3.21)


def test_a_weak_cell_can_be_replaced_after_its_verdict() -> None:
    """`back`, then `replaced`: what it read is as found all the same."""
    play = Play(cell(items=(Item("BT1"), Item("BT2"))), rate=5.0)("0.000V*6 2.700V*4 0.000V*8 :back :replaced=BT1")
    verdict = play("0.000V*8 3.210V*4").verdicts["BT1"]
    assert (verdict.condition, verdict.as_found, verdict.as_left) == ("good", 2.7, 3.21)
    assert "part replaced: BT1 (backup)" in play.notes


def test_a_third_of_a_volt_is_a_cell_and_no_open_tips() -> None:
    """Open tips show millivolts of noise (common practice, no source): 0.3 V is judged without a word."""
    assert measured("0.300V*4").verdicts["BT1"].condition == "spent"
    assert not measured("0.090V*8").verdicts


@pytest.mark.parametrize(("loaded", "verdict"), [("2.510V", "unsure"), ("2.560V", "pass"), ("2.450V", "fail")])
def test_the_loaded_limit_keeps_the_uncertainty_off(loaded: str, verdict: str) -> None:
    """1 % + 2 counts of 2.51 V: half-width 27 mV, U = 2·27/√3 = 31 mV (JCGM 100, 4.3.7); the limit is 2.5 V."""
    profile = meter(5.0, accuracy=(Accuracy(Quantity.VOLTAGE_DC, percent=1.0, counts=2.0),))
    play = Play(cell(load=470.0), profile=profile, rate=5.0)(f"0.000V*6 3.000V*4 {loaded}*20")
    assert play.verdicts["BT1"].verdict.value == verdict


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


def test_over_range_when_the_load_time_ends_is_waited_out() -> None:
    """A display that shows no value at that moment neither decides nor keeps the deadline: the next values do."""
    play = Play(cell(load=470.0, load_s=5.0))("0.00V*4 3.200V*4 2.900V*2 +3 OLV +1 OLV")
    assert play.machine.deadline_s is None
    assert "BT1" not in play.verdicts
    assert play("2.900V*2").verdicts["BT1"].condition == "good"


def test_skip_step_takes_no_verdict_back() -> None:
    """A spent cell stays spent where the step is skipped at its question; a new one that was not measured is unsure."""
    assert measured("1.500V*4 :skip_step").verdicts["BT1"].condition == "spent"
    assert measured("1.500V*4 :replaced :skip_step").verdicts["BT1"].verdict is VerdictKind.UNSURE
