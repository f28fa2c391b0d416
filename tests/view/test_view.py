"""The view: everything that any output shows, by the rule in force. Expectations are worked out by hand."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from metercap.asks import Asks
from metercap.meter import Accuracy
from metercap.plankeys import (
    CellStep,
    CheckStep,
    ConfirmStep,
    ExerciseStep,
    Item,
    SafeStep,
    StepBase,
    SweepStep,
    TrialsStep,
    TuneStep,
    WiggleStep,
    ZeroStep,
)
from metercap.quantity import Quantity
from metercap.records import Cue, CueKind, Do, EndRecord, VerdictKind
from metercap.screen.face import face
from metercap.steps.facts import (
    CellFacts,
    ConfirmFacts,
    ExerciseFacts,
    InForce,
    SafeFacts,
    TrialsFacts,
    TuneFacts,
    WalkFacts,
    WiggleFacts,
    ZeroFacts,
)
from metercap.view import View
from metercap.view.words import by_page
from tests.steps.bench_play import Play, meter

KNOWN = meter(5.0, (Accuracy(quantity=Quantity.RESISTANCE, percent=0.5, counts=2),))
"""±(0.5 % + 2 counts): rectangular, so at 1500 Ω in counts of 1 Ω a standard uncertainty of 9.5/√3 Ω."""


def fuses(last: int = 3, **more: Any) -> SweepStep:
    items = tuple(Item(f"F{n}", where=f"row {n}") for n in range(1, last + 1))
    keys: dict[str, Any] = {"id": "fuses", "max": 2.0, "unit": "ohm", "count_check": False}
    return SweepStep(items=items, **(keys | more))


def trimmer(**more: Any) -> TuneStep:
    keys: dict[str, Any] = {
        "id": "bridge",
        "items": (Item("RV1", where="by the plug"),),
        "target": 1500.0,
        "tolerance": 15.0,
    }
    return TuneStep(**(keys | {"unit": "ohm", "never_below": 1200.0} | more))


def tuned(**more: Any) -> Play:
    return Play(trimmer(**more.pop("keys", {})), rate=5.0, **more)("OL*6")


def turned(view: View) -> TuneFacts:
    assert view.trimmer is not None
    return view.trimmer


def asks(play: Play) -> Asks | None:
    return play.view.asks


def own(play: Play, kind: type) -> Any:
    assert isinstance(play.view.own, kind), play.view.own
    return play.view.own


# --- readings, limits, tips


def test_the_reading_is_what_counts_the_leads_taken_off() -> None:
    """Leads of 0.3 Ω: a fuse that displays 0.5 Ω reads 0.2 Ω, and both are told with the null between them."""
    play = Play(ZeroStep(id="leads"), fuses(), rate=5.0)("OL*6 0.3*4 OL*12 0.5")
    shown = play.view.reading
    assert shown is not None
    assert (shown.value, shown.displayed, shown.null) == (0.2, 0.5, 0.3)


def test_the_leads_are_off_by_the_judges_own_rule() -> None:
    """A meter of the scpi family is nulled by function: 0.412 Ω nulled in one range counts in every other."""
    profile = msgspec.structs.replace(meter(5.0), family="scpi")
    play = Play(ZeroStep(id="leads"), CheckStep(id="r", items=(Item("R1"),), unit="ohm"), rate=5.0, profile=profile)
    play("OL*6 0.412*4 OL*12 10.51")
    shown = play.view.reading
    assert shown is not None and (shown.value, shown.null) == (10.098, 0.412)


def test_what_the_leads_read_is_shown_whole_while_they_are_measured() -> None:
    """A second zero is not shown as nothing: there the leads are what is measured."""
    play = Play(ZeroStep(id="a"), ZeroStep(id="b"), rate=5.0)("OL*6 0.3*4 OL*12 0.3")
    shown = play.view.reading
    assert play.view.step == "b" and shown is not None and (shown.value, shown.null) == (0.3, None)
    assert own(play, ZeroFacts).max_ohm == 1.0


@pytest.mark.parametrize(
    ("plan_rule", "step_rule", "rule"),
    [("guarded", None, "guarded"), ("guarded", "simple", "simple"), ("simple", None, "simple")],
)
def test_limits_are_those_in_force(plan_rule: str, step_rule: Any, rule: str) -> None:
    """The step's rule before the plan's; an item's own limits before the step's."""
    step = SweepStep(
        id="fuses", items=(Item("F1"), Item("F2", max=5.0)), max=2.0, unit="ohm", count_check=False, rule=step_rule
    )
    play = Play(step, rate=5.0, rule=plan_rule)
    assert play.view.limits == InForce(None, 2.0, "ohm", rule)
    play(":skip")
    assert play.view.limits == InForce(None, 5.0, "ohm", rule)


def test_what_a_value_is_held_against_is_told() -> None:
    """Without limits of its own an item is held against a good unit: its value stands beside."""
    reference = {"r/R1": {"value": 100.0, "U": 1.0, "unit": "ohm"}}
    play = Play(CheckStep(id="r", items=(Item("R1"),), unit="ohm"), rate=5.0, reference=reference)
    assert play.view.limits == InForce(None, None, "ohm", "guarded", 100.0)


def test_tips_from_contact_to_go() -> None:
    """On and counted; after the tick on, but not armed, with the time that the lift still takes; off; armed again."""
    play = Play(fuses(), rate=2.0, conversion_s={Quantity.RESISTANCE: 0.5})("OL*3")
    tips = play.view.tips
    assert tips is not None and (tips.on, tips.armed, tips.stay) == (False, True, None)
    play("0.2")
    assert play.view.tips is not None and play.view.tips.counts and play.view.touching
    assert play.view.touch is not None and play.view.touch.item == "F1"
    play("0.2")
    tips = play.view.tips
    assert tips is not None and tips.on and not tips.counts and not tips.armed and not play.view.armed
    assert tips.stay is not None and tips.stay.left_s == 1.5
    play("OL*3")
    assert play.view.armed and play.view.touch is None


def test_a_lift_that_is_called_for_and_given() -> None:
    """The call stands until the lift is certain."""
    play = Play(fuses(), rate=2.0)("OL*3 0.2*2 0.2*3")
    assert play.view.call is CueKind.LIFT
    assert play("OL*5").view.call is None


# --- each kind


def test_a_walk_counts_and_says_where() -> None:
    """One ticked, one skipped, one open: done 1 of 3; marks lie on the path; the second look says so."""
    play = Play(fuses(), rate=5.0)("OL*6 0.2*2 OL*12 :skip")
    view = play.view
    assert (own(play, WalkFacts).done, own(play, WalkFacts).of) == (1, 3)
    assert view.item == "F3" and view.place is not None and view.place.where == "row 3"
    stage = view.stage
    assert stage is not None
    assert [spot.skipped for spot in stage.spots] == [False, True, False]
    assert stage.counts == {VerdictKind.PASS: 1}
    play("OL*6 0.2*2 OL*12")
    assert play.view.item == "F2" and own(play, WalkFacts).second
    assert play.view.asked is not None and play.view.asked.second is True


def test_contacts_of_an_item_are_told_as_they_settle() -> None:
    """A check of two contacts: the first one's value stands while the second is asked for."""
    play = Play(CheckStep(id="r", items=(Item("R1"),), unit="ohm"), rate=5.0)("OL*6 100.1*4 OL*12")
    assert own(play, WalkFacts).contacts == (100.1,) and own(play, WalkFacts).needed == 2


