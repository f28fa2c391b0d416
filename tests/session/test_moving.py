"""Any order: `to STEP`, `at ITEM` across steps, `back` over a border, and what was left open before the end."""

from __future__ import annotations

import copy

import pytest

from metercap.outcome import fold
from metercap.plan import Plan, to_builtins
from metercap.plankeys import CellStep, ExerciseStep, Item, TrialsStep, TuneStep
from metercap.records import Excursion, Operator, at
from metercap.session.inherit import inherited_from
from metercap.view import advance, begin
from tests.session.recorded import again
from tests.steps.bench_play import Play, check, confirm, fuses, safe, volts, zero
from tests.steps.test_tables import SITUATIONS

GOOD = "9 0.2*2 OL*5 "
FIRST = "OL*3 "
AFTER = confirm(id="after")
RV = TuneStep(id="bridge", items=(Item("RV1"),), target=100.0, tolerance=2.0, never_below=50.0, unit="ohm")
LAMP = TuneStep(id="lamp", items=(Item("RV1"), Item("RV2")), target=100.0, tolerance=2.0, unit="ohm")


def open_now(play: Play) -> list[str]:
    """Return what was left open, as it is said."""
    return [left.said for left in play.session.left_open]


# --- to STEP


def test_the_step_left_behind_comes_back_before_the_end() -> None:
    """Left after F1 of three: the plan goes on behind the new step, then F2 and F3 are asked for, F1 is not."""
    play = Play(fuses(3), check("R1"), AFTER)(FIRST + GOOD + ":to=check")
    assert play.prompts[-1] == "probe R1"
    assert open_now(play) == ["fuses: F2, F3"]
    assert play.notes[-1] == "left open, and back before the end: fuses: F2, F3"
    play("+1 9 100.0*4 OL*5 9 100.0*4 OL*5")
    assert play.prompts[-1] == "confirm after"
    play(":yes")
    assert not play.session.finished
    assert play.notes[-1] == "before the end, left open: fuses: F2, F3"
    assert play.prompts[-1] == "probe F2"
    play("OL*3 " + GOOD * 2)
    assert play.ticks == ["F1 pass", "R1 pass", "after pass", "F2 pass", "F3 pass"]
    assert play.session.finished and play.session.end_reason == "done"
    assert fold(again(play)).exit_status == 0


def test_steps_passed_over_come_back_in_the_plans_order() -> None:
    """From the first of four steps to the last: the first, second and third come back."""
    play = Play(confirm(id="a"), confirm(id="b"), confirm(id="c"), confirm(id="d"))(":to=d")
    assert open_now(play) == ["a", "b", "c"]
    play(":yes")
    assert [play.prompts[-1], open_now(play)] == ["confirm a", ["b", "c"]]
    assert play(":yes :yes :yes").ticks == ["d pass", "a pass", "b pass", "c pass"]
    assert play.session.finished
    assert play.notes[-1] == "before the end, left open: a; b; c"


def test_it_comes_back_as_often_as_it_is_left_and_quit_counts_it_open() -> None:
    """At the second look the step is left once more: it is asked again; quit ends, and the item is open."""
    play = Play(confirm(id="a"), confirm(id="b"))(":to=b :yes")
    assert play.prompts[-1] == "confirm a"
    play(":to=b")
    assert play.prompts[-1] == "confirm b"
    assert play(":yes").prompts[-1] == "confirm a"
    play(":quit")
    assert play.session.finished
    assert [each.item for each in fold(again(play)).open] == ["a"]
    assert fold(again(play)).exit_status == 1


def test_skip_at_the_second_look_leaves_it_unsure() -> None:
    """What is skipped when it comes back is decided: unsure, and the run ends."""
    play = Play(fuses(2), AFTER)(":to=after :yes :skip_step")
    assert play.ticks == ["after pass", "F1 unsure", "F2 unsure"]
    assert play.session.finished


def test_an_item_half_done_begins_anew() -> None:
    """One of a check's two contacts was there: after coming back two are needed again."""
    play = Play(check("R1", contacts=2), AFTER)("OL*3 9 100.0*4 OL*5 :to=after :yes")
    assert play.ticks == ["after pass"]
    play("OL*3 9 100.0*4 OL*5")
    assert play.ticks == ["after pass"]
    assert play("9 100.0*4").ticks == ["after pass", "R1 pass"]


