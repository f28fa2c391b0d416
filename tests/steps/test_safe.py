"""safe: a live source, the points in dc then ac with a `yes` at each, the source again."""

from __future__ import annotations

import random

import pytest

from metercap.meter import Accuracy
from metercap.plankeys import SafeStep
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Operator, Prompt, Verdict
from tests.steps.bench_play import Play, fuses, meter, safe

SOURCE = "1.52V*3 "
LIFT = "0.00V*3 "
FIRST = SOURCE + LIFT
DEAD_DC = "+2 :yes 0.00V*2 "
DEAD_AC = "+2 :yes 0.00Vac*2 "
TO_AC = "0.00Vac*2 "


def test_whole_proof() -> None:
    """Source, both points in dc, both in ac, source again: the points and the step pass."""
    play = Play(safe("J1", "C12"))
    assert play.prompts == ["probe dead"]
    play(SOURCE)
    assert play.prompts[-1] == "lift dead"
    play(LIFT)
    assert play.prompts[-1] == "answer J1"
    play("0.00V*3" + f" {DEAD_DC} 0.00V {DEAD_DC}")
    assert play.prompts[-1] == "dial J1", "volts ac come next"
    assert "volts ac" in play.said
    play(f"0.00Vac {DEAD_AC} 0.00Vac {DEAD_AC}")
    assert play.prompts[-1] == "dial dead"
    play("0.00V")
    assert play.prompts[-1] == "probe dead"
    assert not play.session.finished
    play(SOURCE)
    assert play.session.finished
    assert play.ticks == ["J1 pass", "C12 pass", "J1 pass", "C12 pass", "dead pass"]
    assert (play.verdicts["J1"].value, play.verdicts["J1"].unit, play.verdicts["J1"].n) == (0.0, "V", 2)


def test_nothing_is_proved_by_silence() -> None:
    """About zero volts for as long as one likes gives no verdict without a yes."""
    play = Play(safe("C12"))(FIRST + "0.00V*200 +600")
    assert play.ticks == []


@pytest.mark.parametrize("source", ["0.00V", "0.85V", "0.99V", "-0.85V", "OLV", "--V"])
def test_dead_source_proves_nothing(source: str) -> None:
    """A source below 1 V, an over-range or an unreadable display does not go on."""
    play = Play(safe("C12"))(f"{source}*20")
    assert play.prompts == ["probe dead"]


@pytest.mark.parametrize("source", ["1.52V", "-1.52V", "3.01V", "230.1V"])
def test_live_source_goes_on(source: str) -> None:
    """A settled value of at least 1 V of either polarity proves the meter."""
    assert Play(safe("C12"))(f"{source}*3").prompts == ["probe dead", "lift dead"]


def test_source_on_a_coarse_range_proves_nothing() -> None:
    """`1` with a count of 1 V says nothing about 1 V: value ± resolution must be on the right side."""
    assert Play(safe("C12"))("1V*20").prompts == ["probe dead"]


def test_one_conversion_of_the_source_is_not_enough() -> None:
    """One conversion sent five times is one conversion."""
    assert Play(safe("C12"))("0.00V 1.52V 1.52V/5").prompts[-1] == "lift dead"
    assert Play(safe("C12"))("0.00V*4 1.52V/5").prompts[-1] == "probe dead"


@pytest.mark.parametrize("live", ["12.00V", "-12.00V", "0.15V", "325.0V"])
def test_live_point_stops(live: str) -> None:
    """A voltage on a point says stop at once, without a yes, and never passes."""
    play = Play(safe("C12"))(FIRST + f"{live}*3")
    assert play.prompts[-1] == "stop C12"
    assert play.cues[-1] == ("hazard C12" if live == "325.0V" else "stop C12")
    play(f"+2 :yes {live}*6")
    assert play.ticks == []


@pytest.mark.parametrize(
    ("script", "cue"),
    [("60.0V", "stop"), ("60.1V", "hazard"), ("-60.1V", "hazard")],
)
def test_hazard_above_60_v_dc(script: str, cue: str) -> None:
    """60 V dc concern people (IEC 61010-031, where its scope begins)."""
    assert Play(safe("C12"))(FIRST + f"{script}*3").cues[-1] == f"{cue} C12"


