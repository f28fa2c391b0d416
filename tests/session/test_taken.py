"""What a unit's next session in a job takes over, and what it says of the other units."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from metercap.plankeys import Item, StepBase, TrialsStep, TuneStep
from metercap.records import Cue, CueKind, InJob, Note, VerdictKind
from metercap.session.inherit import Inherited
from metercap.session.taken import Left, Nulled, is_discharge, nulled, taken_over
from tests.steps.bench_play import Play, check, confirm, fuses, safe, volts, zero

PROOF = "1.52V*3 0.00V*3 +2 :yes 0.00V*2 0.00Vac +2 :yes 0.00Vac*2 0.00V 1.52V*3 "
NULL = "OL*6 0.2*4 "
FUSE = "OL*6 9 0.2*3 OL*6 "
JOB = InJob("vent pair", 1, ("L", "R"))
DISCHARGE = confirm(id="discharge", wait_s=600.0)
CLOCK = confirm(id="clock", wait_s=900.0, power="on")
ASKED = "unplugged, and nothing connected since"


def play(*steps: StepBase, tag: str = "L", **more: Any) -> Play:
    """Return a session in the job."""
    return Play(*steps, rate=5.0, tag=tag, job=JOB, **more)


def left(before: Play, away_s: float, *, here: bool = True) -> Left:
    """Return how a unit was left `away_s` before the next session begins."""
    return Left(before.session, before.record.id, before.session.bench.verdicts, -before.t_s - away_s, here)


def taken(
    before: Play,
    *steps: StepBase,
    away_s: float = 60.0,
    here: bool = True,
    null: bool = True,
    others: dict[str, Left] | None = None,
) -> Play:
    """Return the session in which the unit is taken again."""
    shared = nulled(before.session, before.record.id) if here and null else None
    handed = taken_over(left(before, away_s, here=here), steps, others or {}, shared)
    return play(*steps, inherited=handed.as_builtins())


def first_time(*steps: StepBase, null: Nulled | None = None, others: dict[str, Left] | None = None) -> Play:
    """Return the first session of R."""
    return play(*steps, tag="R", inherited=taken_over(None, steps, others or {}, null).as_builtins())


# --- verdicts


def test_what_is_decided_stands_and_unsure_comes_back_when_nothing_else_is_open() -> None:
    """F1 was given up: while F2 is open it is not asked for again, and when F2 is done too it is."""
    steps = (confirm(), fuses(2))
    before = play(*steps)("OL*6 :yes :skip OL*6 :take=R")
    assert before.session.end_reason == "parked"
    half = taken(before, *steps)
    assert half.prompts == ["probe F1"]  # skipped once is no verdict: an item half done begins anew
    half("OL*8 :skip :skip :skip :skip")
    assert [v.verdict for v in half.verdicts.values()] == ["pass", "unsure", "unsure"]
    later = play(confirm(), fuses(1), confirm(id="more"))("OL*6 :yes :skip :skip :take=R")
    assert later.verdicts["F1"].verdict is VerdictKind.UNSURE
    on = taken(later, confirm(), fuses(1), confirm(id="more"))
    assert on.prompts == ["confirm more"]
    on(":yes +1 :no")
    assert taken(on, confirm(), fuses(1), confirm(id="more")).prompts[0] == "probe F1"


def test_starts_that_failed_come_back_when_nothing_else_is_open() -> None:
    """Not fixed stands until another fix: it is asked about last."""
    trials = TrialsStep(id="starts", runs=3, power="on")
    before = play(trials, confirm(), confirm(id="more"))("+1 :fail +1 :fixed=relay +1 :fail +1 :no +1 :yes :take=R")
    assert before.verdicts["starts"].verdict is VerdictKind.FAIL
    on = taken(before, trials, confirm(), confirm(id="more"))
    assert on.prompts == ["confirm more"]
    assert "starts" in taken(on(":yes"), trials, confirm(), confirm(id="more")).prompts[0]


def test_a_step_that_the_plan_has_changed_is_asked_anew() -> None:
    """Its verdict was given under other limits; that of a step that is the same stands."""
    before = play(fuses(1), confirm())("OL*6 :absent :yes")
    other = msgspec.structs.replace(fuses(1), max=5.0)
    assert [v.item for v in taken(before, other, confirm()).verdicts.values()] == ["battery out"]


def test_as_found_targets_and_counts_come_along() -> None:
    """A trimmer's value as found is never read again, and a target that was said is not asked for again."""
    bridge = TuneStep(id="bridge", items=(Item("RV1"),), target="reference", tolerance_share=0.01, unit="ohm")
    before = play(bridge)("OL*6 1.860k*4 :target=1.5_kohm :yes OL*6 :take=R")
    assert before.session.bench.targets == {("bridge", "RV1"): 1500.0}
    on = taken(before, bridge)
    assert on.session.bench.targets == before.session.bench.targets
    assert on.session.bench.as_found.keys() == before.session.bench.as_found.keys() == {("bridge", "RV1")}
    assert on.prompts == ["probe RV1"]


