"""The view: the technician's question at each moment, and its answer."""

from __future__ import annotations

import re
from typing import Any, get_args

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.asks import Asks
from metercap.contact import Block
from metercap.order import Proposed, Ranked
from metercap.plan import Plan, to_builtins
from metercap.plankeys import Item, SweepStep
from metercap.quantity import Quantity
from metercap.reading import State
from metercap.records import (
    Contact,
    Cue,
    CueKind,
    Do,
    EndRecord,
    InJob,
    Lift,
    Link,
    LinkState,
    Note,
    Operator,
    Prompt,
    Reason,
    Record,
    Verdict,
    VerdictKind,
)
from metercap.screen.canvas import Canvas
from metercap.screen.face import face
from metercap.screen.hero import paint_hero
from metercap.screen.model import Face, Field, Path, Place, Span, Tone
from metercap.screen.pages import paint_list
from metercap.session.facts import Shown
from metercap.steps.facts import CellFacts, InForce, SafeFacts, WalkFacts, WiggleFacts, ZeroFacts
from metercap.view import View
from tests.screen.greenhouse import (
    STEPS,
    before_fuses,
    fold,
    ohms,
    scenes,
    session,
    sweep_to,
    tick,
    trimmer,
    tune,
    view_of,
)

SCENES = scenes()


def at(name: str) -> Face:
    return face(view_of(name))


@pytest.mark.parametrize(
    ("scene", "text", "lead"),
    [
        ("listen", "2.194", ""),
        ("ask", "supply and backup cell unplugged?", ""),
        ("safe", "supply input", ""),
        ("sweep", "F7", ""),
        ("contact", "F7", ""),
        ("tick", "F8", ""),
        ("fail", "F8", ""),
        ("lift", "LIFT", ""),
        ("again", "AGAIN", ""),
        ("dial", "DIAL Ω", ""),
        ("lost", "NO CABLE", ""),
        ("stop", "STOP", ""),
        ("last", "was the last tick on F12?", ""),
        ("exercise", "PRESS", ""),
        ("trials", "PASS OR FAIL?", ""),
        ("tune far", "116", "←"),  # 1616 is 116 from the target of 1500
        ("tune near", "53", "←"),
        ("tune in", "HANDS OFF", "✓"),
        ("tune over", "30", "→"),
        ("hazard", "TURN BACK", "→"),
        ("done", "F4", "✗"),
    ],
)
def test_hero(scene: str, text: str, lead: str) -> None:
    """The one thing that matters at each moment."""
    assert (at(scene).hero.text, at(scene).hero.lead) == (text, lead)


@pytest.mark.parametrize("scene", ["listen", "contact", "tune far", "tune near", "hazard", "exercise"])
def test_no_number_stands_as_live_while_the_meter_is_not_heard(scene: str) -> None:
    """The cable is pulled: the last value and the rate were shown on beside NO CABLE. An alarm stays, and says both."""
    before = face(fold(SCENES[scene]))
    shown = face(fold([*SCENES[scene], Link(899.0, LinkState.LOST, "pulled")]))
    assert any("/s" in line.text for line in before.status)
    said = [line.text for line in (*shown.status, *filter(None, [shown.aside]))]
    assert not any(re.search(r"\d (|k|M|m)(Ω|V)|/s$", text) for text in said), said
    assert shown.hero.text == ("TURN BACK" if scene == "hazard" else "NO CABLE")
    assert shown.alarm == (scene == "hazard")
    if scene == "hazard":
        assert shown.aside is not None and shown.aside.text == "NO CABLE"
    assert not isinstance(shown.ground, Field) or shown.ground.now is None


def test_after_the_end_nothing_is_said_of_a_meter_that_nobody_hears() -> None:
    """The last value, its rate and "cable ok" stood on, whatever became of the cable."""
    ended = face(fold([*SCENES["contact"], EndRecord(900.0, "quit", {}, "")]))
    said = [line.text for line in ended.status]
    assert not any("cable" in text or "/s" in text or "Ω" in text for text in said) and "journal ok" in said