@pytest.mark.parametrize(("script", "cue"), [("30.0Vac", "stop"), ("30.1Vac", "hazard")])
def test_hazard_above_30_v_rms(script: str, cue: str) -> None:
    """30 V rms concern people (IEC 61010-031, where its scope begins)."""
    play = Play(safe("C12"))(FIRST + DEAD_DC + f"{script}*3")
    assert play.cues[-1] == f"{cue} C12"


def test_over_range_is_live() -> None:
    """Over-range in volts is more than the range holds, never about zero: hazard, and no verdict by any yes."""
    play = Play(safe("C12"))(FIRST + "OLV*3")
    assert play.cues[-1] == "hazard C12"
    assert play.ticks == []
    assert Play(safe("C12"))(FIRST + "0.00V*3 +2 :yes OLV*3").ticks == []


def test_unreadable_display_is_no_zero() -> None:
    """A blank display proves nothing, whatever the operator says."""
    play = Play(safe("C12"))(FIRST + "--V*4 +2 :yes --V*8")
    assert play.ticks == []
    assert play("0.00V*2").ticks == ["C12 pass"]


def test_what_was_shown_before_the_yes_may_have_been_air() -> None:
    """A live point touched just before the yes is not dead because the meter still showed air."""
    play = Play(safe("C12"))(FIRST + "0.00V*6 +2 :yes 12.00V*2")
    assert play.ticks == []
    assert play.cues[-1] == "stop C12"


def test_one_conversion_after_the_yes_is_not_enough() -> None:
    """Two conversions after the yes; repeats of one are none."""
    play = Play(safe("C12"), frames=5)(FIRST + "0.00V*6 +2 :yes 0.00V")
    assert play.ticks == []
    assert play("0.00V").ticks == ["C12 pass"]


def test_live_conversion_among_the_two_is_live() -> None:
    """One dead and one live conversion do not agree on dead."""
    for script in ("0.00V 0.20V", "0.20V 0.00V"):
        play = Play(safe("C12"))(FIRST + f"0.00V*3 +2 :yes {script}")
        assert play.ticks == []
        assert play.prompts[-1] == "stop C12"
        assert "0.2" in play.said


def test_after_stop_a_yes_proves_it_dead() -> None:
    """Disconnected and discharged, the same point is proved by a new yes."""
    play = Play(safe("C12"))(FIRST + "12.00V*3 5.00V 1.00V 0.00V*2" + f" {DEAD_DC}")
    assert play.ticks == ["C12 pass"]


def test_stop_is_said_again_when_it_comes_alive_again() -> None:
    """Each time a point comes alive it is said once."""
    play = Play(safe("C12"))(FIRST + "12.00V*20 0.00V*3 12.00V*20")
    assert play.cues.count("stop C12") == 2


def test_coarse_range_cannot_prove_dead() -> None:
    """`0` with a count of 1 V says nothing about 0.1 V: a lower range is asked for, and no verdict given."""
    play = Play(safe("C12"))(FIRST + "+2 :yes 0V*6")
    assert play.ticks == []
    assert play.prompts[-1] == "dial None"


def test_guarded_rule_takes_u_off() -> None:
    """Near 0.1 V the meter's own uncertainty decides: 0.09 V ± 0.02 V is not proved dead."""
    row = (Accuracy(Quantity.VOLTAGE_DC, 0.5, 2.0),)
    play = Play(safe("C12"), profile=meter(accuracy=row))(FIRST + "+2 :yes 0.09V*2")
    assert play.ticks == []
    assert play("+2 :yes 0.05V*2").ticks == ["C12 pass"]


def test_yes_while_a_block_stands_is_not_kept() -> None:
    """A yes said while the meter is on ohms, on HOLD or unplugged is not used later for what comes after."""
    for block, end in (("0.2*2", "0.00V*9"), ("0.00V!hold*2", "0.00V*9"), ("^lost", "0.00V*9")):
        play = Play(safe("C12"))(FIRST + f"0.00V*3 {block} :yes {end}")
        assert play.ticks == [], block
        assert play.prompts[-1] == "answer C12", block
        assert play(DEAD_DC).ticks == ["C12 pass"], block


