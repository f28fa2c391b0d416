"""One item, as rule 6 says: decisive for a limit, settled for a value, twice for what is above; and what is volts."""

from __future__ import annotations

import pytest

from metercap.meter import Accuracy
from metercap.plankeys import CheckStep, Item
from metercap.quantity import Quantity
from tests.steps.bench_play import Play, check, fuses, meter, volts

LIFT = "OL*5 "


def sweep(script: str, **more: object) -> Play:
    """Play contacts on a sweep of fuses of at most 2 Ω."""
    return Play(fuses(2), **more)("OL*3 " + script)  # type: ignore[arg-type]


# --- decisive


@pytest.mark.parametrize(
    ("script", "passes"),
    [
        ("0.2", False),
        ("0.2 0.2", True),
        ("0.20 0.2", False),
        ("0.2 0.2!hold", False),
        ("0.2/5", False),
        ("2.0 1.7", False),
        ("2.0 1.7 1.7", True),
        ("1.7 2.0", False),
        ("0.4 0.9", False),
        ("0.4 0.9 1.4 1.9", False),
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
def test_fuse_passes_on_two_conversions_in_one_range(script: str, passes: bool) -> None:
    """Two conversions in one range, both decisively under the limit; the first after contact reads high, if anything.

    One on its own never passes, nor one of two; and what rises may be a capacitor.
    """
    assert (sweep(script).ticks == ["F1 pass"]) == passes


@pytest.mark.parametrize("script", ["0.000M*30", "0.00k*30", "2*30"])
def test_coarse_range_never_passes(script: str) -> None:
    """0.000 MΩ says nothing about 2 Ω, since value + resolution is not under the limit."""
    play = sweep("9 " + script + " " + LIFT + "9 " + script)
    assert "F1 pass" not in play.ticks


@pytest.mark.parametrize(
    ("value", "verdict"),
    [("1.7", "pass"), ("1.8", "unsure"), ("2.0", "unsure"), ("2.2", "unsure"), ("2.3", "fail"), ("3.0", "fail")],
)
def test_guard_where_accuracy_is_unknown(value: str, verdict: str) -> None:
    """Without an accuracy table the guard is 2·√(1/12 + 1) counts, 0.208 Ω: 1.7 meets 2 Ω, 2.3 is past it."""
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
    """Flux and lacquer read high: `again`, no verdict, however long that contact lasts: 20 s, so it is told twice."""
    play = sweep("9 5.0*40")
    assert play.ticks == []
    assert play.cues.count("again F1") == 2


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


def touches(*values: str) -> Play:
    """Touch a fuse of at most 2 Ω once for each value, each time until it has settled and then some."""
    return sweep("".join(f"9 {value}*4 {LIFT}" for value in values))


def test_two_contacts_that_differ_are_touched_again() -> None:
    """More than 10 % apart decides nothing: another contact is asked for."""
    play = touches("50.0", "5.0")
    assert play.ticks == []
    assert play.cues.count("again F1") == 2


@pytest.mark.parametrize(("second", "agrees"), [("11.1", True), ("11.2", False), ("9.0", True), ("8.9", False)])
def test_ten_percent(second: str, agrees: bool) -> None:
    """Agreement is within 10 % of the higher one: 1.1 of 11.1, not 1.2 of 11.2."""
    assert touches("10.0", second).ticks == (["F1 fail"] if agrees else [])


@pytest.mark.parametrize(
    ("values", "verdict", "value", "counted"),
    [
        (("50.0", "5.0", "5.2"), "fail", 5.0, [5.0, 5.2]),
        (("50.0", "5.0", "48.0"), "fail", 48.0, [50.0, 48.0]),
        (("5.0", "50.0", "20.0", "5.2"), "fail", 5.0, [5.0, 5.2]),
        (("30.0k", "5.0", "31.0k"), "unsure", 30000.0, [30000.0, 31000.0]),
        (("11.0", "9.5", "10.2"), "fail", 9.5, [9.5, 10.2]),
        (("50.0", "20.0", "9.0", "5.0"), "unsure", 5.0, [50.0, 20.0, 9.0, 5.0]),
    ],
)
def test_the_two_lowest_that_agree(values: tuple[str, ...], verdict: str, value: float, counted: list[float]) -> None:
    """Up to four contacts; of those that agree the two lowest make the verdict; where no two do, it is unsure."""
    play = touches(*values)
    given = play.verdicts["F1"]
    assert (play.ticks, given.value) == ([f"F1 {verdict}"], value)
    assert [touched.value for touched in given.contacts] == counted
    assert given.from_s == min(touched.from_s for touched in given.contacts)
    assert all(touched.from_s < touched.t_s <= given.t_s for touched in given.contacts)


def test_three_contacts_decide_nothing_while_a_fourth_may() -> None:
    """After three that differ it goes on asking; the fourth is the last."""
    play = touches("50.0", "20.0", "9.0")
    assert (play.ticks, play.cues.count("again F1")) == ([], 3)
    play(f"9 5.0*4 {LIFT}")
    assert play.ticks == ["F1 unsure"]
    assert "contacts differ" in play.verdicts["F1"].reason


def test_rejected_contacts_are_named() -> None:
    """What did not count stands in the reason, and in no list of contacts."""
    assert "50.0" in touches("50.0", "5.0", "5.2").verdicts["F1"].reason


def test_of_a_band_the_two_that_agree_best() -> None:
    """Inside two limits neither side is more believable: 110 and 112 agree better than 100 and 110 do."""
    touch = "".join(f"9 {value}*3 {LIFT}" for value in ("98.0", "112.0", "110.0"))
    play = Play(check("R1"))("OL*3 " + touch)
    assert [touched.value for touched in play.verdicts["R1"].contacts] == [112.0, 110.0]
    assert play.verdicts["R1"].value == 111.0


def test_lower_means_smaller_in_magnitude() -> None:
    """Of -3.30 and -3.28 V on a rail of at most -4 V the lower is -3.28: nearer to nothing, not further below it."""
    play = Play(volts("TP1", min=None, max=-4.0))("0.00V*6 3.30V -3.30V*3 0.00V*6 3.30V -3.28V*3 0.00V*6")
    assert (play.ticks, play.verdicts["TP1"].value) == (["TP1 fail"], -3.28)


def test_decisive_pass_names_its_contact() -> None:
    """A decisive pass rests on one contact: its two conversions and the last value."""
    given = sweep("9.0 0.2 0.4").verdicts["F1"]
    assert [tuple(touched.__struct_fields__) for touched in given.contacts] == [("from_s", "t_s", "value")]
    assert [(t.from_s, t.t_s, t.value) for t in given.contacts] == [(2.5, 3.0, 0.4)]


def test_under_a_lower_limit_the_first_conversion_proves_nothing() -> None:
    """Mixed with air it reads high, which is the good side there: two whole ones are wanted."""
    play = Play(fuses(1, min=0.1))("OL*3 0.4*2")
    assert play.ticks == []
    assert play("0.4").ticks == ["F1 pass"]


# --- too coarse to decide


def test_a_coarse_range_is_walked_through() -> None:
    """0.000 MΩ four times, then 300.0 Ω: one contact of 300 Ω, and a failure with two."""
    touch = f"9 0.000M*4 300.0*4 {LIFT}"
    play = sweep(touch)
    assert (play.ticks, play.cues.count("again F1")) == ([], 1)
    play("9 0.000M*4 300.0*4")
    assert (play.ticks, play.verdicts["F1"].value) == (["F1 fail"], 300.0)


def test_a_coarse_range_asks_for_a_finer_one_once() -> None:
    """After three conversions in it, and no `again` while it lasts."""
    play = sweep("9")
    assert "dial None" not in play("0.000M*2").prompts
    assert play("0.000M").prompts[-1] == "dial None"
    assert "finer range" in play.said
    play("0.000M*9")
    assert play.prompts.count("dial None") == 1
    assert play.cues.count("again F1") == 0
    assert play("0.2*3").ticks == ["F1 pass"]


@pytest.mark.parametrize(("script", "asks"), [("0*9", False), ("0.00k*9", True), ("4.00k*9", False), ("0.02k*9", True)])
def test_coarse_is_a_digit_larger_than_the_limit_that_does_not_tell(script: str, asks: bool) -> None:
    """One count of 1 Ω is no larger than 2 Ω; 4.00 kΩ tells though its count of 10 Ω is; 0.02 kΩ is two counts."""
    assert ("dial None" in sweep("9 " + script).prompts) == asks


@pytest.mark.parametrize(
    ("script", "asks"), [("0.10k*9", False), ("0.1k*9", True), ("0.3k*9", True), ("0.4k*9", False)]
)
def test_coarse_for_a_band_is_a_digit_larger_than_half_of_it(script: str, asks: bool) -> None:
    """90 to 110 Ω: half the band is 10 Ω. Counts of 10 do, of 100 do not, unless the value is far outside."""
    play = Play(check("R1"))("OL*3 9 " + script)
    assert ("dial None" in play.prompts) == asks


def test_half_the_band_not_the_whole() -> None:
    """92 to 108 Ω: a count of 10 Ω is less than the band's width and more than half of it."""
    assert "dial None" in Play(check("R1", min=92.0, max=108.0))("OL*3 9 0.10k*9").prompts


def test_no_digits_are_no_value_where_nothing_limits_it() -> None:
    """Without limits 0.000 MΩ is no value, in a fixed range or on the way; 300.0 Ω is."""
    fine = meter(counts=4000, continuity_ceiling_ohm=400.0)
    for flag in ("", "!auto"):
        play = Play(check("R1", min=None, max=None), profile=fine)(f"OL*3 9 0.000M{flag}*4 300.0{flag}*3 {LIFT}")
        assert play.ticks == []
        assert play(f"9 0.000M{flag}*4 300.0{flag}*3").verdicts["R1"].value == 300.0


def test_auto_range_walks_on_from_few_digits() -> None:
    """On auto range 0.027 kΩ of 4000 counts is about to become 27.0 Ω; in the lowest range few digits are all."""
    fine = meter(counts=4000, continuity_ceiling_ohm=400.0)
    touch = "9 0.027k!auto*3 27.4!auto*3 "
    play = Play(check("R1", min=None, max=None), profile=fine)("OL*3 " + touch + LIFT + touch)
    assert play.verdicts["R1"].value == 27.4
    touch = "9 0.2!auto*3 "
    play = Play(check("R1", min=None, max=None), profile=fine)("OL*3 " + touch + LIFT + touch)
    assert play.verdicts["R1"].value == 0.2


def test_few_digits_are_taken_where_nothing_finer_was_ever_seen() -> None:
    """A profile may promise a range that the meter does not have: after eight conversions what it shows is taken."""
    fine = meter(counts=4000, continuity_ceiling_ohm=400.0)
    touch = "9 0.027k!auto*10 "
    assert Play(check("R1", min=None, max=None), profile=fine)("OL*3 " + touch + LIFT + touch).ticks == ["R1 pass"]


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
    play = Play(check("R1", min=None, max=2.0))("OL*3 9 -0.1*3 OL*5 9 -0.1 -0.3")
    assert play.ticks == []
    assert play("-0.1*2").verdicts["R1"].value == -0.1


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
    """A check's default is two separate contacts; the value is their mean, and their spread enters U. By hand."""
    play = Play(check("R1"))(f"OL*3 9 100.0*3 {LIFT} 9 100.4*3")
    given = play.verdicts["R1"]
    assert (given.verdict, given.value, given.settled) == ("pass", 100.2, True)
    # u² = 0.1²(1/12 + 1) + 0.4²/2; ν_eff = (u/s)⁴ = 1.3, so t(95.45 %, 1) = 13.97 (JCGM 100:2008, table G.2).
    assert given.expanded == pytest.approx(13.97 * (0.01 * 13 / 12 + 0.08) ** 0.5, rel=1e-3)


def test_check_cues_again_between_contacts() -> None:
    """After the first contact it asks for another, once within its patience."""
    play = Play(check("R1"))("OL*3 9 100.0*19")
    assert play.ticks == []
    assert play.cues.count("again R1") == 1


def test_check_waits_for_a_plateau() -> None:
    """Being inside the limits is not enough for a recorded value."""
    play = Play(check("R1"))(f"OL*3 9 100.0*3 {LIFT} 9 100.0 103.0 100.0 104.0 100.0")
    assert play.ticks == []
    assert play("100.0").ticks == ["R1 pass"]


def test_check_with_one_contact_touches_its_first_four_items_twice() -> None:
    """`contacts = 1`: what contacts add is learned from four items; the fifth takes one."""
    names = [f"R{n}" for n in range(1, 7)]
    once = f"9 100.0*3 {LIFT}"
    play = Play(check(*names, contacts=1))("OL*3 " + once)
    assert play.ticks == []
    play(once + 6 * once)
    assert play.ticks == [f"R{n} pass" for n in range(1, 5)]
    assert play(once).ticks[-1] == "R5 pass"
    assert [len(play.verdicts[name].contacts) for name in ("R1", "R4", "R5")] == [2, 2, 1]  # type: ignore[arg-type]


def test_an_unplanned_item_has_nothing_to_pool_with() -> None:
    """`probe NAME` takes one contact."""
    play = Play(fuses(1))(f"OL*3 :probe=R7 OL*5 9 100.0*3 {LIFT}")
    assert play.ticks == ["R7 pass"]


def pooled(*pairs: tuple[str, str]) -> Play:
    """Play a check of R1, R2, …, each touched twice with these values."""
    play = Play(check(*(f"R{n + 1}" for n in range(len(pairs)))))("OL*3")
    for first, second in pairs:
        play(f"9 {first}*3 {LIFT} 9 {second}*3 {LIFT}")
    return play


def test_contact_spread_is_pooled_over_the_step() -> None:
    """Spreads of 0, 0.4, 0, 0.4 Ω: s² = (0.08 + 0.08)/4 with four degrees of freedom in every U, by hand."""
    play = pooled(("100.0", "100.0"), ("100.0", "100.4"), ("99.0", "99.0"), ("101.0", "101.4"))
    # u² = 0.1²(1/12 + 1) + 0.04; ν_eff = 4·(u²/0.04)² = 6.45; t(95.45 %, 6) = 2.52 (JCGM 100:2008, table G.2).
    expected = 2.52 * (0.01 * 13 / 12 + 0.04) ** 0.5
    for name in ("R1", "R2", "R3", "R4"):
        assert play.verdicts[name].expanded == pytest.approx(expected, rel=2e-3), name


def test_what_was_judged_before_the_spread_was_known_is_given_anew_at_the_end() -> None:
    """R1 had been a pass by its own two contacts; the others' spread makes it unsure when the step ends."""
    play = pooled(("109.5", "109.5"), ("100.0", "100.8"), ("100.0", "100.8"), ("100.0", "100.0"), ("100.0", "100.0"))
    early = ["R1 pass", "R2 pass", "R3 pass", "R4 pass"]
    assert play.ticks[:5] == [*early, "R5 pass"]
    assert play.ticks[5] == "R1 unsure"
    assert any("judged anew" in note for note in play.notes)
    assert [touched.value for touched in play.verdicts["R1"].contacts] == [109.5, 109.5]
    # The fourth was judged with four items known, and stands.
    assert sorted(tick.split()[0] for tick in play.ticks[5:]) == ["R1", "R2", "R3"]


def test_a_word_that_stands_is_not_judged_anew() -> None:
    """An item that was opened again and called absent stays absent."""
    play = Play(check("R1", "R2"))(f"OL*3 9 100.0*3 {LIFT} 9 100.0*3 {LIFT} :back :absent OL*5")
    play(f"9 100.0*3 {LIFT} 9 101.0*3 {LIFT}")
    assert play.ticks == ["R1 pass", "R1 absent", "R2 pass"]


def test_each_range_has_its_own_spread() -> None:
    """Counts of 1 Ω at 1 kΩ scatter by more than those of 0.1 Ω at 100: neither enters the other's U."""
    step = CheckStep(id="check", unit="ohm", items=tuple(Item(f"R{n}") for n in range(1, 3)))
    play = Play(step)(f"OL*3 9 1.000k*3 {LIFT} 9 1.008k*3 {LIFT} 9 100.0*3 {LIFT} 9 100.0*3 {LIFT}")
    assert play.verdicts["R2"].expanded == pytest.approx(2.0 * (0.01 * 13 / 12) ** 0.5, rel=1e-4)


def test_noisy_conversions_take_four() -> None:
    """Two conversions two counts apart hardly know their scatter: a settled value takes four of them then."""
    play = Play(check("R1"))(f"OL*3 9 100.0*3 {LIFT} 9 100.0 100.2 100.0")
    assert play.ticks == []
    assert play("100.2").verdicts["R1"].n == 2 + 4


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
    play = Play(step)(f"OL*3 9 10.0*3 {LIFT} 9 10.0*3")
    assert (play.verdicts["R1"].min, play.verdicts["R1"].max, play.ticks) == (9.0, 11.0, ["R1 pass"])


def test_worn_contact_states_its_width() -> None:
    """A contact that never settles narrowly is taken wider, and the verdict says how wide."""
    rough = "100.0 101.0 100.2 100.9 100.1 101.0 100.3 100.8 100.2 101.0"
    play = Play(check("R1"))(f"OL*3 9 {rough} {LIFT} 9 {rough}")
    assert play.ticks == ["R1 pass"]
    assert "settled within" in play.verdicts["R1"].reason