def test_the_end_names_what_is_left() -> None:
    """What failed, what nobody can be sure of and what was not done, and no remark from before."""
    remark = Note(890.0, "smells of flux")
    bad = [Verdict(891.0, "fuses", "F7", VerdictKind.FAIL), Verdict(891.0, "fuses", "F9", VerdictKind.UNSURE)]
    shown = face(fold([*SCENES["sweep"], *bad, remark, EndRecord(900.0, "quit", {}, "")]))
    assert "failed: F4, F7" in shown.detail and "unsure: F9" in shown.detail
    assert "not done: " in shown.detail and "flux" not in shown.detail
    assert "F12" in shown.detail.partition("not done: ")[2]


@pytest.mark.parametrize(
    ("quantity", "text"),
    [(Quantity.VOLTAGE_DC, "supply input V DC SAY YES"), (Quantity.VOLTAGE_AC, "supply input V AC SAY YES")],
)
def test_proof_of_being_dead_is_asked_for_in_one_size(quantity: Quantity, text: str) -> None:
    """Place, quantity and what to say are all of the hero; none of it is small print, on a small screen neither."""
    asked = Prompt(5.0, "dead", "supply input", Do.ANSWER, "B: hold both tips on it, say yes", quantity)
    shown = face(fold([*SCENES["safe"], asked]))
    assert (shown.hero.text, shown.hero.unit) == (text, "")
    for columns, rows in ((80, 24), (120, 40), (200, 60)):
        canvas = Canvas(columns, rows)
        paint_hero(canvas, 2, rows - 10, shown, None)
        assert not any("YES" in "".join(row.chars) for row in canvas.rows), "drawn in letters, not written small"


def test_wait_ends_when_it_ends_however_late_it_is_asked_for_again() -> None:
    """The end of a wait is a field of its prompt: a prompt that is given again does not begin it anew."""
    again = Prompt(50.0, "drain", "drain", Do.WAIT, "wait", until_s=53.0)
    state = fold([again], view_of("wait"))
    assert face(state, now_s=50.0).hero.text == "0:03"


@pytest.mark.parametrize("part", ["before", "after"])
def test_the_live_source_is_named_large(part: str) -> None:
    """From the plan, whatever words the prompt has."""
    own = SafeFacts(part=part, source="a fresh 1.5 V cell", quantity=Quantity.VOLTAGE_DC)  # type: ignore[arg-type]
    shown = face(fold([session(), Prompt(1.0, "dead", "dead", Do.PROBE, "B: go on")], own=own))
    assert shown.hero.text == "probe a fresh 1.5 V cell"


def test_a_lift_that_has_begun_is_not_asked_for_again() -> None:
    """Off after a lift cue: stay off, in a light pen, until the go; back on, it is lift once more."""
    off = [*SCENES["lift"], ohms(42.5, None), Lift(42.5, "fuses", "F7")]
    shown = face(fold(off))
    assert (shown.hero.text, shown.hero.armed) == ("STAY OFF", False)
    assert shown.next.text.startswith("off; stay off")
    on = [*off, ohms(43.0, 0.33), Contact(43.0, "fuses", "F7", same=True), Cue(43.0, "fuses", "F8", CueKind.LIFT)]
    assert face(fold(on)).hero.text == "LIFT"
    assert face(fold([*off, ohms(44.0, None), Cue(44.0, "fuses", "F7", CueKind.GO)])).hero.text == "F8"


def test_a_reminder_is_over_when_something_else_happens() -> None:
    """Waiting is said until contact or the next prompt, even where a step has no contact of its own."""
    ask = [session(), Prompt(1.0, "lid switch", "S1", Do.PROBE, "B: S1: hold both tips across its contacts")]
    reminded = [*ask, Cue(11.0, "lid switch", "S1", CueKind.WAITING)]
    assert face(fold(reminded)).next.text.startswith("waiting at S1")  # type: ignore[arg-type]
    touched = [*reminded, Cue(12.0, "lid switch", "S1", CueKind.CONTACT)]
    assert face(fold(touched)).next.text.startswith("S1: hold")  # type: ignore[arg-type]
    pressed = [
        *reminded,
        Prompt(12.0, "lid switch", "S1", Do.RELEASE, "B: S1: release (1 of 20 presses done, 1 closed)"),
    ]
    assert face(fold(pressed)).next.text.startswith("S1: release")  # type: ignore[arg-type]