def test_block_between_the_yes_and_its_values() -> None:
    """A block that begins after the yes takes the yes away."""
    play = Play(safe("C12"))(FIRST + "0.00V*3 +2 :yes 0.00V ^silent 0.00V*9")
    assert play.ticks == []


def test_wrong_quantity_asks_for_the_dial() -> None:
    """Ohms where volts dc are wanted ask for the dial, with the jacks named, and give no verdict."""
    play = Play(safe("C12"))("0.2*3")
    assert play.prompts == ["probe dead", "dial dead"]
    assert "never the current jack" in play.said
    assert play("1.52V").prompts[-1] == "probe dead"


@pytest.mark.parametrize("word", ["skip", "no"])
def test_skipped_point_is_not_proved(word: str) -> None:
    """A point passed over in dc stays unsure though ac is answered yes, and the step is unsure."""
    play = Play(safe("C12"))(FIRST + f":{word} 0.00Vac {DEAD_AC} 0.00V {SOURCE}")
    assert play.session.finished
    assert {item: verdict.verdict.value for item, verdict in play.verdicts.items()} == {
        "C12": "unsure",
        "dead": "unsure",
    }
    assert "C12" in play.verdicts["dead"].reason


def test_skipped_in_ac_is_not_proved() -> None:
    """A point passed over in ac is unsure."""
    play = Play(safe("C12"))(FIRST + f"{DEAD_DC} 0.00Vac :skip 0.00V {SOURCE}")
    assert [verdict.verdict.value for verdict in play.verdicts.values()] == ["unsure", "unsure"]


def test_back_makes_a_skip_good() -> None:
    """A point that was skipped by mistake is gone back to and proved; nothing is held against it."""
    play = Play(safe("J1", "C12"))(
        FIRST + f":skip :back 0.00V {DEAD_DC} {DEAD_DC} 0.00Vac {DEAD_AC} {DEAD_AC} 0.00V {SOURCE}"
    )
    assert {item: verdict.verdict.value for item, verdict in play.verdicts.items()} == {
        "J1": "pass",
        "C12": "pass",
        "dead": "pass",
    }


def test_absent_point_is_not_asked_for_again() -> None:
    """What the unit does not have is not asked for in ac, and does not spoil the proof."""
    play = Play(safe("J1", "C12"))(FIRST + f":absent {DEAD_DC} 0.00Vac {DEAD_AC} 0.00V {SOURCE}")
    assert {item: verdict.verdict.value for item, verdict in play.verdicts.items()} == {
        "J1": "absent",
        "C12": "pass",
        "dead": "pass",
    }


@pytest.mark.parametrize(
    "script",
    [
        f":skip {LIFT} {DEAD_DC} 0.00Vac {DEAD_AC} 0.00V {SOURCE}",
        f"{FIRST} {DEAD_DC} 0.00Vac {DEAD_AC} 0.00V :skip",
    ],
)
def test_source_not_shown_proves_nothing(script: str) -> None:
    """Without the source before or after the points, the step is unsure and says why."""
    play = Play(safe("C12"))(script)
    assert play.session.finished
    assert play.verdicts["dead"].verdict == "unsure"
    assert "live source" in play.verdicts["dead"].reason


@pytest.mark.parametrize("script", ["", SOURCE, f"{FIRST} {DEAD_DC}", f"{FIRST} {DEAD_DC} {DEAD_DC} 0.00Vac {DEAD_AC}"])
def test_skipped_step_leaves_no_half_proof(script: str) -> None:
    """However far it came, a skipped step is unsure, and so is every point that was not proved in dc and in ac."""
    play = Play(safe("J1", "C12"))(f"{script} :skip_step")
    assert play.session.finished
    assert {item: verdict.verdict.value for item, verdict in play.verdicts.items()} == {
        "J1": "unsure" if "Vac" not in script else "pass",
        "C12": "unsure",
        "dead": "unsure",
    }


def test_no_points() -> None:
    """Without points the source is shown twice, the next step begins, and nothing was proved dead."""
    play = Play(SafeStep(id="dead"), fuses())(FIRST + "0.00V*4 1.52V*3")
    assert play.verdicts["dead"].verdict == "unsure"
    assert play.prompts[-1] == "answer F1"
    play(":waive=no_point_to_prove_it_at")
    assert play.prompts[-1] == "dial F1"


