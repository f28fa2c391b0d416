"""One item, as rule 6 says: decisive for a limit, settled for a value, twice for what is above; and what is volts."""

from __future__ import annotations

import pytest
from bench_play import Play, check, fuses, meter

from metercap.meter import Accuracy
from metercap.quantity import Quantity
from metercap.steps import CheckStep, Item

LIFT = "OL*5 "


def sweep(script: str, **more: object) -> Play:
    """Play contacts on a sweep of fuses of at most 2 Ω."""
    return Play(fuses(2), **more)("OL*3 " + script)  # type: ignore[arg-type]


# --- decisive


@pytest.mark.parametrize(
    ("script", "passes"),
    [
        ("0.2", False),
        ("0.2 0.2", False),
        ("9.0 0.2", False),
        ("9.0 0.2/5", False),
        ("9.0 0.2/10", False),
        ("9.0 0.2 0.2", True),
        ("OL 0.2 0.2 0.2", True),
        ("9.0 0.2 0.4", True),
        ("9.0 0.2 1.5 1.5", True),
        ("9.0 0.20 0.2", False),
        ("9.0 0.20 0.2 0.2", True),
        ("0.3k 9 0.2 0.2", True),
        ("9.0 0.2 -- -- 0.2/3", True),
        ("9.0 0.2 OL 0.2", False),
        ("9.0 0.2 OL 0.2 OL 0.2 OL 0.2 OL 0.2", False),
    ],
)
def test_fuse_passes_on_two_whole_conversions_in_one_range(script: str, passes: bool) -> None:
    """Two whole conversions in one range, decisively under the limit; the first after contact is not whole."""
    assert (sweep(script).ticks == ["F1 pass"]) == passes


@pytest.mark.parametrize("script", ["0.000M*30", "0.00k*30", "2*30"])
def test_coarse_range_never_passes(script: str) -> None:
    """0.000 MΩ says nothing about 2 Ω, since value + resolution is not under the limit."""
    play = sweep("9 " + script + " " + LIFT + "9 " + script)
    assert "F1 pass" not in play.ticks


@pytest.mark.parametrize(
    ("value", "verdict"),
    [("1.8", "pass"), ("1.9", "pass"), ("2.0", "unsure"), ("2.1", "unsure"), ("2.2", "fail"), ("3.0", "fail")],
)
def test_guard_of_one_resolution_where_accuracy_is_unknown(value: str, verdict: str) -> None:
    """Without an accuracy table the guard is one resolution: 1.9 + 0.1 meets 2 Ω, 2.2 - 0.1 is past it."""
    play = sweep(f"9 {value}*6 {LIFT} 9 {value}*6")
    assert play.ticks[0] == f"F1 {verdict}"
    assert "accuracy unknown" in play.verdicts["F1"].reason


@pytest.mark.parametrize(("rule", "verdict"), [("simple", "pass"), ("guarded", "unsure")])
def test_rule_of_the_plan(rule: str, verdict: str) -> None:
    """1.8 Ω ± 3 counts passes by the simple rule and is in the guarded one's band; the verdict names its rule."""
    profile = meter(accuracy=(Accuracy(Quantity.RESISTANCE, 1.0, 3.0),))
    play = sweep(f"9 1.8*6 {LIFT} 9 1.8*6", profile=profile, rule=rule)
    assert play.ticks[0] == f"F1 {verdict}"
    assert play.verdicts["F1"].rule == rule
    assert play.verdicts["F1"].expanded > 0.2


def test_verdict_says_what_it_rests_on() -> None:
    """Last agreeing value, two conversions, their time, the limits, the resolution."""
    given = sweep("9.0 0.2 0.4").verdicts["F1"]
    assert (given.value, given.n, given.from_s, given.t_s) == (0.4, 2, 2.5, 3.0)
    assert (given.min, given.max, given.resolution, given.unit) == (None, 2.0, 0.1, "ohm")


def test_decisive_before_a_plateau_is_not_settled() -> None:
    """Agreeing on the limit is not settling: 0.2 and 1.5 Ω pass, and are said not to be settled."""
    assert not sweep("9.0 0.2 1.5 0.2 1.5").verdicts["F1"].settled


# --- above the limit


def test_one_contact_above_the_limit_is_no_failure() -> None:
    """Flux and lacquer read high: `again` once, no verdict, however long that contact lasts."""
    play = sweep("9 5.0*40")
    assert play.ticks == []
    assert play.cues.count("again F1") == 1


def test_two_contacts_above_the_limit_fail_with_the_lower_value() -> None:
    """Two settled, separate contacts within 10 % make the verdict, with the lower value."""
    for first, second in (("5.0", "5.4"), ("5.4", "5.0")):
        play = sweep(f"9 {first}*4 {LIFT} 9 {second}*4")
        assert play.ticks == ["F1 fail"]
        assert play.verdicts["F1"].value == 5.0
        assert "differ" not in play.verdicts["F1"].reason
        assert play.verdicts["F1"].settled