def test_a_step_that_has_ended_begins_anew() -> None:
    """Everything in it was decided: all of it is asked for again, and a verdict replaces the earlier one."""
    play = Play(fuses(2), AFTER)(FIRST + GOOD * 2 + ":to=fuses")
    assert play.prompts[-1] == "probe F1"
    play("OL*3 " + GOOD * 2 + ":yes")
    assert play.ticks == ["F1 pass", "F2 pass", "F1 pass", "F2 pass", "after pass"]
    assert play.session.finished


@pytest.mark.parametrize(
    ("script", "says"),
    [
        (":to=fusess", "no step 'fusess': did you mean \"fuses\"?"),
        (":to=rails", "no step 'rails': there are fuses, after"),
        (":to=fuses", "fuses is the step at hand"),
        (":at=F22", "no item 'F22': did you mean \"F2\"?; this step has F1 to F3"),
        (":at=xyz", "no item 'xyz'"),
        (":at=fuses/F9", "no item 'fuses/F9': did you mean \"fuses/F3\"?"),
    ],
)
def test_a_place_that_is_none_is_refused_with_the_nearest_spelling(script: str, says: str) -> None:
    """The question stays, and nothing is left."""
    play = Play(fuses(3), AFTER)(FIRST)
    assert play.since(script) == ["note"]
    assert play.notes[-1].startswith(says.split("?")[0])
    assert open_now(play) == []


def test_steps_that_were_not_chosen_are_no_places() -> None:
    """`--steps` leaves the others out for this run."""
    play = Play(fuses(2), AFTER, options={"steps": ["fuses"]})(":to=after")
    assert play.notes[-1].startswith("no step 'after'")


def test_what_was_left_open_is_there_for_whoever_shows_it() -> None:
    """As data, in the plan's order, the step at hand left out; and in the view of that moment."""
    play = Play(fuses(3), confirm(id="a"), AFTER)(FIRST + GOOD + ":to=after")
    facts = play.session.facts()
    assert facts is not None
    assert [(left.step, left.items) for left in facts.left_open] == [("fuses", ("F2", "F3")), ("a", ("a",))]
    view = advance(begin(play.record), None, [], facts)
    assert view.left_open == facts.left_open
    later = play(":to=a").session.facts()
    assert later is not None
    assert [left.step for left in later.left_open] == ["fuses", "after"]


def test_case_and_spaces_do_not_matter() -> None:
    """As lines are said."""
    assert Play(fuses(2), AFTER)(":to=_AFTER_").prompts[-1] == "confirm after"
    assert Play(AFTER, fuses(2))(":at=_f2_").prompts[-1] == "probe F2"


# --- at ITEM of any step


def test_at_goes_to_an_item_of_another_step_first_and_then_to_the_others() -> None:
    """F2 first, then what else is open there in order; the step left behind comes back."""
    play = Play(AFTER, fuses(3))(":at=F2")
    assert play.prompts[-1] == "probe F2"
    assert play.prompts.count("probe F1") == 0
    play("OL*3 " + GOOD)
    assert play.prompts[-1] == "probe F1"
    play(GOOD * 2)
    assert play.ticks == ["F2 pass", "F1 pass", "F3 pass"]
    assert play.prompts[-1] == "confirm after"


def test_at_a_decided_item_measures_it_alone() -> None:
    """F2 of an ended sweep: only it is asked for again."""
    play = Play(fuses(3), AFTER)(FIRST + GOOD * 3 + ":at=F2")
    assert play.prompts[-1] == "probe F2"
    assert open_now(play) == ["after"] or play.session.left_open == ()
    play("OL*3 9 5.0*4 OL*5 9 5.0*4 OL*5")
    assert play.ticks[-1] == "F2 fail"
    assert play.prompts[-1] == "confirm after"
    assert play(":yes").session.finished