def test_in_the_band_nothing_more_is_asked_of_the_screwdriver() -> None:
    """Hands off is said large and small: the line does not go on to ask for turning."""
    assert at("tune in").next.text.startswith("in band: hands off")
    assert at("tune over").next.text.startswith("turn RV1")


@pytest.mark.parametrize(("n", "text"), [(1, "1 DROPOUT"), (2, "2 DROPOUTS")])
def test_dropouts_are_counted_as_such(n: int, text: str) -> None:
    """A wiggle that dropped out says how often."""
    own = WiggleFacts(watching=True, out=False, dropouts=n, longest_s=0.4, watch_s=15.0)
    shown = face(fold([session(), Prompt(1.0, "cable", "J3", Do.KEEP, "B: J3: flex it")], kind="wiggle", own=own))
    assert shown.aside is not None and shown.aside.text == text
    assert shown.hero.text == "FLEX"
    timed = msgspec.structs.replace(own, until_s=12.0)
    shown = face(
        fold([session(), Prompt(1.0, "cable", "J3", Do.KEEP, "B: J3: flex it")], kind="wiggle", own=timed), now_s=3.0
    )
    assert shown.hero.text == "FLEX 0:09"


def test_what_is_next_waits_for_the_go() -> None:
    """After a tick: lift first; off, wait for the go; then the item's own words."""
    lifted = [*SCENES["tick"], ohms(41.0, None), Lift(41.0, "fuses", "F7")]
    assert face(fold(SCENES["tick"])).next.text.startswith("lift, then F8")
    assert face(fold(lifted)).next.text.startswith("wait for go, then F8")
    assert face(fold([*lifted, Cue(42.0, "fuses", "F7", CueKind.GO)])).next.text.startswith("F8")


def test_steps_that_are_not_done_are_not_counted() -> None:
    """A session of some steps is as long as those."""
    record = session(options={"steps": ["leads", "fuses"]})
    shown = face(fold([record, Prompt(1.0, "fuses", "F1", Do.PROBE, "B: F1")]))
    assert shown.progress == "step 2 of 2"
    assert face(fold([session(options={"steps": []})], step="fuses")).progress == f"step 5 of {len(STEPS)}"


def test_tick_answers_both_questions() -> None:
    """Is it good: a mark with the value. Where next: the next item, in a light pen until the lift is certain."""
    shown = at("tick")
    assert shown.done is not None
    assert (shown.done.mark, shown.done.text, shown.done.tone) == ("✓", "F7 0.21 Ω", Tone.GOOD)
    assert not shown.hero.armed
    assert shown.next.text.startswith("lift, then F8")


def test_failure_says_why() -> None:
    """A verdict that is no pass carries its reason."""
    shown = at("fail")
    assert shown.done is not None and shown.done.mark == "✗"
    assert shown.detail == "F7: two contacts above the limit"


def test_path_marks_every_item() -> None:
    """Each stone says what is known of its item, and the current one is here."""
    ground = at("sweep").ground
    assert isinstance(ground, Path)
    assert [stone.place for stone in ground.stones] == [
        *[Place.PASS] * 3, Place.FAIL, Place.PASS, Place.SKIPPED, Place.HERE, *[Place.AHEAD] * 5,
    ]  # fmt: skip
    assert ground.here == 6


def test_k_of_n() -> None:
    """Presses so far, the missed one marked, and how many are left."""
    shown = at("exercise")
    assert shown.aside is not None and shown.aside.text == "10/20  ✓9"
    assert isinstance(shown.ground, Path)
    assert [stone.place for stone in shown.ground.stones][4:7] == [Place.PASS, Place.FAIL, Place.PASS]
    assert len(shown.ground.stones) == 20 and shown.ground.here == 10


def test_trials_count_words_and_begin_anew_after_a_fix() -> None:
    """Starts are counted by the words; a noted fix begins a new row, as long as the success run at 0.90, 95 %: 29."""
    shown = at("trials")
    assert shown.aside is not None and shown.aside.text == "3/3 26 MORE"
    assert isinstance(shown.ground, Path) and len(shown.ground.stones) == 29 and shown.ground.here == 3


