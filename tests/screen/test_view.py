"""The view: the technician's question at each moment, and its answer."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.quantity import Quantity
from metercap.records import (
    Contact,
    Cue,
    CueKind,
    Do,
    EndRecord,
    Lift,
    Note,
    Operator,
    Prompt,
    Record,
    Verdict,
    VerdictKind,
)
from metercap.screen.band import Field
from metercap.screen.canvas import Canvas
from metercap.screen.hero import paint_hero
from metercap.screen.model import Path, Place, Span, Tone, View
from metercap.screen.plandata import plan_info
from metercap.screen.state import fold
from metercap.screen.view import view
from tests.screen.greenhouse import PLAN, before_fuses, ohms, scenes, session, sweep_to, tick, tune

SCENES = scenes()


def at(name: str) -> View:
    return view(fold(SCENES[name]))


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
        ("trials", "start it, cover closed", ""),
        ("tune far", "113", "←"),
        ("tune near", "50", "←"),
        ("tune in", "HANDS OFF", "✓"),
        ("tune over", "27", "→"),
        ("hazard", "TURN BACK", "→"),
        ("done", "DONE", "✗"),
    ],
)
def test_hero(scene: str, text: str, lead: str) -> None:
    """The one thing that matters at each moment."""
    assert (at(scene).hero.text, at(scene).hero.lead) == (text, lead)


def test_the_end_names_what_is_left() -> None:
    """What failed, what nobody can be sure of and what was not done, and no remark from before."""
    remark = Note(890.0, "smells of flux")
    bad = [Verdict(891.0, "fuses", "F7", VerdictKind.FAIL), Verdict(891.0, "fuses", "F9", VerdictKind.UNSURE)]
    shown = view(fold([*SCENES["sweep"], *bad, remark, EndRecord(900.0, "quit", {}, "")]))
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
    shown = view(fold([*SCENES["safe"], asked]))
    assert (shown.hero.text, shown.hero.unit) == (text, "")
    for columns, rows in ((80, 24), (120, 40), (200, 60)):
        canvas = Canvas(columns, rows)
        paint_hero(canvas, 2, rows - 10, shown, None)
        assert not any("YES" in "".join(row.chars) for row in canvas.rows), "drawn in letters, not written small"


def test_wait_ends_when_it_ends_however_late_it_is_asked_for_again() -> None:
    """The end of a wait is a field of its prompt: a prompt that is given again does not begin it anew."""
    again = Prompt(50.0, "drain", "drain", Do.WAIT, "wait", until_s=53.0)
    state = fold([*SCENES["wait"], again])
    assert view(state, now_s=50.0).hero.text == "0:03"


def test_a_lift_that_has_begun_is_not_asked_for_again() -> None:
    """Off after a lift cue: stay off, in a light pen, until the go; back on, it is lift once more."""
    off = [*SCENES["lift"], ohms(42.5, None), Lift(42.5, "fuses", "F7")]
    shown = view(fold(off))
    assert (shown.hero.text, shown.hero.armed) == ("STAY OFF", False)
    assert shown.next.text.startswith("off; stay off")
    on = [*off, ohms(43.0, 0.33), Contact(43.0, "fuses", "F7", same=True), Cue(43.0, "fuses", "F8", CueKind.LIFT)]
    assert view(fold(on)).hero.text == "LIFT"
    assert view(fold([*off, ohms(44.0, None), Cue(44.0, "fuses", "F7", CueKind.GO)])).hero.text == "F8"


def test_a_reminder_is_over_when_something_else_happens() -> None:
    """Waiting is said until contact or the next prompt, even where a step has no contact of its own."""
    ask = [session(), Prompt(1.0, "lid switch", "S1", Do.PROBE, "B: S1: hold both tips across its contacts")]
    reminded = [*ask, Cue(11.0, "lid switch", "S1", CueKind.WAITING)]
    assert view(fold(reminded)).next.text.startswith("waiting at S1")  # type: ignore[arg-type]
    touched = [*reminded, Cue(12.0, "lid switch", "S1", CueKind.CONTACT)]
    assert view(fold(touched)).next.text.startswith("S1: hold")  # type: ignore[arg-type]
    pressed = [
        *reminded,
        Prompt(12.0, "lid switch", "S1", Do.RELEASE, "B: S1: release (1 of 20 presses done, 1 closed)"),
    ]
    assert view(fold(pressed)).next.text.startswith("S1: release")  # type: ignore[arg-type]


def test_in_the_band_nothing_more_is_asked_of_the_screwdriver() -> None:
    """Hands off is said large and small: the line does not go on to ask for turning."""
    assert at("tune in").next.text.startswith("in band: hands off")
    assert at("tune over").next.text.startswith("turn RV1")


def test_dropouts_are_counted_as_such() -> None:
    """A wiggle that dropped out says how often."""
    plan = {**PLAN, "step": [{"kind": "wiggle", "id": "cable", "items": ["J3"], "unit": "ohm", "max": 2.0}]}
    records: list[Record] = [session(plan=plan), Prompt(1.0, "cable", "J3", Do.KEEP, "B: J3: flex it")]
    records.append(Cue(2.0, "cable", "J3", CueKind.FAIL))
    shown = view(fold(records))
    assert shown.aside is not None and shown.aside.text == "1 DROPOUT"
    shown = view(fold([*records, Cue(3.0, "cable", "J3", CueKind.FAIL)]))
    assert shown.aside is not None and shown.aside.text == "2 DROPOUTS"


def test_what_is_next_waits_for_the_go() -> None:
    """After a tick: lift first; off, wait for the go; then the item's own words."""
    lifted = [*SCENES["tick"], ohms(41.0, None), Lift(41.0, "fuses", "F7")]
    assert view(fold(SCENES["tick"])).next.text.startswith("lift, then F8")
    assert view(fold(lifted)).next.text.startswith("wait for go, then F8")
    assert view(fold([*lifted, Cue(42.0, "fuses", "F7", CueKind.GO)])).next.text.startswith("F8")