def test_every_point_absent() -> None:
    """A unit that has none of the points is not proved dead."""
    play = Play(safe("J1", "C12"))(FIRST + ":absent :absent 0.00V*4 1.52V*3")
    assert play.ticks == ["J1 absent", "C12 absent", "dead unsure"]


def test_words_that_mean_nothing() -> None:
    """A word that means nothing here is said to, and changes nothing."""
    play = Play(safe("C12"))(FIRST)
    for word in ("open", "pass", "fail", "undo", "at=C12"):
        assert play.since(f":{word}") == ["note"]
    assert play(DEAD_DC).ticks == ["C12 pass"]


def test_again_begins_the_point_anew() -> None:
    """A yes is taken back by `again`."""
    play = Play(safe("C12"))(FIRST + "0.00V*2 +2 :yes 0.00V :again 0.00V*8")
    assert play.ticks == []
    assert play.prompts[-1] == "answer C12"


def test_ohms_after_volts_want_the_dial_and_a_lift() -> None:
    """From volts to ohms the dial is turned: contact that is on then is not credited."""
    play = Play(safe("C12"), fuses())(FIRST + f"{DEAD_DC} 0.00Vac {DEAD_AC} 0.00V {SOURCE}")
    assert play.prompts[-1] == "dial F1"
    play("0.2*8")
    assert "F1" not in play.verdicts
    assert play("OL*4 9 0.2*2").verdicts["F1"].verdict == "pass"


def test_ohms_wait_for_a_word_when_the_unit_was_not_proved_dead() -> None:
    """Nothing ticks until the operator waives the proof, which is written down; then a certain lift comes first."""
    play = Play(safe("C12"), fuses(1))(FIRST + ":skip_step OL*6 9 0.2*6")
    assert play.prompts[-1] == "answer F1"
    assert "F1" not in play.verdicts
    play(":waive=on_the_mat_for_days")
    assert any("without proof that the unit is dead" in note for note in play.notes)
    play("OL*4 9 0.2*3")
    assert play.verdicts["F1"].verdict == "pass"


def test_ohms_wait_for_no_word_after_a_pass_or_a_waiver() -> None:
    """A proved unit goes straight on; so does one whose proof was waived, which the first record carries."""
    waived = Play(safe("C12"), fuses(1), options={"no_safe": True})(FIRST + ":skip_step OL*6 9 0.2*3")
    assert waived.verdicts["F1"].verdict == "pass"


def test_tips_still_on_the_source_are_no_live_point() -> None:
    """The source was accepted and the hand has not moved yet: no point is asked for, and no alarm given."""
    play = Play(safe("C12"))(SOURCE + "1.52V*40")
    assert play.prompts == ["probe dead", "lift dead"]
    assert play.cues == ["pass dead"]
    play("0.00V*3 1.52V*3")
    assert play.cues[-1] == "stop C12"


def test_a_yes_on_the_source_itself_is_live() -> None:
    """Saying yes without having moved proves nothing: it stops."""
    play = Play(safe("C12"))(FIRST + "1.52V*2 +2 :yes 1.52V*2")
    assert "stop C12" in play.cues
    assert "C12" not in play.verdicts


def test_a_point_that_is_dead_after_a_stop_is_asked_for_again() -> None:
    """Disconnected and discharged: the prompt comes back without a word."""
    play = Play(safe("C12"))(FIRST + "0.00V*2 12.0V*3")
    assert play.prompts[-1] == "stop C12"
    play("0.00V*3")
    assert play.prompts[-1] == "answer C12"


# --- the lift off the source


def test_first_point_is_not_judged_while_the_tips_are_on_the_source() -> None:
    """No yes, however late or often, makes a point of the source; a lift is asked for each time."""
    play = Play(safe("C12"))(SOURCE + "+9 :yes 1.52V*2 +9 :yes 1.52V*2")
    assert play.ticks == []
    assert play.prompts == ["probe dead", "lift dead", "lift dead", "lift dead"]