def test_wait_counts_down() -> None:
    """A timed wait shows the time left and how much has passed; it never goes below nothing."""
    state = view_of("wait")
    shown = face(state, now_s=46.0)
    assert shown.hero.text == "0:45"
    assert shown.ground == Span(0.5)
    assert face(state, now_s=400.0).hero.text == "0:00"


def test_a_trimmers_field_is_what_the_session_knows() -> None:
    """Band, proved part, hazard side, start, value and where it will stop are drawn as they are told."""
    ground = at("tune near").ground
    assert isinstance(ground, Field)
    assert (ground.low, ground.high, ground.now) == (1492.5, 1507.5, 1553.0)
    assert ground.facts == view_of("tune near").own
    assert face(view_of("tune near")).aside is not None
    assert face(fold([Lift(110.0, "bridge", "RV1")], view_of("tune near"))).aside is None


@pytest.mark.parametrize(
    ("value", "share"),
    [(1500.0, 0.5), (1507.5, 0.6), (1492.5, 0.4), (1e9, 1.0), (-1e9, 0.0)],
)
def test_the_band_takes_the_middle_fifth(value: float, share: float) -> None:
    """Drawn true inside the band, and everything is somewhere on the ground."""
    assert Field(trimmer(value), 1492.5, 1507.5, value).share(value) == pytest.approx(share)


def test_all_that_matters_is_on_the_ground() -> None:
    """Start and hazard limit stand inside the picture, in order."""
    field = Field(trimmer(1553.0), 1492.5, 1507.5, 1553.0)
    shares = [field.share(value) for value in (1200.0, 1492.5, 1507.5, 1553.0, 1618.0)]
    assert shares == sorted(shares) and shares[0] > 0.0 and shares[-1] < 1.0


def test_undo_aims_at_as_found() -> None:
    """After `undo` the band that the session tells is the one drawn."""
    ground = face(fold([], view_of("tune far"), own=trimmer(1560.0, target=1618.0))).ground
    assert isinstance(ground, Field) and (ground.low, ground.high) == (1610.5, 1625.5)


def test_nudge() -> None:
    """On a slow meter the stop cue while turning means hands still; it is no alarm."""
    shown = face(fold(tune([1618.0, 1560.0]), own=trimmer(1560.0), cue=CueKind.STOP))
    assert shown.hero.text == "STOP" and not shown.alarm
    assert shown.next.text.startswith("hands still")


def test_alarm() -> None:
    """Past a hazard limit and voltage in the circuit fill the screen; the way back is shown."""
    assert at("hazard").alarm and at("stop").alarm
    assert not at("back").alarm


def test_status_names_what_is_wrong() -> None:
    """Rate, meter, cable, journal, battery and HOLD: each is told, trouble first and marked."""
    state = fold([*sweep_to(1), ohms(40.0, 0.3, 0.01, "hold", "low_battery")])
    told = {line.text: line.tone for line in face(state, problem="no space left on the disk").status}
    said = face(fold([*sweep_to(1), Operator(31.0, "at", "F3")])).status[0]
    assert said.text == "heard: at F3"
    assert told["HOLD"] is Tone.BAD and told["battery low"] is Tone.BAD
    assert told["JOURNAL NOT ON DISK: no space left on the disk"] is Tone.BAD
    assert "journal ok" not in told and "cable ok" in told and "digits14" in told
    assert {line.text: line.tone for line in at("lost").status}["cable lost"] is Tone.BAD


def test_dial_always_names_the_jacks() -> None:
    """Leads in the volt/ohm jacks, never the current jack, at every dial prompt."""
    assert any("never in the current jack" in line for line in at("dial").cautions)