def test_same_contact_is_not_two() -> None:
    """A hand that leaves for less than a certain lift has not made a second contact."""
    play = sweep("9 5.0*4 OL 5.0*6 OL*2 5.0*6")
    assert play.ticks == []
    assert "lift F1" in play.cues
    assert play(f"{LIFT} 9 5.0*4").ticks == ["F1 fail"]


def test_two_contacts_that_differ() -> None:
    """More than 10 % apart, the lower one's verdict stands, with that reason."""
    play = sweep(f"9 50.0*4 {LIFT} 9 5.0*4")
    assert play.ticks == ["F1 fail"]
    assert play.verdicts["F1"].value == 5.0
    assert "differ" in play.verdicts["F1"].reason


@pytest.mark.parametrize(("second", "differs"), [("11.1", False), ("11.2", True), ("9.1", False), ("8.9", True)])
def test_ten_percent(second: str, differs: bool) -> None:
    """Agreement is within 10 % of the higher one."""
    play = sweep(f"9 10.0*4 {LIFT} 9 {second}*4")
    assert ("differ" in play.verdicts["F1"].reason) == differs


def test_good_second_contact_passes() -> None:
    """A first contact through lacquer and a good second one: pass, and the first one is named."""
    play = sweep(f"9 50.0*4 {LIFT} 9 0.2*3")
    assert play.ticks == ["F1 pass"]
    assert "50.0" in play.verdicts["F1"].reason


@pytest.mark.parametrize("value", ["21.0k", "300.0k", "4.00M"])
def test_leakage_or_fingers(value: str) -> None:
    """Above 20 kΩ across a fuse it is leakage or fingers: unsure after two contacts, never a fail."""
    play = sweep(f"9 {value}*4 {LIFT} 9 {value}*4")
    assert play.ticks == ["F1 unsure"]
    assert "leakage or fingers" in play.verdicts["F1"].reason


def test_high_but_not_leakage_fails() -> None:
    """19 kΩ across a fuse is a failure."""
    assert sweep(f"9 19.0k*4 {LIFT} 9 19.0k*4").ticks == ["F1 fail"]


def test_a_resistor_above_20_kohm_is_no_leakage() -> None:
    """Where the limit itself is above 20 kΩ, that is what is looked for."""
    play = Play(check("R1", min=90e3, max=110e3))(f"OL*3 9 100.0k*3 {LIFT} 9 100.1k*3")
    assert play.ticks == ["R1 pass"]


# --- climbing, falling, below zero


def test_climbing_is_waited_for_and_then_unsure() -> None:
    """A capacitor charges: no verdict for a while, then unsure with the reason."""
    values = [2.5 + 0.4 * n for n in range(60)]
    play = sweep("9")
    for value in values[:12]:
        play(f"{value:.1f}")
    assert play.ticks == []
    for value in values[12:]:
        play(f"{value:.1f}")
    assert play.ticks[:1] == ["F1 unsure"]
    assert "capacitor" in play.verdicts["F1"].reason
    assert 8.0 <= play.verdicts["F1"].t_s - 2.0 <= 14.0


def test_climbing_that_ends_is_judged_as_usual() -> None:
    """A reading that climbs to a plateau is judged by it."""
    assert sweep(f"9 2.5 3.0 3.5 4.0 4.5 5.0*4 {LIFT} 9 5.0*4").ticks == ["F1 fail"]


def test_climbing_through_the_limit_does_not_pass() -> None:
    """A charging capacitor across the fuse begins under the limit; steep, it is no pass."""
    assert sweep("9 0.4 1.0 1.6 2.2 2.8 3.4").ticks == []


@pytest.mark.parametrize("script", ["-0.3*3", "-5.0*4", "-2.00k*4", "-1.2 -3.4 -0.9"])
def test_below_zero_stops(script: str) -> None:
    """Below -(2 counts + lead uncertainty) there is voltage: stop, measure volts, never a tick."""
    play = sweep(f"9 {script} 0.2*9")
    assert play.ticks == []
    assert play.cues.count("stop F1") == 1
    assert play.prompts[-1] == "stop F1"
    assert "measure volts" in play.said


@pytest.mark.parametrize("script", ["-0.1*3", "-0.2*3", "0.0*3"])
def test_a_little_below_zero_passes(script: str) -> None:
    """Two counts below zero are the meter's own offset."""
    assert sweep(f"9 {script}").ticks == ["F1 pass"]


@pytest.mark.parametrize("script", ["9 3.0 3.0 -5.0 0.3", "9 -5.0 0.3 -5.0 0.3", "9 0.3 -5.0 0.3 -5.0 0.3 -5.0"])
def test_no_pair_with_a_value_below_zero_ticks(script: str) -> None:
    """A conversion below zero belongs to no pair that passes."""
    assert sweep(script).ticks == []