# --- leads


def test_the_lead_null_holds_for_the_other_unit_in_this_run_of_the_program() -> None:
    """R is not asked for it, and its values have it taken off; a new start asks for it."""
    before = play(zero(), fuses(1))(NULL + ":take=R")
    null = nulled(before.session, "s1")
    right = first_time(zero(), fuses(1), null=null)
    assert right.prompts == ["probe F1"]
    right(FUSE)
    assert right.verdicts["F1"].value == 0.0  # 0.2 shown, 0.2 of the leads
    assert first_time(zero(), fuses(1)).prompts == ["short leads"]
    assert taken(before, zero(), fuses(1), here=False).prompts == ["short leads"]


def test_the_last_null_of_a_plan_is_still_taken() -> None:
    """It shows what the leads did since."""
    after = msgspec.structs.replace(zero(), id="after")
    before = play(zero(), fuses(1), after)(NULL + ":take=R")
    right = first_time(zero(), fuses(1), after, null=nulled(before.session, "s1"))
    right(FUSE + ":yes OL*6")
    assert right.prompts[-1] == "short after"


def test_both_nulls_stand_while_ohms_are_open() -> None:
    """Within one run neither is asked for again; a unit that was never nulled takes the null from the other one."""
    after = msgspec.structs.replace(zero(), id="after")
    before = play(zero(), after, fuses(1))(NULL + "OL*6 9 0.2*4 OL*6 :take=R")
    assert [verdict.item for verdict in before.verdicts.values()] == ["leads", "after"]
    assert taken(before, zero(), after, fuses(1)).prompts == ["probe F1"]
    bare = play(confirm(), zero(), fuses(1))(":yes")
    handed = taken_over(left(bare, 60.0, here=False), (confirm(), zero(), fuses(1)), {}, nulled(before.session, "s1"))
    assert play(confirm(), zero(), fuses(1), inherited=handed.as_builtins()).prompts == ["probe F1"]


def test_a_count_check_asks_only_about_what_the_file_holds() -> None:
    """F2's frames are there, its verdict is not: nobody heard its tick, so only F1 is asked about."""
    counted = msgspec.structs.replace(fuses(3), count_check=True)
    before = play(counted)(FUSE + FUSE)
    assert before.session.bench.uncounted["fuses"].ticked == ("F1", "F2")
    cut = {key: verdict for key, verdict in before.session.bench.verdicts.items() if key[1] == "F1"}
    lost = msgspec.structs.replace(left(before, 1.0, here=False), standing=cut)
    handed = taken_over(lost, (counted,), {}, None)
    assert handed.uncounted["fuses"].ticked == handed.uncounted["fuses"].since == ("F1",)
    none = taken_over(msgspec.structs.replace(lost, standing={}), (counted,), {}, None)
    assert none.uncounted == {} and none.verdicts == ()


# --- proof of being dead


def proved(*more: StepBase) -> Play:
    """Return a session in which C12 was proved dead, then these words."""
    return play(safe("C12"), fuses(1), *more)(PROOF)


def test_by_a_word_and_one_touch_within_half_an_hour() -> None:
    """Yes, then dead at the first point: ohms may be measured."""
    on = taken(proved()("OL*3 :take=R"), safe("C12"), fuses(1))
    assert ASKED in on.said and "1 min" in on.said
    on("0.00V*2 :yes")
    assert on.prompts[-1] == "answer C12"
    on("0.00V*3 +2 :yes 0.00V*2")
    assert on.verdicts["dead"].verdict is VerdictKind.PASS
    assert "by the operator's word" in on.verdicts["dead"].reason
    on("OL*3")
    assert on.prompts[-1] == "probe F1"
    assert on(FUSE).verdicts["F1"].verdict is VerdictKind.PASS