def test_words_that_mean_something_now() -> None:
    """Questions offer yes and no, items offer open, skip and absent, trimmers offer undo."""
    assert at("ask").words[:2] == ("yes", "no")
    assert {"open", "skip", "absent"} <= set(at("sweep").words)
    assert "undo" in at("tune far").words
    assert "open" not in at("wait").words and "open" not in at("dial").words
    assert "undo" not in face(fold([*SCENES["safe"], Prompt(6.0, "dead", "C12", Do.STOP, "B: it is live")])).words
    mend = [
        *SCENES["trials"],
        Prompt(500.0, "starts", "starts", Do.CONFIRM, "B: not fixed: mend it, then say fixed", asks=Asks.MENDED),
    ]
    assert face(fold(mend)).words[:2] == ("fixed", "no")


@pytest.mark.parametrize(("unit", "word"), [("V", "yes"), ("ohm", "open")])
def test_a_zero_is_confirmed_only_in_volts(unit: str, word: str) -> None:
    """A check in volts offers yes, since open tips read about zero; one in ohms offers open."""
    own = WalkFacts(limits=InForce(None, 1.0, unit, "guarded"))
    shown = face(fold([session(), Prompt(1.0, "some", "K1", Do.PROBE, "B: K1")], kind="check", own=own))
    assert shown.words[0] == word


def test_limits_in_force_and_where_it_is_stand_below() -> None:
    """As the session judges: the item's place, both tips', and the limits."""
    own = WalkFacts(limits=InForce(0.5, 2.0, "ohm", "simple"))
    place = Item("K1", where="by the relay", red="pin 1", black="pin 2")
    shown = face(fold([session(), Prompt(1.0, "some", "K1", Do.PROBE, "B: K1")], kind="check", own=own, place=place))
    assert shown.detail == "by the relay   red pin 1   black pin 2   500 mΩ to 2 Ω"


def test_hostile_text_is_escaped() -> None:
    """Escape sequences in plan, prompt, tag or reason are shown, never sent."""
    step = SweepStep(id="f\x1b[2J", items=(Item("F1\x1b]0;x\x07", where="\x1b"),), max=2.0, cautions=("\x9bA",))
    plan = to_builtins(Plan(title="\x1b", model="\x1b", steps=(step,), cautions=("\x9bB",)))
    state = fold(
        [
            session(tag="\x1b[31m", unit="u\x1b", plan=plan),
            Prompt(1.0, "f\x1b[2J", "F1\x1b]0;x\x07", Do.PROBE, "go\x1b[H"),
        ],
        place=step.items[0],
    )
    assert "\x1b" not in repr_of(face(state)) and "\x9b" not in repr_of(face(state))


def repr_of(shown: Face) -> str:
    import msgspec

    texts: list[str] = []

    def walk(value: object) -> None:
        if isinstance(value, str):
            texts.append(value)
        elif isinstance(value, list | tuple):
            for one in value:
                walk(one)
        elif isinstance(value, dict):
            for one in value.values():
                walk(one)

    walk(msgspec.to_builtins(shown))
    return "\n".join(texts)


@given(st.recursive(st.none() | st.booleans() | st.floats(allow_nan=False) | st.text(max_size=5),
                    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
                        st.sampled_from(["step", "items", "id", "kind", "name", "min", "wait_s", "presses"]), inner,
                        max_size=4), max_leaves=12))  # fmt: skip
def test_any_plan_is_read(plan: object) -> None:
    """Whatever a journal's first record holds as a plan, the screen shows what it can and never breaks."""
    record = session(plan=plan if isinstance(plan, dict) else {"step": plan})
    state = fold([record, Prompt(1.0, "x", "F1", Do.WAIT, "go"), ohms(2.0, 1.0)])
    assert face(state).hero.text


def test_every_prompt_kind_has_a_hero() -> None:
    """No kind of action leaves the screen without an answer, in any kind of step."""
    for step in STEPS:
        for do in Do:
            records: list[Record] = [*before_fuses(), Prompt(10.0, step.id, "F1", do, "B: do this (now)")]
            assert face(fold(records)).hero.text, (step.id, do)
            assert face(fold([*records, *tick(11.0, "F1", "")])).hero.text


def test_with_the_tips_in_the_air_nobody_is_told_to_turn() -> None:
    """Touch again, in the large word and in the line below, until the tips are on."""
    shown = face(fold([*tune([1618.0, 1560.0]), Lift(110.0, "bridge", "RV1")]))
    assert shown.hero.text == "TOUCH AGAIN"
    assert "touch RV1 again" in shown.next.text
    assert "TURN" not in shown.hero.text and "turn" not in shown.next.text


