"""zero: the leads' resistance, taken off what comes after, and what their drift does to what came before."""

from __future__ import annotations

import pytest

from metercap.meter import Accuracy
from metercap.quantity import Quantity
from tests.steps.bench_play import Play, fuses, meter, zero

AIR = "OL*4 "
LEADS = "9 0.20*3 OL*5 "


def test_leads_are_measured_and_taken_off() -> None:
    """Tips together: three whole conversions; later ohms of that function and range lose them."""
    play = Play(zero(), fuses(1, max=2.0))
    assert play.prompts == ["short leads"]
    play(AIR + "9 0.20*2")
    assert play.ticks == []
    play("0.20")
    assert play.ticks == ["leads pass"]
    given = play.verdicts["leads"]
    assert (given.value, given.unit, given.n, given.max, given.settled) == (0.2, "ohm", 3, 1.0, True)
    play("OL*5 9 0.35*2")
    assert play.verdicts["F1"].value == 0.15


def test_a_walk_that_hides_behind_over_range_is_not_tips_that_parted() -> None:
    """Rule 2: a blend with air in the top range, then over-range while the meter walks down: no `again`, and the same
    touch gives the null. By hand: 5/9 of a conversion together in a 40 MΩ range reads 17.74 MΩ."""
    play = Play(zero())("OL!auto*3 17.74M!auto OL!auto*5 0.2!auto*4")
    assert play.cues == ["contact leads", "contact leads", "pass leads"]
    smooth = Play(zero())("OL!auto*3 17.74M!auto 8.87M!auto OL!auto*5 0.2!auto*4")
    assert smooth.cues == ["contact leads", "contact leads", "pass leads"]
    shown = Play(zero())("OL!auto*3 17.74M!auto 0.000M!auto OL!auto")
    assert shown.cues[-1] == "again leads"  # it showed its walk, so over-range is the tips apart
    fine = Play(zero())("OL!auto*3 9.0!auto OL!auto")
    assert fine.cues[-1] == "again leads"
    fixed = Play(zero())("OL*3 17.74M OL")
    assert fixed.cues[-1] == "again leads"


def test_only_that_range_and_function_lose_them() -> None:
    """Another range, or continuity, keeps its leads: nothing is known of them there."""
    for script in ("9 0.4*2", "9c 0.40c*2"):
        play = Play(zero(), fuses(1))(AIR + LEADS + script)
        assert play.verdicts["F1"].value == 0.4


def test_lead_uncertainty_enters_u() -> None:
    """With an accuracy table the null's own scatter is in U."""
    profile = meter(accuracy=(Accuracy(Quantity.RESISTANCE, 0.5, 2.0),))
    plain = Play(fuses(1), profile=profile)(AIR + "9 0.50*2")
    nulled = Play(zero(), fuses(1), profile=profile)(AIR + LEADS + "9 0.70*2")
    assert nulled.verdicts["F1"].value == plain.verdicts["F1"].value == 0.5
    assert (nulled.verdicts["F1"].expanded or 0.0) > (plain.verdicts["F1"].expanded or 0.0) > 0.0


def test_zero_lead_floor_of_voltage() -> None:
    """The floor below which a value means voltage is below zero *after* the leads are taken off."""
    play = Play(zero(), fuses(1))(AIR + LEADS + "9 0.19*3")
    assert play.ticks == ["leads pass", "F1 pass"]
    play = Play(zero(), fuses(1))(AIR + LEADS + "9 0.10*3")
    assert play.ticks == ["leads pass"]
    assert "stop F1" in play.cues


def test_repeats_are_no_conversions() -> None:
    """One conversion sent ten times is no null."""
    assert Play(zero())(AIR + "9 0.20/10 OL").ticks == []


def test_scatter_waits_for_a_plateau() -> None:
    """Tips that scrape give no null until they rest."""
    play = Play(zero())(AIR + "9 0.20 0.90 0.30 0.80 0.20 0.70")
    assert play.ticks == []
    assert play("0.20*3").ticks == ["leads pass"]


@pytest.mark.parametrize(("value", "warns"), [("0.50", False), ("0.51", True), ("0.80", True), ("1.00", True)])
def test_warns_above_half_an_ohm(value: str, warns: bool) -> None:
    """Leads above 0.5 Ω pass with a warning: clean or replace them."""
    play = Play(zero())(AIR + f"9 {value}*3")
    assert play.ticks == ["leads pass"]
    assert ("clean or replace" in play.verdicts["leads"].reason) == warns