@pytest.mark.parametrize("words", [":no", ":skip", ":yes 0.00V :no", ":yes 0.00V :skip", ":yes 0.00V :absent"])
def test_anything_but_yes_leads_to_the_whole_proof(words: str) -> None:
    """The source is asked for, and only the whole of it proves the unit dead."""
    on = taken(proved()("OL*3 :take=R"), safe("C12"), fuses(1))(words)
    assert on.prompts[-1] == "probe dead"
    on(PROOF)
    assert on.verdicts["dead"].reason.startswith("meter proved on a live source before and after")


def test_a_voltage_at_the_touch_leads_to_the_whole_proof() -> None:
    """It says that something was connected: dead again is not enough."""
    on = taken(proved()("OL*3 :take=R"), safe("C12"), fuses(1))(":yes 0.00V*3 +2 5.00V*4")
    assert "stop C12" in on.cues and "it is live" in on.said
    on("0.00V*4")
    assert on.prompts[-1] == "probe dead"
    other = taken(proved()("OL*3 :take=R"), safe("C12"), fuses(1))(":yes 0.00V*3 +2 :yes 5.00V*4 0.00V*4")
    assert other.prompts[-1] == "probe dead" and "dead" not in other.verdicts


@pytest.mark.parametrize(
    ("steps", "script", "away_s", "here", "why"),
    [
        ((), "OL*3", 1801.0, True, "half an hour is over"),
        ((), "OL*3", 60.0, False, "the program was started anew"),
        ((confirm(id="on", power="on"), check("K1")), FUSE + ":yes", 60.0, True, "it had power since"),
    ],
    ids=lambda value: value if isinstance(value, str) and " " in value else "",
)
def test_where_no_word_stands_for_it(
    steps: tuple[StepBase, ...], script: str, away_s: float, here: bool, why: str
) -> None:
    """The whole proof is asked for at once."""
    again = msgspec.structs.replace(safe("C12"), id="dead-again")
    plan = (safe("C12"), fuses(1), *steps[:1], *((again, *steps[1:]) if steps else ()))
    before = play(*plan)(PROOF + script + " :take=R")
    on = taken(before, *plan, away_s=away_s, here=here)
    assert ASKED not in on.said, why
    assert on.prompts[-1] in ("probe dead", "probe dead-again", "short leads", "confirm on")


def test_a_new_part_ends_it() -> None:
    """Whoever put one in connected something."""
    assert ASKED in taken(proved()("OL*3 :take=R"), safe("C12"), fuses(1)).said
    assert ASKED not in taken(proved()("OL*3 :replaced +1 :take=R"), safe("C12"), fuses(1)).said


def test_a_second_word_does_not_make_the_proof_younger() -> None:
    """Half an hour counts from the proof itself, however often it was taken up by a word."""
    plan = (safe("C12"), fuses(1))
    on = taken(proved()("OL*3 :take=R"), *plan, away_s=1200.0)("0.00V*2 :yes 0.00V*3 +2 :yes 0.00V*2 OL*3 :take=R")
    assert on.verdicts["dead"].verdict is VerdictKind.PASS
    assert ASKED not in taken(on, *plan, away_s=700.0).said
    assert ASKED in taken(on, *plan, away_s=100.0).said


def test_a_word_that_comes_too_late_is_none() -> None:
    """Half an hour passed while it was asked."""
    on = taken(proved()("OL*3 :take=R"), safe("C12"), fuses(1), away_s=1700.0)
    assert ASKED in on.said
    on("+200 :yes")
    assert on.prompts[-1] == "probe dead" and "too old" in on.notes[-1]


@pytest.mark.parametrize(
    "script",
    [
        ":yes 0.00V*3 +2 5.00V*4 +2 :yes 0.00V*3",  # live while it is watched, then a yes at a dead point
        ":yes 0.00V*3 +2 :yes 5.00V*4 +2 :yes 0.00V*3",  # live after the yes, then another
    ],
)
def test_no_yes_mends_a_voltage_that_was_seen(script: str) -> None:
    """Whatever is said after it, the whole proof is asked for."""
    on = taken(proved()("OL*3 :take=R"), safe("C12"), fuses(1))(script)
    assert on.prompts[-1] == "probe dead" and "dead" not in on.verdicts