def test_a_trimmer_past_its_limit_is_named_wherever_the_hands_are_and_at_the_end() -> None:
    """The alarm while it is asked for, a line beside other items, the large word when the session is closed."""
    past = fold([*tune([1618.0, 1190.0]), Cue(104.0, "bridge", "RV1", CueKind.HAZARD, "below")])
    elsewhere = fold([Prompt(105.0, "starts", "starts", Do.ANSWER, "did it start?")], past)
    assert face(past).alarm and not face(elsewhere).alarm
    assert any("RV1 PAST ITS LIMIT" in line.text for line in face(elsewhere).status)
    closed = face(fold([EndRecord(106.0, "quit", {}, "0" * 64)], elsewhere))
    assert (closed.hero.text, closed.alarm) == ("RV1 PAST LIMIT", True)


@pytest.mark.parametrize("reason", get_args(Reason))
def test_every_way_to_end_is_shown(reason: Reason) -> None:
    """In one large word; a unit that was put aside is neither done nor stopped."""
    hero = face(fold([*sweep_to(12)[:1], EndRecord(106.0, reason, {}, "0" * 64)])).hero
    words = {"done": "DONE", "quit": "QUIT", "parked": "PARKED", "interrupted": "STOPPED", "fault": "FAULT"}
    assert hero.text == words[reason]


def cold(quantity: Quantity = Quantity.VOLTAGE_DC, **more: Any) -> Face:
    """Proving a unit dead: the point asked for, with what the step knows."""
    own = SafeFacts(part="point", source="a cell", quantity=quantity, **more)
    asked = Prompt(5.0, "dead", "C12", Do.ANSWER, "B: hold both tips on it, say yes", quantity)
    reading = Shown(5.0, quantity, State.OK, 0.003, 0.003, None, 0.001, "V")
    return face(fold([*SCENES["safe"], asked], kind="safe", own=own, item="C12", reading=reading))


def test_a_dead_point_shows_no_number_until_the_tips_are_known_to_be_there() -> None:
    """Open tips read about zero too, so a number would only look like an answer; the words are all of the hero."""
    assert cold().hero.text == "C12 V DC SAY YES" and cold().aside is None
    heard = cold(heard=True)
    assert heard.hero.text == "C12 V DC HOLD ON" and heard.aside is not None and heard.aside.text == "3 mV"
    live = cold(live=True)
    assert live.hero.text == "C12 IS LIVE" and live.hero.tone is Tone.ALARM


@pytest.mark.parametrize(
    ("ohm", "lead", "aside"), [(0.3, "", "DEAD"), (0.7, "✗", "CLEAN LEADS"), (4.2, "✗", "NO LEAD")]
)
def test_a_value_that_is_no_leads_looks_wrong_at_once(ohm: float, lead: str, aside: str) -> None:
    """Above half an ohm leads want cleaning, above one they are none (the step's own limits)."""
    own = ZeroFacts(warn_ohm=0.5, max_ohm=1.0)
    reading = Shown(9.0, Quantity.RESISTANCE, State.OK, ohm, ohm, None, 0.1, "ohm")
    records: list[Record] = [
        session(),
        Prompt(1.0, "leads", "leads", Do.SHORT, "B: tips together"),
        Contact(8.0, "leads", "leads"),
    ]
    shown = face(fold(records, kind="zero", own=own, reading=reading))
    assert (shown.hero.text, shown.hero.lead) == (f"{ohm:.1f}", lead)
    if lead:
        assert shown.aside is not None and shown.aside.text == aside and shown.hero.tone is Tone.BAD


def test_a_load_runs_down_in_seconds_and_says_which_cell() -> None:
    """Three seconds of load, one gone: two left, as minutes and seconds, with the cell's name and its voltage."""
    own = CellFacts(
        chemistry="lithium 3 V", volt=3.1, spent_volt=2.0, load_ohm=470.0, load_s=3.0, loaded=True, until_s=13.0
    )
    reading = Shown(11.0, Quantity.VOLTAGE_DC, State.OK, 2.96, 2.96, None, 0.001, "V")
    records: list[Record] = [
        session(),
        Prompt(10.0, "backup", "BT1", Do.KEEP, "B: BT1: keep on"),
        Contact(9.0, "backup", "BT1"),
    ]
    shown = face(fold(records, kind="cell", own=own, item="BT1", reading=reading), now_s=11.0)
    assert shown.hero.text == "LOAD 0:02"
    assert shown.aside is not None and shown.aside.text == "BT1 2.960 V"