def test_refuses_above_one_ohm() -> None:
    """Above 1 Ω no null is taken; it asks again, wants a certain lift, and says why."""
    play = Play(zero(), fuses(1))(AIR + "9 1.20*3")
    assert play.ticks == []
    assert play.cues[-1] == "again leads"
    assert play.prompts == ["short leads", "short leads"]
    assert "1.20" in play.said
    play("0.20*9 OL 0.20*9")
    assert play.ticks == []
    assert play(AIR + "9 0.20*3").ticks == ["leads pass"]


def test_plans_own_limits() -> None:
    """The plan sets both limits."""
    assert Play(zero(max=2.0))(AIR + "9 1.20*3").ticks == ["leads pass"]
    assert "clean" not in Play(zero(warn=0.9))(AIR + "9 0.60*3").verdicts["leads"].reason


def test_too_coarse_a_range_is_no_null() -> None:
    """A count of 1 Ω says nothing about leads: the lowest range is asked for, once, and the null waits for it."""
    play = Play(zero())(AIR + "9 0*12")
    assert play.ticks == []
    assert play.prompts == ["short leads", "dial None"]
    assert play("0.2*3").ticks == ["leads pass"]


def test_parted_tips_cue_again() -> None:
    """Tips that part too soon are asked for again, and do not add up."""
    play = Play(zero())(AIR + "9 0.20*2 OL")
    assert play.cues[-1] == "again leads"
    assert play("9 0.20*2 OL 9 0.20*2").ticks == []


@pytest.mark.parametrize("word", ["skip", "skip_step", "absent"])
def test_skipped(word: str) -> None:
    """Skipped leads are unsure, and later values carry them."""
    play = Play(zero(), fuses(1))(AIR + f":{word} OL*3 9 0.40*2")
    assert play.ticks == ["leads unsure", "F1 pass"]
    assert play.verdicts["F1"].value == 0.4


def test_again_wants_a_lift() -> None:
    """`again` begins anew: tips that are together then do not count."""
    play = Play(zero())(AIR + "9 0.20 :again 0.20*9")
    assert play.ticks == []
    assert play(AIR + "9 0.20*3").ticks == ["leads pass"]


@pytest.mark.parametrize("block", ["0.20!hold*2", "0.20!rel*2", "^lost", "0.20V*2"])
def test_block_drops_what_was_gathered(block: str) -> None:
    """What came before a block is no part of the null."""
    play = Play(zero())(AIR + f"9 0.20*2 {block} 0.20*9")
    assert play.ticks == []
    assert play(AIR + "9 0.20*3").ticks == ["leads pass"]


def test_tips_still_together_are_not_the_first_fuse() -> None:
    """After the null the tips are still together: that contact is not the next item's."""
    play = Play(zero(), fuses(1))(AIR + "9 0.20*12")
    assert play.ticks == ["leads pass"]
    assert "lift F1" in play.cues


def test_words_that_mean_nothing() -> None:
    """Other words are said to mean nothing."""
    play = Play(zero())(AIR)
    for word in ("yes", "no", "open", "back", "at=F1", "undo"):
        assert play.since(f":{word}") == ["note"]


# --- a second null


def twice(second: str, fuse: str = "1.90", limit: float = 2.0) -> Play:
    """Null, one fuse with that reading, a second null."""
    play = Play(zero(), fuses(1, max=limit), zero(id="leads again"))
    return play(AIR + LEADS + f"9 {fuse}*2 OL*5 9 {second}*3")


def test_steady_leads_change_nothing() -> None:
    """A second null within its uncertainty of the first leaves every verdict as it was."""
    for fuse in ("1.90", "2.16"):
        assert twice("0.21", fuse=fuse).ticks == ["leads pass", "F1 pass", "leads again pass"]


def test_drift_makes_near_verdicts_unsure() -> None:
    """Leads that drifted by more than U make a verdict unsure that the drift could have turned."""
    play = twice("0.60")
    assert play.ticks == ["leads pass", "F1 pass", "leads again pass", "F1 unsure"]
    assert "drifted" in play.verdicts["F1"].reason
    assert play.verdicts["F1"].value == 1.7
    assert any("drifted" in note for note in play.notes)


