"""tune: as found first and never overwritten, live cues, hazard and excursions, rest twice, as left."""

from __future__ import annotations

from typing import Any

import pytest

from metercap.meter import Accuracy
from metercap.plankeys import Item, TuneStep
from metercap.quantity import Quantity
from metercap.records import Excursion, Verdict, VerdictKind
from tests.steps.bench_play import Play, meter


def trimmers(*names: str, **more: Any) -> TuneStep:
    """Return a tune step toward 1.5 kΩ ± 1 %, never below 1.2 kΩ."""
    keys: dict[str, Any] = {
        "id": "bridge",
        "target": 1500.0,
        "tolerance_share": 0.01,
        "never_below": 1200.0,
        "unit": "ohm",
    }
    return TuneStep(items=tuple(Item(name) for name in names or ("RV1",)), **(keys | more))


def ramp(start: int, stop: int, step: int) -> str:
    """Return a script of ohms in the kilohm range from `start` to before `stop`."""
    return " ".join(f"{value / 1000:.3f}k" for value in range(start, stop, step))


def tuned(*names: str, **more: Any) -> Play:
    """Return a play at 5 conversions/s with the tips off for long enough."""
    return Play(trimmers(*names), rate=5.0, **more)("OL*6")


def only(play: Play, item: str = "RV1") -> Verdict:
    """Return the item's standing verdict."""
    return play.verdicts[item]


def test_as_found_is_read_before_turning_is_asked_for() -> None:
    """The first prompt asks to turn nothing; the second comes once a plateau is stored."""
    play = tuned()
    assert play.prompts == ["probe RV1"]
    play("2.187k*3")
    assert play.prompts == ["probe RV1", "turn RV1"]
    assert "RV1 as found 2.187 kΩ" in play.notes


def test_a_whole_tuning_ends_with_as_found_as_left_and_the_target() -> None:
    """Turned into the band, at rest, tool away, at rest again: the verdict comes without a word."""
    play = tuned()(f"2.187k*5 {ramp(2187, 1520, -40)} 1.505k*11")
    assert play.prompts == ["probe RV1", "turn RV1", "stop RV1"]
    assert not play.verdicts
    play("1.505k*11")
    verdict = only(play)
    assert verdict.verdict is VerdictKind.PASS
    assert (verdict.as_found, verdict.as_left, verdict.target, verdict.tolerance) == (2187.0, 1505.0, 1500.0, 15.0)
    assert verdict.excursions == 0
    assert play.session.finished


def test_a_dip_past_the_hazard_limit_is_alarmed_at_once_and_recorded_when_it_ends() -> None:
    """The verdict is on the value left: pass, with one excursion of known depth and duration, as found intact."""
    play = tuned()(f"2.187k*5 {ramp(2187, 1200, -90)}")
    before = len(play.cues)
    play("1.150k")
    assert play.cues[before:] == ["hazard RV1"]
    play(f"1.107k 1.150k {ramp(1210, 1500, 40)} 1.502k*30")
    excursions = play.of(Excursion)
    assert [(e.side, e.limit, e.worst) for e in excursions] == [("below", 1200.0, 1107.0)]
    assert excursions[0].duration_s == pytest.approx(0.6)
    verdict = only(play)
    assert (verdict.verdict, verdict.as_found, verdict.excursions) == (VerdictKind.PASS, 2187.0, 1)


def test_one_conversion_past_the_limit_alarms_but_is_no_excursion() -> None:
    """An excursion needs two agreeing conversions; the alarm does not wait for them."""
    play = tuned()(f"2.187k*5 {ramp(2187, 1250, -90)} 1.150k 1.260k {ramp(1300, 1500, 40)} 1.502k*30")
    assert "hazard RV1" in play.cues
    assert play.of(Excursion) == []
    assert only(play).excursions == 0


def test_tips_touching_each_other_are_a_note_and_no_excursion() -> None:
    """0.2 Ω is further than a factor of 10 from the track: probes or track."""
    play = tuned()("2.187k*5 1.900k 0.2*4 1.900k 1.700k 1.600k 1.502k*30")
    assert play.of(Excursion) == []
    assert any("probes or track" in note for note in play.notes)
    assert only(play).verdict is VerdictKind.PASS