def test_a_name_that_repeats_needs_its_step() -> None:
    """Two other steps have it: both ways are named, and each leads there; the step at hand is looked at first."""
    two = Play(AFTER, fuses(2), fuses(2, id="again"))
    assert two.since(":at=F2") == ["note"]
    assert two.notes[-1] == "F2 is in more than one step: fuses/F2 or again/F2"
    assert two(":at=again/F2").session.bench.step == "again"
    assert two.prompts[-1] == "probe F2"
    assert two(":at=F1").session.bench.step == "again"
    assert two.prompts[-1] == "probe F1"
    assert two(":at=fuses/F1").session.bench.step == "fuses"


@pytest.mark.parametrize(
    ("step", "item", "prompt"),
    [
        (CellStep(id="cells", items=(Item("BT1"), Item("BT2"))), "BT2", "probe BT2"),
        (ExerciseStep(id="cover", items=(Item("S1"), Item("S2")), presses=3), "S2", "probe S2"),
        (confirm(id="list", items=(Item("K1"), Item("K2"))), "K2", "confirm K2"),
        (volts("TP1", "TP2"), "TP2", "probe TP2"),
        (LAMP, "RV2", "probe RV1"),
        (safe("J1", "C12"), "C12", "probe dead"),
        (zero(), "leads", "short leads"),
        (TrialsStep(id="starts", runs=3), "starts", "answer starts"),
    ],
    ids=lambda each: getattr(each, "id", None),
)
def test_at_reaches_every_kind_of_step(step: object, item: str, prompt: str) -> None:
    """Kinds with an order of their own (proof, as found) keep to it; the others begin with the item."""
    play = Play(AFTER, step)(f":at={item}")  # type: ignore[arg-type]
    assert prompt in play.prompts[1:]
    assert play.session.bench.step != "after"
    assert open_now(play) == ["after"]


@pytest.mark.parametrize("name", [name for name in SITUATIONS if "two" not in name])
def test_every_state_takes_to_and_at_and_comes_back(name: str) -> None:
    """Wherever a step stands, it can be left and is asked for again, and the same records come out of a replay."""
    make, scripts = SITUATIONS[name]
    for script in scripts:
        play = Play(make(), AFTER)(script)
        if play.machine.step.id == "after":
            continue
        here = play.machine.step.id
        for word in (":to=after", ":at=after"):
            trial = copy.deepcopy(play)(f"+1 {word}")
            assert trial.prompts[-1] in ("confirm after", "answer after"), (script, word)
            trial(":yes")
            assert not trial.session.finished, (script, word)
            assert trial.session.bench.step == here, (script, word)
            again(trial)


def test_two_trimmers_are_turned_again_when_the_step_is_left_between() -> None:
    """They interact: RV1 was turned, then the step was left; both are turned anew, as found stays the first."""
    play = Play(LAMP, AFTER)("OL*4 120.0*3 OL*5 90.0*3 OL*5 120.0*2 100.0*16 OL*5 :to=after :yes")
    assert play.prompts[-1] == "probe RV1"
    found = {key: judged.value for key, judged in play.session.bench.as_found.items()}
    assert found == {("lamp", "RV1"): 120.0, ("lamp", "RV2"): 90.0}
    assert play.ticks == ["after pass"]


def test_at_a_trimmer_of_an_ended_step_turns_it_again() -> None:
    """It passed; it alone is asked for again, and judged anew."""
    play = Play(RV, AFTER, rate=5.0)("OL*6 120.0*5 100.0*40 OL*6 :at=RV1")
    assert play.ticks == ["RV1 pass"]
    assert (play.prompts[-1], play.machine.state) == ("probe RV1", "turn")
    play("+1 OL*6 90.0 101.0*40")
    assert play.ticks == ["RV1 pass", "RV1 pass"]
    assert play.verdicts["RV1"].as_left == 101.0


def test_at_a_trimmer_turns_it_first_once_all_are_read() -> None:
    """As found of both, in the plan's order; then RV2 before RV1."""
    play = Play(AFTER, LAMP)(":at=RV2 OL*4 120.0*3 OL*5 90.0*3 OL*5")
    assert play.prompts[-3:] == ["probe RV1", "probe RV2", "probe RV2"]
    assert (play.machine.item, play.machine.state) == ("RV2", "turn")


def test_an_item_that_was_gone_to_and_skipped_waits_for_the_second_look() -> None:
    """The others come first."""
    play = Play(AFTER, fuses(3))(":at=F2 OL*3 :skip")
    assert play.prompts[-1] == "probe F1"