def test_drift_leaves_far_verdicts() -> None:
    """0.4 Ω of drift does not turn 0.1 Ω against 2 Ω."""
    assert twice("0.60", fuse="0.30").ticks == ["leads pass", "F1 pass", "leads again pass"]


def test_drift_leaves_failures_by_word_and_other_units() -> None:
    """Verdicts without a value in ohms are not touched."""
    play = Play(zero(), fuses(1), zero(id="leads again"))(AIR + LEADS + ":open OL*2 9 0.60*3")
    assert play.ticks == ["leads pass", "F1 fail", "leads again pass"]


def test_later_ohms_use_the_second_null() -> None:
    """What is measured after the second null loses the second null."""
    play = Play(zero(), zero(id="leads again"), fuses(1))(AIR + LEADS + "9 0.60*3 OL*5 9 0.80*2")
    assert play.verdicts["F1"].value == 0.2


def test_an_earlier_null_is_no_near_verdict() -> None:
    """The first null keeps its verdict, whatever the second says: it was right when it was taken."""
    play = Play(zero(max=1.0), zero(id="leads again"))(AIR + "9 0.90*3 OL*5 9 0.20*3")
    assert play.ticks == ["leads pass", "leads again pass"]


# --- numbers by hand, since each of these once could be changed without a test that noticed

NULL_U = (0.01**2 * 13 / 12) ** 0.5
"""u of three equal conversions at 0.01 Ω: one count of scatter and δ/√12 in quadrature (JCGM 100, 5.1.2, F.2.2.1)."""


def test_the_null_enters_u_in_quadrature() -> None:
    """U = 2·√(δ²/12 + δ² + u_null²) = 0.0294 Ω; added linearly it would be 0.0416 Ω."""
    play = Play(zero(), fuses(1))(AIR + LEADS + "9 0.50*2")
    assert play.verdicts["leads"].expanded == pytest.approx(2.0 * NULL_U, rel=1e-4)
    assert play.verdicts["F1"].expanded == pytest.approx(2.0 * 2**0.5 * NULL_U, rel=1e-4)


@pytest.mark.parametrize(("second", "drifts"), [("0.22", False), ("0.23", True), ("0.24", True)])
def test_drift_is_one_beyond_u_of_both_nulls(second: str, drifts: bool) -> None:
    """U of the difference of two nulls is 2·√2·u = 0.0294 Ω: 0.03 Ω is a drift, 0.02 Ω is none."""
    play = twice(second, fuse="2.15")
    assert any("drifted" in note for note in play.notes) == drifts
    assert ("F1 unsure" in play.ticks) == drifts


@pytest.mark.parametrize(("fuse", "turned"), [("2.13", False), ("2.15", True)])
def test_drift_counts_beyond_the_values_own_u(fuse: str, turned: bool) -> None:
    """1.95 Ω ± 0.029 against 2 Ω leaves 0.021, less than 0.04 of drift; 1.93 leaves 0.041. Without U both stay."""
    play = twice("0.24", fuse=fuse)
    assert play.ticks[1] == "F1 pass"
    assert ("F1 unsure" in play.ticks) == turned


def test_noisy_leads_take_ten_conversions() -> None:
    """Scatter of more than a count is measured, not guessed from three; scraping tips still give no null."""
    noisy = " ".join(("0.1500", "0.1530", "0.1480", "0.1520", "0.1470") * 3)
    play = Play(zero())(AIR + "9 " + noisy)
    assert (play.ticks, play.verdicts["leads"].n) == (["leads pass"], 10)
    assert Play(zero())(AIR + "9 " + "0.1500 0.2500 " * 12).ticks == []


def test_nobody_at_the_leads_is_reminded_once() -> None:
    """No contact for ten seconds: one cue, and it stays; so too after tips that parted too soon (design, rule 5)."""
    play = Play(zero())("OL*4 +20")
    assert play.cues == ["waiting leads"]
    assert play("+60").cues == ["waiting leads"]
    assert play("OL 0.2 OL*8 +20").cues[-2:] == ["again leads", "waiting leads"]
    assert not play.verdicts


def test_tips_together_are_no_silence() -> None:
    """Held together while the value still moves: nothing reminds."""
    play = Play(zero())("OL*4 0.1 0.5 0.9 1.3 1.7 2.1 " + "0.1 0.6 1.1 1.6 " * 6)
    assert "waiting leads" not in play.cues