def test_the_count_check_is_asked_as_data() -> None:
    """Which item it is about, and that it is asked."""
    play = Play(fuses(1, count_check=True), rate=5.0)("OL*6 0.2*2")
    assert own(play, WalkFacts).counting and asks(play) is None
    play("OL*12")
    assert asks(play) is Asks.COUNT and play.view.item == "F1"
    play(":no")
    assert asks(play) is Asks.REDO and own(play, WalkFacts).again == ("F1",)


def test_a_trimmer_before_it_is_turned() -> None:
    """Its band and hazard side are known while it is read as found, and nothing else is."""
    facts = turned(tuned().view)
    assert facts.phase == "found"
    assert (facts.target, facts.low, facts.high, facts.never_below) == (1500.0, 1485.0, 1515.0, 1200.0)
    assert (facts.found, facts.value, facts.error) == (None, None, None)


def test_a_trimmer_under_the_hands_by_the_simple_rule() -> None:
    """Target 1500 ± 15; simple takes one count off either end; 1600 is 100 over, 6.66667 %, 86 from what is proved."""
    play = tuned(rule="simple")("2.187k*4 1.900k 1.700k 1.650k 1.600k*12")
    facts = turned(play.view)
    assert (facts.phase, facts.found, facts.value) == ("turn", 2187.0, 1600.0)
    assert (facts.inner_low, facts.inner_high) == (1486.0, 1514.0)
    assert (facts.error, facts.share, facts.to_go) == (100.0, 0.0666667, -86.0)
    assert facts.speed_per_s == 0.0 and facts.stops_at is None and not facts.inside
    assert play.view.limits == InForce(1485.0, 1515.0, "ohm", "simple")