def test_a_check_that_is_left_is_judged_with_the_spread_that_is_known_by_then() -> None:
    """Four items touched twice: 0.2 Ω between the contacts of one shows in the U of all four, as at the step's end."""
    step = check("R1", "R2", "R3", "R4", "R5", contacts=1)
    touches = "OL*3 9 100.0*4 OL*5 9 100.2*4 OL*5 " + "9 100.0*4 OL*5 9 100.0*4 OL*5 " * 3
    play = Play(step, AFTER)(touches)
    assert play.ticks == ["R1 pass", "R2 pass", "R3 pass", "R4 pass"]
    play(":to=after")
    assert play.ticks[4:] == ["R1 pass", "R2 pass", "R3 pass"]
    again(play(":yes"))


# --- tokens on the mat


def test_tokens_are_learned_before_ohms_wherever_the_operator_goes() -> None:
    """Gone to a sweep, the token is asked for first, then the sweep; left before it was touched, it is asked again."""
    steps = (AFTER, fuses(2), confirm(id="last"))
    plan = to_builtins(Plan(title="t", steps=steps, supply="none", tokens={"open": 143.0}))
    play = Play(*steps, plan=plan)(":to=fuses")
    assert play.prompts[-1] == "probe open"
    play("OL*3 9 143.0*2 OL*5")
    assert play.prompts[-1] == "probe F1"
    early = Play(*steps, plan=plan)(":to=fuses :to=last :yes")
    assert early.prompts[-1] == "confirm after"
    assert early("+1 :yes").prompts[-1] == "probe open"
    again(early)


# --- leaving a trimmer past its limit, and counting what it did


def test_leaving_a_trimmer_past_its_limit_says_so_first_and_writes_the_excursion() -> None:
    """The alarm and the sentence stand before the next step's prompt; the count of excursions goes on after."""
    play = Play(RV, AFTER, rate=5.0)("OL*6 120.0*5 100.0 80.0 60.0 45.0*10")
    before = len(play.out)
    play(":to=after")
    short = [type(outcome).__name__ for outcome in play.out[before:]]
    assert short.index("Excursion") < short.index("Prompt")
    assert "RV1 stands past its limit: 45.0 Ω, below 50 Ω" in play.notes[-2]
    play(":yes OL*6 100.0*60")
    assert play.verdicts["RV1"].excursions == len(play.of(Excursion)) == 1


# --- the count check


def test_a_count_check_left_unanswered_makes_its_group_unsure_and_it_comes_back() -> None:
    """Asked and not answered: nobody will ever know, so its fuses are unsure and are swept again."""
    play = Play(fuses(2, count_check=True), AFTER)(FIRST + GOOD * 2)
    assert play.prompts[-1] == "answer F2"
    play(":to=after")
    assert play.ticks[2:] == ["F1 unsure", "F2 unsure"]
    assert "count check not answered: the step was left" in play.verdicts["F1"].reason
    assert open_now(play) == ["fuses: F1, F2"]
    play(":yes OL*3 " + GOOD * 2 + ":yes")
    assert play.ticks[4:] == ["after pass", "F1 pass", "F2 pass"]
    assert play.session.finished
    assert fold(again(play)).exit_status == 0


def test_what_a_no_made_unsure_comes_back_where_its_offer_is_left() -> None:
    """Asked whether to sweep it again at once, the operator goes elsewhere."""
    play = Play(fuses(2, count_check=True), AFTER)(FIRST + GOOD * 2 + ":no :to=after")
    assert open_now(play) == ["fuses: F1, F2"]


def test_ticks_that_were_not_asked_about_yet_are_asked_about_first() -> None:
    """Left in the middle of a look: the count check is asked before anything else of its step."""
    play = Play(fuses(3, count_check=True), AFTER)(FIRST + GOOD + ":to=after :yes")
    assert play.prompts[-1] == "answer F1"
    assert "count check" in play.said
    play("+1 :yes OL*3 " + GOOD * 2 + ":yes")
    assert play.ticks == ["F1 pass", "after pass", "F2 pass", "F3 pass"]
    assert play.session.finished


# --- ohms by any route