@pytest.mark.parametrize(
    ("shown", "moved"),
    [("1.45V", False), ("1.59V", False), ("1.44V", True), ("1.60V", True), ("1.36V", True), ("-1.52V", True)],
)
def test_another_voltage_than_the_sources_stops(shown: str, moved: bool) -> None:
    """5 % of 1.52 V is 0.076 V (by hand): within it the tips are on the source still, beyond it on something live."""
    play = Play(safe("C12"))(SOURCE + f"{shown}*3")
    assert ("stop dead" in play.cues) is moved
    assert play.ticks == []


def test_coarse_source_moves_by_counts() -> None:
    """At 1.5 V with a count of 0.1 V, five counts are the source still, six are not (0.5 V and 0.6 V, by hand)."""
    assert "stop dead" not in Play(safe("C12"))("1.5V*3 2.0V*3").cues
    assert "stop dead" in Play(safe("C12"))("1.5V*3 2.1V*3").cues


def test_stop_before_the_first_point_ends_with_a_lift() -> None:
    """A live thing touched on the way is said, and names no point; after it the point is asked for."""
    play = Play(safe("C12"))(SOURCE + "12.00V*3")
    assert play.prompts[-1] == "stop dead"
    assert "lift" in play.said
    assert play(LIFT).prompts[-1] == "answer C12"


def test_one_dead_conversion_is_no_lift() -> None:
    """A blend or a dropout of the source may show one value about zero."""
    play = Play(safe("C12"))(SOURCE + "1.52V 0.00V 1.52V*2")
    assert play.prompts[-1] == "lift dead"
    assert play("0.00V 0.00V").prompts[-1] == "answer C12"


def test_lift_passed_over_leaves_the_step_unsure() -> None:
    """Tips that never read about zero in air can be passed over, and then nothing is proved."""
    play = Play(safe("C12"))(SOURCE + f":skip {DEAD_DC} 0.00Vac {DEAD_AC} 0.00V {SOURCE}")
    assert play.verdicts["C12"].verdict == "pass"
    assert play.verdicts["dead"].verdict == "unsure"
    assert "lift" in play.verdicts["dead"].reason


def test_again_goes_back_to_the_source() -> None:
    """`again` before the lift shows the source anew."""
    assert Play(safe("C12"))(SOURCE + ":again").prompts[-1] == "probe dead"


# --- when a yes counts


@pytest.mark.parametrize(("wait_s", "counts"), [(0.0, False), (1.0, False), (1.99, False), (2.0, True), (5.0, True)])
def test_yes_counts_two_seconds_after_its_prompt(wait_s: float, counts: bool) -> None:
    """Sooner no hand has reached the point; it is said, and the same point waits for another yes."""
    play = Play(safe("C12"))(FIRST + f"+{wait_s} :yes 0.00V*9")
    assert play.ticks == (["C12 pass"] if counts else [])
    assert ("again C12" in play.cues) is not counts
    if not counts:
        assert "too soon" in play.notes[-1]
        assert play(DEAD_DC).ticks == ["C12 pass"]


def test_two_quick_yes_pass_one_point_only() -> None:
    """The second yes of a nervous hand comes with the next point's prompt and proves nothing there."""
    play = Play(safe("J1", "C12"))(FIRST + "+2 :yes 0.00V*2 :yes 0.00V*9")
    assert play.ticks == ["J1 pass"]


def test_time_counts_from_the_newest_prompt() -> None:
    """A point asked for again, after a stop or a block, gives the hand its two seconds again."""
    for between in ("12.00V*3 0.00V*2", "^lost 0.00V"):
        play = Play(safe("C12"))(FIRST + f"+60 {between} +1 :yes 0.00V*9")
        assert play.ticks == [], between
        assert play(DEAD_DC).ticks == ["C12 pass"], between


def test_prompt_says_what_the_dial_and_the_mouth_do() -> None:
    """Quantity as a field of its own, so that a screen can draw it as large as the place."""
    play = Play(safe("C12"))(FIRST + DEAD_DC + "0.00Vac")
    asked = [prompt.quantity for prompt in play.of(Prompt) if prompt.do == "answer"]
    assert asked == [Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC]


# --- an oracle of its own: whatever is done, a pass rests on what the page asks for