def test_guarded_takes_u_off_the_band() -> None:
    """± 3.835 Ω of ± 15 are proved.

    U at 1500 Ω by JCGM 100: accuracy 9.5/√3, resolution 1/√12, one count for repeatability: 2·√(30.083 + 0.083 + 1).
    """
    play = tuned(profile=KNOWN)("2.187k*4 1.900k 1.700k 1.650k 1.503k*12")
    facts = turned(play.view)
    assert facts.inner_low == pytest.approx(1500 - 3.835, abs=0.006)
    assert facts.inner_high == pytest.approx(1500 + 3.835, abs=0.006)
    assert facts.inside and facts.to_go == 0.0
    assert play.view.limits is not None and play.view.limits.rule == "guarded"


def test_the_operators_yes_to_the_simple_rule_is_the_rule_in_force() -> None:
    """± 5 Ω cannot be proved with U = 11 Ω: asked, and answered, every output judges by one count from then on."""
    play = tuned(profile=KNOWN, keys={"tolerance": 5.0})("2.187k*4")
    assert asks(play) is Asks.RULE
    assert turned(play.view).inner_low == turned(play.view).inner_high == 1500.0
    assert not turned(play.view).proves
    play(":yes")
    assert (turned(play.view).inner_low, turned(play.view).inner_high) == (1496.0, 1504.0)
    assert play.view.limits == InForce(1495.0, 1505.0, "ohm", "simple")


def test_where_a_turning_trimmer_will_stop() -> None:
    """At 5/s and 20 Ω a conversion it runs at −100 Ω/s; T and the hand's 0.3 s are 0.5 s: it stops 50 Ω lower."""
    play = tuned()("2.187k*4 " + " ".join(f"{2.187 - 0.02 * n:.3f}k" for n in range(1, 12)))
    facts = turned(play.view)
    assert facts.value == 1967.0
    assert facts.speed_per_s == pytest.approx(-100.0, rel=0.02)
    assert facts.stops_at == pytest.approx(1917.0, abs=2.0)


def test_a_hazard_stands_in_the_view_until_it_is_over() -> None:
    """Below 1200 Ω: the side, the limit and the value; still there after the tips were lifted; gone when it is back."""
    play = tuned()("2.187k*4 1.800k 1.500k 1.300k 1.210k 1.190k 1.180k 1.180k")
    past = play.view.hazard
    assert past is not None and past.stands is not None
    assert (past.stands.side, past.stands.limit, past.stands.value) == ("below", 1200.0, 1180.0)
    assert turned(play.view).side == "below" and play.view.cue is not None
    play("OL*6")
    assert play.view.hazard is not None and play.view.touch is None
    play("1.250k*12")
    assert play.view.hazard is None and turned(play.view).side is None and play.view.past == ()