def test_a_plateau_does_not_end_below_zero() -> None:
    """A settled value is no verdict while its last conversion lies below -(2 counts)."""
    play = Play(check("R1", min=None, max=2.0, contacts=1))("OL*3 9 -0.1 -0.3")
    assert play.ticks == []
    assert play("-0.1").verdicts["R1"].value == -0.1


@pytest.mark.parametrize("script", ["8.0 7.0 6.0 5.0 4.0 3.0 2.0 1.0 0.5", "1.9 1.6 1.3 1.0 0.7 0.4"])
def test_steady_fall_stops(script: str) -> None:
    """A charge that drains falls steadily: stop, never a tick."""
    play = sweep(f"9 {script}")
    assert play.ticks == []
    assert "stop F1" in play.cues


@pytest.mark.parametrize("script", ["300.0 0.4 0.2 0.2", "50.0 3.0 0.3 0.2 0.2"])
def test_a_contact_that_gets_better_is_no_fall(script: str) -> None:
    """Pressing through lacquer falls in leaps and then holds: a pass."""
    play = sweep(f"9 {script}")
    assert play.ticks == ["F1 pass"]
    assert "stop F1" not in play.cues


def test_after_voltage_a_certain_lift_reopens_the_item() -> None:
    """Nothing is judged until a certain lift; then the same item is asked for again, from the beginning."""
    play = sweep("9 -5.0*4 0.2*9")
    assert play.ticks == []
    play("OL*2 0.2*9")
    assert play.ticks == []
    assert play.since("OL*5")[-1] == "prompt probe F1"
    assert play("9 0.2*2").ticks == ["F1 pass"]


# --- a check's settled values


def test_check_takes_two_contacts_and_their_mean() -> None:
    """A check's default is two separate contacts; the value is their mean, and their spread enters U."""
    play = Play(check("R1"))(f"OL*3 9 100.0*3 {LIFT} 9 101.0*3")
    given = play.verdicts["R1"]
    assert (given.verdict, given.value, given.settled) == ("pass", 100.5, True)


def test_check_cues_again_between_contacts() -> None:
    """After the first contact it asks for another, once."""
    play = Play(check("R1"))("OL*3 9 100.0*30")
    assert play.ticks == []
    assert play.cues.count("again R1") == 1


def test_check_waits_for_a_plateau() -> None:
    """Being inside the limits is not enough for a recorded value."""
    play = Play(check("R1", contacts=1))("OL*3 9 100.0 103.0 100.0 104.0 100.0")
    assert play.ticks == []
    assert play("100.0").ticks == ["R1 pass"]


def test_check_with_one_contact_inside_its_limits() -> None:
    """One contact is enough where the plan says so, and the value lies inside."""
    assert Play(check("R1", contacts=1))("OL*3 9 100.0*3").ticks == ["R1 pass"]


@pytest.mark.parametrize("value", ["80.0", "90.0", "110.0", "120.0"])
def test_check_with_one_contact_outside_takes_another(value: str) -> None:
    """Outside the limits or in the guard band a second contact is needed all the same."""
    play = Play(check("R1", contacts=1))(f"OL*3 9 {value}*3")
    assert play.ticks == []
    assert len(play(f"{LIFT} 9 {value}*3").ticks) == 1


@pytest.mark.parametrize(
    ("value", "verdict"),
    [("80.0", "fail"), ("90.0", "unsure"), ("95.0", "pass"), ("110.0", "unsure"), ("111.0", "fail")],
)
def test_check_against_both_limits(value: str, verdict: str) -> None:
    """Below, in the guard band, inside, above."""
    assert Play(check("R1"))(f"OL*3 9 {value}*3 {LIFT} 9 {value}*3").ticks == [f"R1 {verdict}"]


def test_check_without_limits_records() -> None:
    """Without limits the value is recorded, and the verdict says that nothing was judged."""
    play = Play(check("R1", min=None, max=None))(f"OL*3 9 123.4*3 {LIFT} 9 123.4*3")
    given = play.verdicts["R1"]
    assert (given.verdict, given.value, given.rule) == ("pass", 123.4, "")
    assert "no limit" in given.reason


def test_item_has_limits_of_its_own() -> None:
    """An item's own limits replace the step's."""
    step = CheckStep(id="check", min=90.0, max=110.0, unit="ohm", contacts=1, items=(Item("R1", min=9.0, max=11.0),))
    play = Play(step)("OL*3 9 10.0*3")
    assert (play.verdicts["R1"].min, play.verdicts["R1"].max, play.ticks) == (9.0, 11.0, ["R1 pass"])


def test_worn_contact_states_its_width() -> None:
    """A contact that never settles narrowly is taken wider, and the verdict says how wide."""
    rough = "100.0 101.0 100.2 100.9 100.1 101.0 100.3 100.8 100.2 101.0"
    play = Play(check("R1"))(f"OL*3 9 {rough} {LIFT} 9 {rough}")
    assert play.ticks == ["R1 pass"]
    assert "settled within" in play.verdicts["R1"].reason