def test_every_point_of_the_proof_stands_again() -> None:
    """The first is touched; the others stand as they were proved."""
    plan = (safe("C12", "C13"), fuses(1))
    dc, ac = "0.00V*2 +2 :yes 0.00V*2 ", "0.00Vac*2 +2 :yes 0.00Vac*2 "
    before = play(*plan)("1.52V*3 0.00V*3 " + 2 * dc + 2 * ac + "0.00V 1.52V*3 OL*3 :take=R")
    assert before.verdicts["dead"].verdict is VerdictKind.PASS
    on = taken(before, *plan)("0.00V*2 :yes 0.00V*3 +2 :yes 0.00V*2")
    assert {item: verdict.verdict for item, verdict in on.verdicts.items()} == dict.fromkeys(
        ("C12", "C13", "dead"), VerdictKind.PASS
    )


def test_a_voltage_met_in_ohms_ends_the_proof() -> None:
    """Falling below zero ohms, only a voltage in the circuit can bring that: it was connected after all."""
    before = proved()("OL*8 9 -5.0*4")
    assert any(cue.startswith("stop") for cue in before.cues)
    assert ASKED not in taken(before("OL*3 :take=R"), safe("C12"), fuses(1)).said


# --- waits


def test_the_units_own_wait_calls_while_another_step_is_at_hand() -> None:
    """The clock was left waiting for the fuses; taken again before and after its end, it calls, once."""
    before = play(CLOCK, fuses(1))(":yes +100 :to=fuses OL*3 :take=R")
    on = taken(before, CLOCK, fuses(1), away_s=0.0)
    assert on.prompts == ["wait clock"]  # what is open comes in the plan's order, the wait first
    on(":to=fuses OL*3 +900")
    assert on.notes.count("clock: the wait is over: to clock") == 1
    over = taken(before, CLOCK, fuses(1), away_s=1000.0)
    assert over.prompts == ["confirm clock"] and over("+5").notes.count("clock: the wait is over: to clock") == 0


def test_a_wait_goes_on_elsewhere_and_calls_with_the_tag() -> None:
    """L waits 600 s for its discharge; 100 s later R is on the mat, and 500 s into R's session L is called."""
    before = play(DISCHARGE, safe("C12"), fuses(1))(":yes +100 :take=R")
    right = first_time(confirm(), others={"L": left(before, 0.0)})
    right("+499")
    assert not [note for note in right.notes if "L:" in note]
    right("+2")
    note = right.of(Note)[-1]
    assert note.t_s == pytest.approx(500.0) and note.aloud is True
    assert note.text == "L: the wait of discharge is over: take L"
    assert [cue.cue for cue in right.of(Cue)] == [CueKind.WAITING]


def test_the_units_own_wait_goes_on_in_its_own_time() -> None:
    """Taken again 200 s later, 300 s of the 600 are left; after that the question is asked."""
    before = play(DISCHARGE, fuses(1))(":yes +100 :take=R")
    on = taken(before, DISCHARGE, fuses(1), away_s=200.0)
    assert on.prompts == ["wait discharge"]
    on("+299")
    assert on.prompts == ["wait discharge"]
    on("+2")
    assert on.prompts == ["wait discharge", "confirm discharge"]
    over = taken(before, DISCHARGE, fuses(1), away_s=700.0)
    assert over.prompts == ["confirm discharge"]


def test_after_a_new_start_a_discharge_begins_anew_and_a_clock_waits_on() -> None:
    """Nobody saw the resistor stay on; a clock that keeps its time does so whether the program runs or not."""
    plan = (DISCHARGE, safe("C12"), fuses(1))
    assert is_discharge(plan, "discharge")
    assert taken(play(*plan)(":yes +100"), *plan, here=False).said.endswith("begun? yes starts the wait of 10 min")
    assert not is_discharge((CLOCK, volts("TP1")), "clock")
    on = taken(play(CLOCK, volts("TP1"))(":yes +100"), CLOCK, volts("TP1"), away_s=300.0, here=False)
    assert on.prompts == ["wait clock"]
    assert on("+501").prompts == ["wait clock", "confirm clock"]