@pytest.mark.parametrize("route", [":to=fuses", ":at=F1"])
def test_ohms_by_any_route_need_the_proof(route: str) -> None:
    """Before `safe`, and after a step with the power on: the block stands, says how to prove it, and nothing ticks."""
    play = Play(safe("C12"), fuses(1), AFTER)(route)
    assert "not proved dead" in play.said and "to dead" in play.said
    play("OL*4 " + GOOD)
    assert play.ticks == []
    play(":to=dead 1.52V*3 0.00V*3 +2 :yes 0.00V*2 0.00Vac +2 :yes 0.00Vac*2 0.00V 1.52V*3")
    assert "dead pass" in play.ticks
    play("OL*4 " + GOOD)
    assert "F1 pass" in play.ticks


def test_the_power_on_elsewhere_voids_the_proof() -> None:
    """Proved, then a powered step by `to`, then back: ohms are refused until the unit is proved dead again."""
    dead = "1.52V*3 0.00V*3 +2 :yes 0.00V*2 0.00Vac +2 :yes 0.00Vac*2 0.00V 1.52V*3 "
    play = Play(safe("C12"), fuses(1), confirm(id="hot", power="on"), AFTER)(dead + ":to=hot +1 :at=F1")
    assert "the unit has had power since it was last proved dead" in play.said
    play("OL*4 " + GOOD)
    assert "F1 pass" not in play.ticks


def test_a_proof_that_was_begun_again_and_left_is_none() -> None:
    """Whoever measures again whether it is dead does not know it: leaving that step leaves no proof."""
    dead = "1.52V*3 0.00V*3 +2 :yes 0.00V*2 0.00Vac +2 :yes 0.00Vac*2 0.00V 1.52V*3 "
    play = Play(safe("C12"), fuses(1), AFTER)(dead + "OL*4 :to=dead 1.52V*3 0.00V*3 12.00V*4 :to=fuses")
    assert "not proved dead" in play.said
    play("OL*4 " + GOOD)
    assert "F1 pass" not in play.ticks


# --- back over a border


def test_back_opens_the_last_item_of_the_step_before() -> None:
    """At the first fuse of the second sweep nothing is behind: the last of the first is measured again."""
    play = Play(fuses(2), fuses(2, id="more"), AFTER)(FIRST + GOOD * 2)
    assert play.session.bench.step == "more"
    play("+1 :back")
    assert (play.session.bench.step, play.prompts[-1]) == ("fuses", "probe F2")
    play("OL*3 9 5.0*4 OL*5 9 5.0*4 OL*5")
    assert play.ticks[-1] == "F2 fail"
    assert (play.session.bench.step, play.prompts[-1]) == ("more", "probe F1")


def test_back_twice_goes_on_through_steps_of_one_question() -> None:
    """Each confirm is one item: back, back."""
    play = Play(confirm(id="a"), confirm(id="b"), confirm(id="c"))(":yes :yes :back")
    assert play.prompts[-1] == "confirm b"
    play(":back")
    assert play.prompts[-1] == "confirm a"
    assert play(":yes :yes :yes").session.finished


def test_back_into_a_step_that_ended_at_a_later_steps_trimmer() -> None:
    """RV3's value as found is asked for in RV1's step; that step was skipped then: back opens RV1."""
    lamp = TuneStep(id="lamp", items=(Item("RV3"),), target=100.0, tolerance=2.0, unit="ohm")
    play = Play(RV, lamp, rate=5.0)("OL*6 120.0*5 OL*6 :skip_step")
    assert play.session.bench.step == "lamp"
    play("+1 :back")
    assert play.session.bench.step == "bridge"
    assert (play.machine.item, play.machine.state) == ("RV3", "found")
    assert play.machine.undone == ("RV1",)


def test_back_stays_in_the_step_where_something_is_behind() -> None:
    """One fuse is ticked: back opens it, and no other step."""
    play = Play(confirm(id="a"), fuses(2))(":yes " + FIRST + GOOD + ":back")
    assert (play.session.bench.step, play.prompts[-1]) == ("fuses", "probe F1")


def test_back_before_anything_was_done_leads_nowhere() -> None:
    """The first item of the first step is asked for again."""
    play = Play(fuses(2))(FIRST + ":back")
    assert play.prompts == ["probe F1", "probe F1"]