def test_a_trimmer_turned_too_early_rings_though_another_is_asked_for() -> None:
    """RV1 is read as found and RV2 comes next, but the tips stay on and RV1 is turned past 1200 Ω: the screen said LIFT
    alone. Off it, the alarm stands and names RV1, until the tips are on RV2 or RV1 is back."""
    play = Play(trimmer(items=(Item("RV1"), Item("RV2"))), rate=5.0)("OL*6 1.861k*8")
    asked = play.view.asked
    assert asked is not None and asked.item == "RV2"
    play("1.700k 1.500k 1.300k 1.190k*3 1.100k*3")
    assert play.view.item == "RV2" and play.view.hazard is not None
    assert play.view.hazard.item == "RV1" and face(play.view).alarm and face(play.view).hero.text == "TURN BACK"
    assert by_page(play.view) == ()
    play("OL*9")
    assert play.view.hazard is not None and play.view.hazard.item == "RV1" and face(play.view).alarm
    assert face(play.view).hero.text == "RV1 PAST LIMIT" and "RV2" in face(play.view).next.text
    assert any("RV1 stands past its limit" in note for note in play.notes)
    play("1.861k*2")
    assert play.view.touch is not None and play.view.touch.item == "RV2" and not face(play.view).alarm
    assert [past.item for past in play.view.past] == ["RV1"]


def test_asking_for_the_band_sets_no_target() -> None:
    """A trimmer that is skipped before it was turned has no target in its verdict, looked at or not."""
    play = tuned(keys={"target": "as found"})
    assert turned(play.view).target is None
    play(":skip")
    assert play.verdicts["RV1"].target is None


def test_rest_is_counted_and_then_the_tool_goes_away() -> None:
    """At 5/s, at rest since the first of eight equal values: 1.4 s of the 2 s; then stop, the tips stay on."""
    play = tuned(rule="simple")("2.187k*4 1.900k 1.700k 1.550k 1.505k*8")
    assert turned(play.view).rested_s == pytest.approx(1.4) and turned(play.view).rest_s == 2.0
    play("1.505k*4")
    assert turned(play.view).phase == "stop" and asks(play) is Asks.TOOL_AWAY
    asked = play.view.asked
    assert asked is not None and asked.keep is True and turned(play.view).rested_s < 1.0
    assert turned(play.view).found == 2187.0 and not turned(play.view).nudging


def test_a_slow_meter_is_nudged() -> None:
    """Below 4 conversions/s nobody can follow the value."""
    slow = Play(trimmer(), rate=2.0)("OL*6 2.187k*4 1.900k*2")
    assert turned(slow.view).nudging


def test_a_trimmer_beside_the_good_unit() -> None:
    """What the known-good unit reads there is told, whatever the target."""
    play = tuned(reference={"bridge/RV1": {"value": 1510.0, "unit": "ohm"}})
    assert turned(play.view).good == 1510.0


def test_lost_contact_keeps_the_last_value_and_says_that_tips_are_off() -> None:
    """So that "touch again" is said and not "turn"."""
    play = tuned()("2.187k*4 1.900k 1.850k 1.840k OL*2")
    assert play.view.touch is None and play.view.tips is not None and not play.view.tips.on
    assert turned(play.view).value == 1840.0


def test_a_stop_that_steers_is_no_call_to_measure_volts() -> None:
    """On a slow meter (2/s) stop means: hands still. In a sweep it means voltage in the circuit."""
    slow = Play(trimmer(), rate=2.0)("OL*6 2.187k*4 1.900k 1.700k 1.580k")
    assert CueKind.STOP in [cue.cue for cue in slow.of(Cue)]
    assert slow.view.call is None and slow.view.cue is CueKind.STOP
    live = Play(fuses(), rate=5.0)("OL*6 -0.8*3")
    assert live.view.call is CueKind.STOP and asks(live) is Asks.VOLTS


def test_presses_are_counted_as_data() -> None:
    """Two closures and a silent one that the next closure makes a miss: 3 of 4 presses closed."""
    step = ExerciseStep(id="cover", items=(Item("S1"),), presses=6)
    play = Play(step, rate=5.0)("OL*3 " + "0.3*3 OL*3 " * 2 + "OL*22 " + "0.3*3 OL*3")
    facts = own(play, ExerciseFacts)
    assert (facts.closed, facts.presses, facts.asked) == (3, 4, 6)
    assert facts.marks == (True, True, False, True)
    asked = play.view.asked
    assert asked is not None and (asked.do, asked.done, asked.closed, asked.of) == (Do.PRESS, 4, 3, 6)