def test_an_open_fuse_is_told_from_a_hand_that_is_slow() -> None:
    """Nothing was touched for as long as the plan allows: it is said in letters, beside the place."""
    waiting = [*SCENES["sweep"], Cue(60.0, "fuses", "F7", CueKind.WAITING)]
    shown = face(fold(waiting))
    assert shown.hero.text == "F7" and shown.aside is not None and shown.aside.text == "NO CONTACT YET"


def test_a_trimmers_number_is_said_to_be_the_way_that_is_left() -> None:
    """116 of 1500 ohm is 7.7 %; the value itself stands in the line below."""
    shown = at("tune far")
    assert shown.aside is not None and shown.aside.text == "TO GO 7.7 %"
    assert shown.detail.startswith("now 1.616 kΩ")


def test_a_hold_offers_no_word_that_would_write_a_verdict() -> None:
    """While HOLD stands, absent, open and the like are refused; none of them is offered."""
    block = Block("hold", Do.DIAL, "HOLD is on: press it off")
    shown = face(fold([*SCENES["sweep"], Prompt(60.0, "fuses", "F7", Do.DIAL, "B: HOLD is on")], block=block))
    assert not {"absent", "open", "yes", "pass", "fail"} & set(shown.words)


def test_another_unit_fills_the_screen_until_it_is_touched() -> None:
    """After `take R` its tag is the hero; the first touch, or a question answered, ends that."""
    record = msgspec.structs.replace(session(), tag="R", unit="R", job=InJob("pair", 2, ("L", "R")))
    asked: list[Record] = [record, Prompt(1.0, "fuses", "F1", Do.PROBE, "R: F1")]
    assert face(fold(asked)).hero.text == "R"
    assert face(fold([*asked, Note(2.0, "R is on the mat")])).hero.text == "R"
    assert face(fold([*asked, Contact(3.0, "fuses", "F1")])).hero.text != "R"
    assert face(fold([*asked, Operator(3.0, "yes")])).hero.text == "F1"


def test_the_list_shows_what_is_open_in_each_step() -> None:
    """Steps with their marks: what failed, what is open, where we are."""
    drawn = "\n".join(paint_list(80, 24, fold(SCENES["fail"]), 0).lines())
    assert re.search(r"▶ fuses +✗ F4 .*✗ F7 .*open: F6, F8, F9", drawn), drawn
    assert re.search(r"✓ unplugged", drawn)


def test_work_that_has_begun_takes_the_tags_place() -> None:
    """In volts no touch shows: what is asked of hands at work ends the arrival, and no verdict from before is shown."""
    record = msgspec.structs.replace(session(), tag="R", unit="R", job=InJob("pair", 2, ("L", "R")))
    before = Verdict(0.0, "leads", "leads", VerdictKind.PASS, value=0.2, unit="ohm", reason="from session 1")
    came: list[Record] = [record, before, Prompt(1.0, "dead", "dead", Do.PROBE, "R: probe a cell")]
    assert face(fold(came)).hero.text == "R" and face(fold(came)).done is None
    lifting: list[Record] = [*came, Prompt(5.0, "dead", "dead", Do.LIFT, "R: lift")]
    assert face(fold(lifting)).hero.text == "LIFT"


def test_a_refused_word_is_answered_where_what_is_next_stands() -> None:
    """Why, for 4 s, even where a block asks once more for what it asked for; then what is next stands there again."""
    asked = at("sweep").next.text
    why = "no step 'nowhere': there are intake and fuses"
    refused = [*SCENES["sweep"], Operator(900.0, "to", "nowhere", "key"), Note(900.0, why)]
    prompt = view_of("sweep").asked
    assert prompt is not None
    once_more: list[list[Record]] = [[], [msgspec.structs.replace(prompt, t_s=900.0)]]
    for more in once_more:
        shown = fold([*refused, *more])
        assert (face(shown, now_s=900.5).next.text, face(shown, now_s=903.9).next.text) == (why, why)
        assert face(shown, now_s=904.1).next.text == asked
    assert face(fold([*refused, Operator(901.0, "say")]), now_s=901.1).next.text == asked