def test_steps_that_are_not_done_are_not_counted() -> None:
    """A session of some steps is as long as those."""
    record = session(options={"steps": ["leads", "fuses"]})
    shown = view(fold([record, Prompt(1.0, "fuses", "F1", Do.PROBE, "B: F1")]))
    assert shown.progress == "step 2 of 2"
    assert len(plan_info(session(options={"steps": []})).steps) == len(PLAN["step"])
    assert len(plan_info(session(options={"steps": "odd"})).steps) == len(PLAN["step"])


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
    assert shown.aside is not None and shown.aside.text == "10/20 DONE  9 CLOSED"
    assert isinstance(shown.ground, Path)
    assert [stone.place for stone in shown.ground.stones][4:7] == [Place.PASS, Place.UNSURE, Place.PASS]
    assert len(shown.ground.stones) == 20 and shown.ground.here == 10


def test_trials_count_words_and_begin_anew_after_a_fix() -> None:
    """Starts are counted by the words; a noted fix begins a new row, as long as the success run at 0.90, 95 %: 29."""
    shown = at("trials")
    assert shown.aside is not None and shown.aside.text == "3 OF 3"
    assert isinstance(shown.ground, Path) and len(shown.ground.stones) == 29 and shown.ground.here == 3


def test_wait_counts_down() -> None:
    """A timed wait shows the time left and how much has passed; it never goes below nothing."""
    state = fold([session(), Prompt(1.0, "drain", "drain", Do.WAIT, "B: drain")])
    shown = view(state, now_s=46.0)
    assert shown.hero.text == "0:45"
    assert shown.ground == Span(0.5)
    assert view(state, now_s=400.0).hero.text == "0:00"


def test_tune_distances() -> None:
    """The field holds band, guarded part, hazard side, start, value and where it will stop."""
    ground = at("tune near").ground
    assert isinstance(ground, Field)
    # 0.5 % of 1500; the guard is U of 0.1 % + 2 counts at 1500 (JCGM 100: rectangular, k = 2), one count of scatter.
    assert (ground.low, ground.high) == (1492.5, 1507.5)
    half = (ground.inner_high - ground.inner_low) / 2
    accuracy = (0.001 * 1500 + 2) / 3**0.5
    assert half == pytest.approx(7.5 - 2 * (accuracy**2 + 1 / 12 + 1) ** 0.5, rel=0.05)
    assert (ground.never_below, ground.found, ground.now) == (1200.0, 1618.0, 1553.0)
    # 13 ohm in 0.4 s, T = 0.5 s, and 0.3 s for the hand
    assert ground.stop_at == pytest.approx(1553.0 - 13 / 0.4 * 0.8, abs=0.5)
    assert ground.to_go == pytest.approx(ground.inner_high - 1553.0)


def test_tune_at_rest_stops_nowhere_else() -> None:
    """A value that stands still shows no place where it will stop."""
    ground = at("tune in").ground
    assert isinstance(ground, Field) and ground.stop_at is None and ground.inside


def test_undo_aims_at_as_found() -> None:
    """After `undo` the band lies around the value as found."""
    state = fold([*tune([1618.0, 1560.0]), Operator(104.0, "undo")])
    ground = view(state).ground
    assert isinstance(ground, Field) and ground.target == 1618.0