def proofs(play: Play) -> list[str]:
    """Check every pass against the events alone, by the rule's text; return what was passed.

    A point passes in a quantity only if a `yes` came 2 s or more after the prompt that it answers, the point's last,
    and the two last conversions, both after that `yes`, in one quantity, are within 0.1 V. Before the first point the
    meter showed the source's 1 V or more twice, and after that twice no more than 0.1 V. The step passes only if every
    point passed in dc and in ac, and the source was shown again at the end.
    """
    seen: list[Reading] = []
    said: list[tuple[float, float]] = []
    asked_s = -1.0
    passed: list[str] = []
    for event, outcomes in play.pairs:
        if isinstance(event, Reading) and event.state is not State.BLANK:
            seen.append(event)
        if isinstance(event, Operator) and event.word == "yes":
            said.append((event.t_s, asked_s))
        for outcome in outcomes:
            if isinstance(outcome, Prompt) and outcome.do == "answer":
                asked_s = outcome.t_s
            if isinstance(outcome, Verdict) and outcome.verdict == "pass" and outcome.item != "dead":
                last = seen[-2:]
                own = [yes_s for yes_s, to_s in said if to_s == asked_s and last[0].t_s >= yes_s >= to_s + 2.0 - 1e-6]
                assert own, outcome
                assert all(each.value is not None and abs(each.value) <= 0.1 for each in last), outcome
                assert len({each.quantity for each in last}) == 1, outcome
                if not passed:
                    live = [n for n, each in enumerate(seen) if abs(each.value or 0.0) >= 1.0]
                    assert len(live) >= 2, outcome
                    off = [each for each in seen[live[1] :] if each.value is not None and abs(each.value) <= 0.1]
                    assert sum(each.t_s <= asked_s for each in off) >= 2, outcome
                passed.append(f"{outcome.item} {last[0].quantity}")
            if isinstance(outcome, Verdict) and outcome.item == "dead" and outcome.verdict == "pass":
                assert set(passed) == {f"{p} {q}" for p in ("J1", "C12") for q in ("voltage_dc", "voltage_ac")}
                assert sum(abs(each.value or 0.0) >= 1.0 for each in seen[-3:]) >= 2
                passed.append("dead")
    return passed


@pytest.mark.parametrize("seed", range(60))
def test_no_story_passes_without_its_proof(seed: int) -> None:
    """Random hands: on the source, in air, on live and dead points, words early and late, the dial and HOLD."""
    rng = random.Random(seed)
    play = Play(safe("J1", "C12"))
    play(FIRST if rng.random() < 0.7 else SOURCE)
    for _ in range(120):
        ac = "ac" if str(play.session.wanted or "").endswith("ac") else ""
        doings = (
            f"0.00V{ac}", f"0.00V{ac}*2", f"0.00V{ac}*2", f"0.05V{ac}*2", f"1.52V{ac}*3", f"12.00V{ac}*2", "0.00V",
            "+2 :yes", "+2 :yes", "+2 :yes", ":yes", "+1 :yes", ":back", "^lost", f"0.00V{ac}!hold", f"--V{ac}",
            "1.52V*3", "0.2",
        )  # fmt: skip
        play(rng.choice(doings))
        if play.session.finished:
            break
    proofs(play)


def test_oracle_sees_a_whole_proof() -> None:
    """The check above accepts what is right, so that its silence means something."""
    play = Play(safe("J1", "C12"))(FIRST + DEAD_DC * 2 + "0.00Vac " + DEAD_AC * 2 + "0.00V " + SOURCE)
    assert len(proofs(play)) == 5
    assert proofs(play)[-1] == "dead"


@pytest.mark.parametrize("script", ["", "OL*3", SOURCE + LIFT + "0.00V*3 " + DEAD_DC + TO_AC + DEAD_AC + "0.00V*2"])
def test_a_yes_where_the_source_is_asked_for_is_told_what_is_wanted(script: str) -> None:
    """Before the points, after them, and while the dial is still elsewhere: a voltage answers, no word."""
    play = Play(safe("C12"))(f"{script} +2 :yes")
    answer = play.notes[-1]
    assert answer.startswith("no yes is wanted: ") and answer.endswith("its voltage is the answer")
    assert ("set the meter to volts dc" in answer) == (script == "OL*3")
    assert play.prompts[-1].split()[0] in ("probe", "dial")