def test_exactly_at_the_limit_is_not_beyond_it() -> None:
    """Beyond means value + resolution past the limit."""
    play = tuned()("2.187k*5 1.600k 1.199k*4 1.600k")
    assert "hazard RV1" not in play.cues
    play("1.198k*2")
    assert "hazard RV1" in play.cues


def test_lost_contact_while_turning_is_a_note_and_ends_an_excursion() -> None:
    """A dirty track opens for a moment; the turning goes on where it was."""
    play = tuned()("2.187k*5 1.800k 1.100k*3 OL*2 1.300k*2 1.502k*30")
    assert len(play.of(Excursion)) == 1
    assert any("dirty track" in note for note in play.notes)
    assert only(play).verdict is VerdictKind.PASS


def test_a_plateau_out_of_band_after_stop_asks_to_turn_again() -> None:
    """Taking the tool away moved it."""
    play = tuned()("2.187k*5 1.700k 1.502k*12")
    assert play.prompts[-1] == "stop RV1"
    play("1.540k*12")
    assert play.prompts[-1] == "turn RV1"
    play("1.500k*25")
    assert only(play).as_left == 1500.0


def test_skip_judges_what_is_left() -> None:
    """The operator gives up: the value at rest is judged, out of band or not."""
    play = tuned()("2.187k*5 1.900k*3 :skip 1.900k*12")
    verdict = only(play)
    assert (verdict.verdict, verdict.as_left) == (VerdictKind.FAIL, 1900.0)


def test_undo_aims_at_as_found() -> None:
    """Back to as found, with the plan's tolerance around it."""
    play = tuned()("1.700k*5 1.600k*2 :undo 1.650k 1.700k*25")
    verdict = only(play)
    assert (verdict.verdict, verdict.target, verdict.as_left) == (VerdictKind.PASS, 1700.0, 1700.0)


def test_undo_shows_the_margin_of_its_own_band() -> None:
    """±1 % of 1700 Ω is 2 Ω wider than ±1 % of 1500 Ω; a meter of unknown accuracy takes the same U off both."""
    play = tuned()("1.700k*5 1.600k*2")
    before = half(play)
    play(":undo 1.650k")
    assert half(play) - before == pytest.approx(2.0, abs=0.02)


def half(play: Play) -> float:
    """Return half of what this meter proves of the band, as it is shown: edges to six digits."""
    facts = play.view.trimmer
    assert facts is not None and facts.inner_low is not None and facts.inner_high is not None
    return (facts.inner_high - facts.inner_low) / 2


def test_undo_past_the_hazard_limit_asks_first() -> None:
    """As found lies below never_below: hazard cue, a question, and no target of its own until `yes`."""
    play = tuned()("1.100k*5 1.300k*3")
    play(":undo")
    assert play.prompts[-1] == "answer RV1"
    assert play.cues[-1] == "hazard RV1"
    play(":no 1.300k*2")
    assert play.prompts[-1] == "probe RV1"


def test_left_past_the_hazard_limit_fails_even_in_its_band() -> None:
    """As found below the limit, undone by the operator's yes: the verdict names the hazard."""
    play = tuned()("1.100k*5 1.300k*3 :undo :yes OL*8 1.100k*30")
    verdict = only(play)
    assert verdict.verdict is VerdictKind.FAIL
    assert "left below its hazard limit" in verdict.reason


def test_all_trimmers_are_read_as_found_before_the_first_turns_and_again_after_the_last() -> None:
    """With two of them: found, found, turn, turn, left, left."""
    play = tuned("RV1", "RV2")
    play("1.800k*3 OL*6 1.400k*3 OL*6")
    assert play.notes == ["RV1 as found 1.800 kΩ", "RV2 as found 1.400 kΩ"]
    assert play.prompts == ["probe RV1", "probe RV2", "probe RV1"]
    play("1.800k*3 1.600k 1.501k*30 OL*6 1.400k*2 1.450k 1.499k*30 OL*6")
    assert not play.verdicts
    play("1.503k*4 OL*6 1.499k*4")
    assert play.ticks == ["RV1 pass", "RV2 pass"]
    assert (only(play).as_found, only(play).as_left) == (1800.0, 1503.0)
    assert play.session.finished