def test_nudge() -> None:
    """On a slow meter the stop cue while turning means hands still; it is no alarm."""
    shown = view(fold([*tune([1618.0, 1560.0]), Cue(104.0, "bridge", "RV1", CueKind.STOP)]))
    assert shown.hero.text == "STOP" and not shown.alarm
    assert shown.next.text.startswith("hands still")


def test_alarm() -> None:
    """Past a hazard limit and voltage in the circuit fill the screen; the way back is shown."""
    assert at("hazard").alarm and at("stop").alarm
    assert not at("back").alarm


def test_status_names_what_is_wrong() -> None:
    """Rate, meter, cable, journal, battery and HOLD: each is told, trouble first and marked."""
    state = fold([*sweep_to(1), ohms(40.0, 0.3, 0.01, "hold", "low_battery")])
    told = {line.text: line.tone for line in view(state, problem="no space left on the disk").status}
    said = view(fold([*sweep_to(1), Operator(31.0, "at", "F3")])).status[0]
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
    assert "undo" not in view(fold([*SCENES["safe"], Prompt(6.0, "dead", "C12", Do.STOP, "B: it is live")])).words
    mend = [*SCENES["trials"], Prompt(500.0, "starts", "starts", Do.CONFIRM, "B: not fixed: mend it, then say fixed")]
    assert view(fold(mend)).words[:2] == ("fixed", "no")


@pytest.mark.parametrize(("unit", "word"), [("V", "yes"), ("ohm", "open"), ("", "open")])
def test_a_zero_is_confirmed_only_in_volts(unit: str, word: str) -> None:
    """A check in volts offers yes, since open tips read about zero; one in ohms, stated or not, offers open."""
    plan = {**PLAN, "step": [{"kind": "check", "id": "some", "items": ["K1"], "unit": unit}]}
    shown = view(fold([session(plan=plan), Prompt(1.0, "some", "K1", Do.PROBE, "B: K1")]))
    assert shown.words[0] == word


def test_hostile_text_is_escaped() -> None:
    """Escape sequences in plan, prompt, tag or reason are shown, never sent."""
    plan = {**PLAN, "step": [{"kind": "sweep", "id": "f\x1b[2J", "items": ["F1\x1b]0;x\x07"], "cautions": ["\x9bA"]}]}
    state = fold(
        [
            session(tag="\x1b[31m", unit="u\x1b", plan=plan),
            Prompt(1.0, "f\x1b[2J", "F1\x1b]0;x\x07", Do.PROBE, "go\x1b[H"),
        ]
    )
    assert "\x1b" not in repr_of(view(state)) and "\x9b" not in repr_of(view(state))


def repr_of(shown: View) -> str:
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
    info = plan_info(record)
    state = fold([record, Prompt(1.0, info.steps[0].id if info.steps else "x", "F1", Do.WAIT, "go"), ohms(2.0, 1.0)])
    assert view(state).hero.text


def test_every_prompt_kind_has_a_hero() -> None:
    """No kind of action leaves the screen without an answer, in any kind of step."""
    for step in PLAN["step"]:
        for do in Do:
            records: list[Record] = [*before_fuses(), Prompt(10.0, step["id"], "F1", do, "B: do this (now)")]
            assert view(fold(records)).hero.text, (step["id"], do)
            assert view(fold([*records, *tick(11.0, "F1", "")])).hero.text


def test_with_the_tips_in_the_air_nobody_is_told_to_turn() -> None:
    """Touch again, in the large word and in the line below, until the tips are on."""
    shown = view(fold([*tune([1618.0, 1560.0]), Lift(110.0, "bridge", "RV1")]))
    assert shown.hero.text == "TOUCH AGAIN"
    assert "touch RV1 again" in shown.next.text
    assert "TURN" not in shown.hero.text and "turn" not in shown.next.text


def test_a_trimmer_past_its_limit_is_named_wherever_the_hands_are_and_at_the_end() -> None:
    """The alarm while it is asked for, a line beside other items, the large word when the session is closed."""
    past = fold([*tune([1618.0, 1190.0]), Cue(104.0, "bridge", "RV1", CueKind.HAZARD, "below")])
    elsewhere = fold([Prompt(105.0, "starts", "starts", Do.ANSWER, "did it start?")], past)
    assert view(past).alarm and not view(elsewhere).alarm
    assert any("RV1 PAST ITS LIMIT" in line.text for line in view(elsewhere).status)
    closed = view(fold([EndRecord(106.0, "quit", {}, "0" * 64)], elsewhere))
    assert (closed.hero.text, closed.alarm) == ("RV1 PAST LIMIT", True)