def test_a_late_back_leads_over_no_border() -> None:
    """The key came with the new step's prompt."""
    play = Play(confirm(id="a"), confirm(id="b"))(":yes")
    play.feed(Operator(at(play.t_s + 0.1), "back", "", "key"))
    assert play.session.bench.step == "b"
    assert "came with a new prompt" in play.notes[-1]


# --- interludes, tokens, waits


def test_moves_end_an_interlude_without_a_verdict() -> None:
    """Probing R77, the operator goes on with F2, or to another step."""
    play = Play(fuses(2), AFTER)("OL*3 :probe=R77 :at=F2")
    assert play.prompts[-1] == "probe F2"
    play = Play(fuses(2), AFTER)("OL*3 :probe=R77 :to=fuses")
    assert play.prompts[-1] == "probe F1"
    play = Play(fuses(2), AFTER)("OL*3 :probe=R77 :to=after")
    assert play.prompts[-1] == "confirm after"
    assert "R77" not in play.verdicts


def test_a_step_is_left_out_of_an_interlude_as_it_is_left_otherwise() -> None:
    """The count check that the interlude kept waiting was never answered."""
    play = Play(fuses(2, count_check=True), AFTER)(FIRST + GOOD * 2 + ":probe=R77 :to=after")
    assert play.ticks == ["F1 pass", "F2 pass", "F1 unsure", "F2 unsure"]
    assert open_now(play) == ["fuses: F1, F2"]


def test_a_wait_runs_on_and_calls_when_it_is_over() -> None:
    """60 s of waiting, left after 10: at 60 it calls, once; who comes back sooner waits out the rest."""
    slow = confirm(id="clock", wait_s=60.0)
    play = Play(slow, confirm(id="a"), confirm(id="b"))(":yes +10 :to=a +49.9")
    assert "the wait is over" not in " ".join(play.notes)
    play("+0.2")
    assert play.notes[-1] == "clock: the wait is over: to clock"
    assert play("+99").notes.count("clock: the wait is over: to clock") == 1
    play(":to=clock")
    assert play.prompts[-1] == "confirm clock"
    early = Play(slow, confirm(id="a"))(":yes +10 :to=a +5 :to=clock")
    assert early.prompts[-1] == "wait clock"
    assert early.machine.deadline_s == 60.0
    assert early("+45.1").prompts[-1] == "confirm clock"
    again(play), again(early)


def test_a_start_that_was_taken_back_stays_taken_back_where_the_step_is_left() -> None:
    """Two starts, one taken back, another step, and back: one is counted."""
    play = Play(TrialsStep(id="starts", runs=5), AFTER)(":pass +2 :fail +2 :back :to=after :yes")
    assert play.session.bench.step == "starts"
    assert "run 2 of 5: 0 failed so far" in play.said


def test_say_tells_what_was_left_open() -> None:
    """Where we are, and what comes back."""
    play = Play(fuses(3), AFTER)(FIRST + GOOD + ":to=after :say")
    assert "left open: fuses: F2, F3" in play.notes[-1]


@pytest.mark.parametrize("source", ["key", "pedal", "line", "page"])
def test_to_and_at_name_their_place_whenever_they_come(source: str) -> None:
    """No prompt can be mistaken for what they are about."""
    play = Play(fuses(2), AFTER)(FIRST + "9 0.2*2")
    play.feed(Operator(at(play.t_s + 0.05), "to", "after", source))
    assert play.prompts[-1] == "confirm after"


def test_a_session_that_goes_on_takes_up_what_was_left_open() -> None:
    """Cut off in the last step with fuses left: --continue asks for what has no verdict, in the plan's order."""
    play = Play(fuses(3), confirm(id="a"), AFTER)(FIRST + GOOD + ":to=after")
    handed = inherited_from(play.session.bench, "continue", "s0").as_builtins()
    later = Play(fuses(3), confirm(id="a"), AFTER, inherited=handed)
    assert later.prompts[-1] == "probe F2"
    later("OL*3 " + GOOD * 2 + ":yes :yes")
    assert later.session.finished
    assert later.ticks == ["F1 pass", "F2 pass", "F3 pass", "a pass", "after pass"]