def test_a_watch_counts_dropouts_and_runs_down() -> None:
    """Watched for 4 s from the settled contact on; one dropout, and another one going on."""
    step = WiggleStep(id="cable", items=(Item("J3"),), watch_s=4.0)
    play = Play(step, rate=5.0)("OL*3 0.3*3")
    began_s = play.t_s
    facts = own(play, WiggleFacts)
    assert facts.watching and facts.until_s == pytest.approx(began_s + 4.0)
    play("0.3*3 OL*2 0.3*2 OL")
    assert (own(play, WiggleFacts).dropouts, own(play, WiggleFacts).out) == (2, True)


def test_a_cell_under_load() -> None:
    """3.1 V unloaded; with 470 Ω across it for 3 s the seconds of load run down."""
    step = CellStep(id="backup", items=(Item("BT1"),), load=470.0)
    play = Play(step, rate=5.0)("0.000V*6 3.210V*4")
    facts = own(play, CellFacts)
    assert (facts.volt, facts.load_ohm, facts.loaded) == (3.21, 470.0, False)
    assert play.view.asked is not None and play.view.asked.load_ohm == 470.0
    play("3.050V")
    assert own(play, CellFacts).loaded and own(play, CellFacts).until_s == pytest.approx(play.t_s + 3.0)


def test_a_proof_of_being_dead() -> None:
    """Source, lift, then J1 in dc: part, quantity, and a yes that was heard."""
    play = Play(SafeStep(id="dead", points=("J1",)), rate=2.0)
    assert own(play, SafeFacts).part == "before"
    play("1.52V*3")
    assert own(play, SafeFacts).part == "lift"
    play("0.00V*3")
    facts = own(play, SafeFacts)
    assert (facts.part, facts.quantity, facts.done, facts.of) == ("point", Quantity.VOLTAGE_DC, 0, 2)
    assert play.view.item == "J1" and asks(play) is Asks.POINT
    play("+2 :yes")
    assert own(play, SafeFacts).heard


def test_starts_and_what_they_prove() -> None:
    """8 of 20 failed, fixed, 7 passed: Fisher wants 8 passes in a row (0.0405; 7 give 0.0567), reliable 29."""
    play = Play(TrialsStep(id="starts"))(":fail " * 8 + ":pass " * 12)
    assert own(play, TrialsFacts).mending and asks(play) is Asks.MENDED
    play(":fixed=new_connector " + ":pass " * 7)
    facts = own(play, TrialsFacts)
    assert (facts.passed, facts.runs, facts.fix) == (7, 7, "new connector")
    assert (facts.changed, facts.more_to_change, facts.more_to_reliable) == (False, 1, 22)
    assert facts.marks == (True,) * 7 and asks(play) is Asks.STARTED
    play(":pass")
    assert own(play, TrialsFacts).changed and own(play, TrialsFacts).more_to_change == 0


def test_a_wait_ends_when_it_ends() -> None:
    """Sixty seconds from the yes, in the prompt and in the facts."""
    play = Play(ConfirmStep(id="drain", say="drain", wait_s=60.0))
    assert asks(play) is Asks.BEGUN
    play("+5 :yes")
    assert (own(play, ConfirmFacts).until_s, own(play, ConfirmFacts).wait_s) == (65.0, 60.0)
    assert play.view.asked is not None and play.view.asked.until_s == 65.0


# --- what stops the ticking, and the end


def test_a_block_and_what_ends_it() -> None:
    """HOLD: a dial prompt and the block; over, both are gone."""
    play = Play(fuses(), rate=5.0)("OL*6 OL!hold")
    assert play.view.block is not None and play.view.block.key == "hold"
    play("OL*2")
    assert play.view.block is None and play.view.asked is not None and play.view.asked.do is Do.PROBE


def test_a_block_that_a_yes_ends_says_so() -> None:
    """A low battery: yes goes on."""
    play = Play(fuses(), rate=5.0)("OL*6 OL!low_battery")
    assert asks(play) is Asks.GO_ON and play.view.battery_low
    assert play.view.asked is not None and play.view.asked.answers == ("yes",)


def test_a_wrong_dial_says_which_is_right() -> None:
    """Volts where ohms are wanted: both that would do, the best first."""
    play = Play(fuses(), rate=5.0)("OL*6 1.000V")
    aside = play.view.aside
    assert aside is not None and aside.dial == (Quantity.RESISTANCE, Quantity.CONTINUITY)
    assert aside.quantity is Quantity.RESISTANCE
    assert play("0.2 0.2").view.aside is None