def test_what_was_called_is_not_called_again() -> None:
    """Over before this session began, in the same run: it was called then. After a new start nobody called it."""
    before = play(CLOCK)(":yes +100 :take=R")
    assert first_time(confirm(), others={"L": left(before, 1000.0)}).session.deadline_s is None
    new = first_time(confirm(), others={"L": left(before, 1000.0, here=False)})
    assert new("+1").notes[-1] == "L: the wait of clock is over: take L"


# --- a trimmer past its limit


def test_a_trimmer_past_its_limit_on_another_unit_is_said() -> None:
    """RV1 of L stands below 1.2 kΩ: R's session begins with it, aloud, with the tag."""
    bridge = TuneStep(
        id="bridge", items=(Item("RV1"),), target=1500.0, tolerance_share=0.01, unit="ohm", never_below=1200.0
    )
    before = play(bridge, confirm())("OL*6 1.500k*6 1.300k 1.250k 1.150k*4 :take=R")
    assert "RV1 stands past its limit" in before.notes[-1]  # what leaves it says so first
    right = first_time(confirm(), others={"L": left(before, 0.0)})
    said = [note.text for note in right.of(Note) if note.aloud is True]
    begins = "L: measure RV1 before L has power: RV1 stands past its limit: 1.15"  # what to do is within 80 columns
    assert any(text.startswith(begins) for text in said), said
    assert taken(before, bridge, confirm()).session.bench.standing.keys() == {"RV1"}


# --- words


def test_take_without_a_job_parks_nothing() -> None:
    """Nor does the tag of the unit on the mat, or one that the job has not."""
    alone = Play(confirm(), tag="L")(":take=R")
    assert not alone.session.finished and "of no job" in alone.notes[-1]
    here = play(confirm())(":take=l")
    assert not here.session.finished and here.notes[-1] == "take l: L is on the mat already"
    other = play(confirm())(":take=Q")
    assert not other.session.finished and "no unit 'Q' in this job: L, R" in other.notes[-1]
    gone = play(confirm())(":take=r")
    assert gone.session.finished and gone.session.seat.taken == "R" and gone.session.end_reason == "parked"


def test_the_end_of_a_unit_asks_for_the_next() -> None:
    """A yes takes it; a no ends; where nothing else is open there is no question."""
    open_too = InJob("vent pair", 1, ("L", "R", "S"), ("S",))
    asked = Play(confirm(), tag="L", job=open_too)(":yes")
    assert asked.prompts[-1] == "confirm job" and "yes takes S" in asked.said
    asked(":yes")
    assert (asked.session.finished, asked.session.end_reason, asked.session.seat.taken) == (True, "parked", "S")
    ended = Play(confirm(), tag="L", job=open_too)(":yes :no")
    assert (ended.session.finished, ended.session.end_reason, ended.session.seat.taken) == (True, "done", "")
    assert play(confirm())("+1 :yes").session.finished


def test_the_form_in_a_first_record() -> None:
    """Whatever is handed on comes back from its JSON as it was."""
    before = proved(CLOCK)("OL*3 :take=R")
    handed = taken_over(left(before, 60.0), (safe("C12"), fuses(1), CLOCK), {"R": left(play(CLOCK)(":yes"), 1.0)}, None)
    assert Inherited.of(msgspec.json.decode(msgspec.json.encode(handed.as_builtins()))) == handed


def test_a_name_leaves_the_tag_of_a_unit_in_a_job() -> None:
    """The tag tells whose journal it is; outside a job it follows the name."""
    named = play(confirm())(":name=GC-8_0407 :again")
    assert named.said.startswith("L: ") and named.view.unit is not None
    assert (named.view.unit.name, named.view.unit.tag) == ("GC-8 0407", "L")
    assert Play(confirm(), tag="L")(":name=left :again").said.startswith("left: ")


def test_what_a_view_says_of_the_job() -> None:
    """Its title and tags, what other units wait for, and until the first touch that a unit has just arrived."""
    before = play(CLOCK)(":yes +100 :take=R")
    view = first_time(fuses(1), others={"L": left(before, 0.0)}).view
    assert view.unit is not None and (view.unit.job, view.unit.units) == ("vent pair", ("L", "R"))
    assert [(each.tag, each.waits) for each in view.elsewhere] == [("L", (("clock", 800.0),))]
    right = first_time(fuses(1))
    assert right.view.arrived and right("OL*8").view.arrived
    assert not right("9 0.2*3").view.arrived
    assert not Play(fuses(1)).view.arrived