def test_a_word_that_led_on_is_answered_by_what_is_asked_now() -> None:
    """A remark about the way there hides nothing, before the new prompt or after it; nor does the operator's own."""
    word, remark = Operator(900.0, "at", "F9", "key"), Note(900.0, "left open, and back before the end: leads")
    prompt = Prompt(900.0, "fuses", "F9", Do.PROBE, "B: probe F9 now")
    orders: list[list[Record]] = [[word, prompt, remark], [word, remark, prompt]]
    for records in orders:
        assert "probe F9 now" in face(fold([*SCENES["sweep"], *records]), now_s=900.1).next.text
    own = [*SCENES["sweep"], Operator(900.0, "note", "smells"), Note(900.0, "smells")]
    assert face(fold(own), now_s=900.1).next.text == at("sweep").next.text


def test_a_refusal_hides_no_alarm() -> None:
    """Past a hazard limit the way back stands there, whatever was said."""
    said = [*SCENES["hazard"], Operator(900.0, "to", "x", "key"), Note(900.0, "no step 'x'")]
    assert face(fold(said), now_s=900.1).next.tone is Tone.ALARM


@pytest.mark.parametrize("asks", [Asks.TARGET, Asks.TARGET_SAID, Asks.RULE, Asks.UNDO])
def test_no_question_takes_the_alarms_large_word(asks: Asks) -> None:
    """The trimmer stands past its limit whatever is asked; only of going there is asked on the alarm itself."""
    shown = face(fold([*SCENES["hazard"], Prompt(105.0, "bridge", "RV1", Do.ANSWER, "RV1: yes or no?", asks=asks)]))
    assert (shown.hero.text == "TURN BACK") == (asks is not Asks.UNDO)
    assert shown.alarm and shown.next.text == "RV1: yes or no?"


def test_where_no_reference_is_known_the_question_is_large() -> None:
    """What is asked, not only of which trimmer; the line below says how it is answered."""
    say = "B: RV1: no reference: take the good unit's tag and measure it there, or target and a value"
    shown = face(fold([session(), Prompt(1.0, "bridge", "RV1", Do.ANSWER, say, asks=Asks.TARGET)]))
    assert (shown.hero.text, shown.next.text[:17]) == ("TAKE OR TARGET?", "RV1: no reference")


def proposing(step: str = "bridge", target: str = "bridge") -> View:
    """The first fuse is asked for, and `step` is proposed, for the sake of `target`."""
    order = (Ranked(target, 0.3, 2.0), Ranked("backup", 0.5, 6.0))
    proposed = Proposed("it hums", step, target, f"{target} first: 30 %, two minutes, nothing to open", order, 8.0, 9.0)
    return msgspec.structs.replace(view_of("sweep"), proposed=proposed)


def test_what_is_proposed_stands_in_the_row_of_facts() -> None:
    """The word that takes it and its chance; nothing where the step at hand is the one."""
    assert "proposed: to bridge 30 %" in [line.text for line in face(proposing()).status]
    assert "proposed: to dead for bridge 30 %" in [line.text for line in face(proposing("dead")).status]
    assert not any("proposed" in line.text for line in face(proposing("fuses", "fuses")).status)


def test_the_list_of_steps_says_in_which_order_they_are_proposed() -> None:
    """Why, above; at each step its place, its chance and its minutes."""
    drawn = paint_list(100, 24, proposing(), 0).lines()
    why = "proposed bridge first: 30 %, two minutes, nothing to open; to bridge"
    assert any(row.split() == why.split() for row in drawn)
    assert any("bridge" in row and "1 of 2: 30 %, two minutes" in row for row in drawn)
    assert any("backup" in row and "2 of 2: 50 %, six minutes" in row for row in drawn)