def test_a_later_step_finds_its_trimmer_read_already() -> None:
    """As found of every later tune step is read before anything turns, and never overwritten."""
    first, second = trimmers("RV1"), trimmers("RV2", id="gain", target=1000.0, never_below=None)
    play = Play(first, second, rate=5.0)("OL*6 1.600k*3 OL*6 1.100k*3 OL*6")
    assert play.notes == ["RV1 as found 1.600 kΩ", "RV2 as found 1.100 kΩ"]
    play("1.600k*2 1.501k*30 OL*6")
    assert play.ticks == ["RV1 pass"]
    play("1.100k*2 1.050k 1.001k*30")
    assert (only(play, "RV2").as_found, only(play, "RV2").as_left) == (1100.0, 1001.0)


def test_a_known_good_unit_gives_its_value_and_is_not_turned() -> None:
    """target = "reference" on the unit that is the reference: recorded, with the same value as found and as left."""
    play = Play(trimmers(target="reference"), rate=5.0, known_good=True)("OL*6 1.512k*4")
    verdict = only(play)
    assert (verdict.verdict, verdict.as_found, verdict.as_left) == (VerdictKind.PASS, 1512.0, 1512.0)
    assert "turn RV1" not in play.prompts


def test_the_target_comes_from_the_reference() -> None:
    """Two units of one model: the second is turned to what the first reads."""
    reference = {"bridge/RV1": {"value": 1512.0, "unit": "ohm"}}
    play = Play(trimmers(target="reference"), rate=5.0, reference=reference)("OL*6 1.700k*5 1.600k 1.512k*30")
    assert (only(play).target, only(play).verdict) == (1512.0, VerdictKind.PASS)


def test_a_band_that_cannot_be_proved_is_said_with_the_tightest_one_and_taken_simply_by_a_yes() -> None:
    """±0.1 % of 1.5 kΩ is 1.5 Ω; this meter's U there is some 9 Ω."""
    rough = meter(5.0, (Accuracy(Quantity.RESISTANCE, 0.5, 3.0),))
    play = Play(trimmers(tolerance_share=0.001), profile=rough, rate=5.0)("OL*6 1.600k*4")
    assert play.prompts[-1] == "answer RV1"
    assert "narrower than this meter can prove" in play.said
    play(":yes OL*6 1.600k*2 1.500k*30")
    verdict = only(play)
    assert (verdict.verdict, verdict.rule) == (VerdictKind.PASS, "simple")


def test_no_to_that_keeps_the_guarded_rule_and_ends_unsure() -> None:
    """The operator may keep both rule and band; the verdict then says what it cannot prove."""
    rough = meter(5.0, (Accuracy(Quantity.RESISTANCE, 0.5, 3.0),))
    play = Play(trimmers(tolerance_share=0.001), profile=rough, rate=5.0)
    play("OL*6 1.600k*4 :no :no OL*6 1.600k*2 1.500k*12")
    assert not play.verdicts
    play(":skip 1.500k*12")
    assert (only(play).verdict, only(play).rule) == (VerdictKind.UNSURE, "guarded")


@pytest.mark.parametrize("rate", [2.0, 3.0])
def test_slow_meters_are_nudged(rate: float) -> None:
    """Below 4 conversions/s the prompt says: turn, stop, wait two values."""
    play = Play(trimmers(), rate=rate)("OL*6 2.187k*4")
    assert "nudge" in play.said
    play("1.900k 1.600k")
    assert "stop RV1" in play.cues


def test_cues_tell_far_near_past_and_wrong_way() -> None:
    """One of each, as the value goes: each is given when it begins to hold, not at every conversion."""
    play = tuned()("2.187k*5")
    assert play.cues[-1] == "far RV1"
    play("2.170k 2.150k")
    assert play.cues[-1] == "far RV1"
    play("1.570k*3")
    assert play.cues[-1] == "near RV1"
    play("1.600k")
    assert play.cues[-1] == "wrong way RV1"
    play("1.450k*2")
    assert "past it RV1" in play.cues
    play("1.500k*2")
    assert play.cues[-1] == "in band RV1"


def test_an_interlude_or_a_lost_link_never_loses_as_found() -> None:
    """The link drops while turning: as found stays, and turning goes on after a certain lift."""
    play = tuned()("2.187k*5 1.900k*2 ^lost 1.900k OL*8 1.900k*3 1.500k*30")
    assert only(play).as_found == 2187.0