def test_a_contact_ends_what_stood_aside() -> None:
    """The advice on the range is over once somebody goes on without it."""
    play = Play(fuses(), auto=True)("OL*6")
    assert play.view.aside is not None
    assert play("0.2").view.aside is None


def test_the_other_polarity_is_at_the_same_place() -> None:
    """An item that is probed both ways keeps its place under its other name."""
    items = (Item("D1", where="by the plug", both_ways=True),)
    step = CheckStep(id="d", items=items, unit="ohm", contacts=1)
    play = Play(step, rate=5.0)(":skip")
    assert play.view.item == "D1 reversed" and play.view.place is not None and play.view.place.where == "by the plug"


def test_a_dial_beside_the_prompt_replaces_nothing() -> None:
    """The advice on the range stands aside, with what it wants of the dial."""
    play = Play(fuses(), auto=True)("OL")
    assert play.view.asked is not None and play.view.asked.item == "F1"
    aside = play.view.aside
    assert aside is not None and (aside.dial, aside.range) == ((Quantity.RESISTANCE,), "low")


def test_what_was_left_open_is_told() -> None:
    """Gone to another step: what was passed over stands in the view until it is done."""
    play = Play(fuses(2), CheckStep(id="r", items=(Item("R1"),), unit="ohm"), rate=5.0)("OL*6 0.2*3 OL*12 :to=r")
    assert [(left.step, left.items) for left in play.view.left_open] == [("fuses", ("F2",))]


def test_a_link_that_is_lost_and_back() -> None:
    """It stands until the first reading after it."""
    play = Play(fuses(), rate=5.0)("OL*6 ^silent")
    assert play.view.link is not None
    assert play("OL").view.link is None


def test_an_item_that_the_plan_does_not_have() -> None:
    """`probe` measures aside; its verdict is kept beside the path."""
    play = Play(fuses(), rate=5.0)("OL*6 :probe=R9")
    facts = play.session.facts()
    assert facts is not None and facts.aside and facts.item == "R9"
    play("OL*6 100.1*4 OL*12")
    assert [spot.name for spot in play.view.unplanned] == ["R9"]
    assert play.view.item == "F1" and play.view.kind == "sweep"


def test_prompts_are_numbered() -> None:
    """So that a word from elsewhere can say which one it answers."""
    play = Play(fuses(2), rate=5.0)
    assert play.view.prompts == len(play.prompts) == 1
    play("OL*6 0.2*3 OL*12 :skip")
    assert play.view.prompts == len(play.prompts) > 2


def test_what_nobody_decided_is_told() -> None:
    """By step and item, in the plan's order."""
    play = Play(fuses(2), CheckStep(id="r", items=(Item("R1"),), unit="ohm"), rate=5.0)("OL*6 0.2*3")
    assert play.view.undone == (("fuses", "F2"), ("r", "R1"))


def test_the_end_and_what_stands() -> None:
    """What stood last stays readable after the end."""
    play = Play(fuses(2), rate=5.0)("OL*6 0.2*2 OL*12 0.2*2")
    view = play.viewer.close(EndRecord(play.t_s, "done", {}, ""))
    assert view.end is not None
    assert [verdict.item for verdict in view.verdicts] == ["F1", "F2"]


STEPS: list[tuple[StepBase, str]] = [
    (fuses(2, count_check=True), "OL*6 0.2*2 OL*12 0.2*2 OL*12 :yes"),
    (trimmer(target="as found"), "OL*6 2.187k*4 2.150k*4 OL*3 2.187k*30"),
    (trimmer(), "OL*6 2.187k*4 1.900k 1.700k 1.550k 1.505k*30"),
]


@pytest.mark.parametrize(("step", "script"), STEPS)
def test_looking_changes_nothing(step: StepBase, script: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same outcomes whether views are made or not, and a view is one JSON text."""
    seen = Play(step, rate=5.0)(script)
    assert msgspec.json.decode(msgspec.json.encode(seen.view), type=View) == seen.view
    monkeypatch.setattr("tests.steps.bench_play.Viewer.take", lambda self, event, outcomes: self.view)
    unseen = Play(step, rate=5.0)(script)
    assert seen.out == unseen.out
