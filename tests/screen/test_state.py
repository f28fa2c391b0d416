"""The fold: what the records so far mean, and that it never breaks on any of them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.records import (
    Contact,
    Cue,
    CueKind,
    Do,
    Excursion,
    Link,
    LinkState,
    Note,
    Operator,
    Prompt,
    Record,
    Verdict,
    VerdictKind,
)
from metercap.screen.state import BenchState, advance, conversions, fold, rate_per_s
from tests.screen.greenhouse import FUSES, METER, air, exercise, ohms, scenes, session, sweep_to, tick, trials, tune


def test_tick_disarms_until_go() -> None:
    """From a tick until the lift is certain the next item is named, not armed."""
    ticked = fold([*sweep_to(6), *tick(40.0, "F7", "F8")])
    assert not ticked.armed
    assert ticked.prompt is not None and ticked.prompt.item == "F8"
    gone = fold([ohms(41.0, None), Cue(42.6, "fuses", "F7", CueKind.GO)], ticked)
    assert gone.armed


def test_word_verdict_leaves_armed() -> None:
    """A verdict by a word, with no probe on, needs no lift."""
    state = fold([*sweep_to(2), Operator(30.0, "open"), Verdict(30.0, "fuses", "F3", VerdictKind.FAIL)])
    assert state.armed


def test_later_verdict_replaces() -> None:
    """The last verdict of an item stands."""
    state = fold(
        [Verdict(1.0, "fuses", "F1", VerdictKind.FAIL), Verdict(2.0, "fuses", "F1", VerdictKind.PASS)],
        fold([session()]),
    )
    assert state.verdicts["fuses", "F1"].verdict is VerdictKind.PASS


def test_skip_is_remembered_until_a_verdict() -> None:
    """A skipped item is marked until it has a verdict."""
    state = fold(sweep_to(7))
    assert ("fuses", "F6") in state.skipped
    state = advance(state, Verdict(90.0, "fuses", "F6", VerdictKind.UNSURE))
    assert not state.skipped


def test_lead_null_is_taken_off() -> None:
    """Live values are shown less the leads of the same function and range, as verdicts are."""
    state = fold(sweep_to(1))
    assert state.corrected(ohms(50.0, 0.33)) == pytest.approx(0.21)
    assert state.corrected(ohms(50.0, 33.0, 0.1)) == 33.0
    assert state.corrected(ohms(50.0, None)) is None


def test_dial_prompt_does_not_replace() -> None:
    """A dial prompt stands before the open prompt; contact with the item ends it."""
    state = fold([*sweep_to(6), Prompt(38.0, "fuses", "F7", Do.DIAL, "one fixed range")])
    assert state.prompt is not None and state.prompt.do is Do.PROBE
    assert state.aside is not None
    assert advance(state, Contact(39.0, "fuses", "F7")).aside is None
    assert advance(state, Prompt(39.0, "fuses", "F7", Do.PROBE, "F7")).aside is None


def test_as_found_is_never_overwritten() -> None:
    """What a trimmer read when turning was first asked for stays, whatever comes."""
    state = fold(tune([1618.0, 1560.0, 1500.0]))
    state = advance(state, Prompt(110.0, "bridge", "RV1", Do.TURN, "on"))
    assert state.found == {"RV1": 1618.0}


def test_hazard_cue_twice_is_once_and_ends() -> None:
    """The urgent cue and its line fold to the same; only a cue without the hazard ends the alarm."""
    cue = Cue(104.0, "bridge", "RV1", CueKind.HAZARD)
    once = fold([cue], fold(tune([1618.0, 1190.0])))
    assert once.hazard and advance(once, cue) == once
    assert advance(once, Excursion(105.0, "bridge", "RV1", "below", 1200.0, 1190.0, 104.0, 1.0)).hazard
    assert advance(once, Cue(105.0, "bridge", "RV1", CueKind.WRONG_WAY, "below")).hazard
    assert not advance(once, Cue(105.0, "bridge", "RV1", CueKind.FAR)).hazard


def test_stop_cue_stays_with_its_prompt_and_ends_with_the_next() -> None:
    """Voltage in the circuit: the cue's own prompt explains it, the next prompt says it is over."""
    stopped = fold(
        [
            Cue(38.0, "fuses", "F7", CueKind.STOP),
            Prompt(38.0, "fuses", "F7", Do.STOP, "F7: voltage in the circuit: lift"),
        ],
        fold(sweep_to(6)),
    )
    assert stopped.call is CueKind.STOP
    assert advance(stopped, Prompt(44.0, "fuses", "F7", Do.PROBE, "F7")).call is None


def test_stop_cue_while_turning_is_no_alarm() -> None:
    """On a slow meter stop is a nudge: hands still, not voltage."""
    state = advance(fold(tune([1618.0, 1560.0])), Cue(104.0, "bridge", "RV1", CueKind.STOP))
    assert state.call is None and state.tune_cue is CueKind.STOP


def test_presses_are_read_from_the_prompts() -> None:
    """Counts in the prompts tell presses and closures; after cleaning they begin anew."""
    state = fold(exercise("1101"))
    marks = [VerdictKind.PASS, VerdictKind.PASS, VerdictKind.UNSURE, VerdictKind.PASS]
    assert list(state.tries) == marks
    state = advance(
        state, Prompt(99.0, "lid switch", "S1", Do.PRESS, "S1: press and hold (1 of 20 presses done, 1 closed)")
    )
    assert state.tries == (VerdictKind.PASS,)


def test_a_start_taken_back() -> None:
    """The word back takes the last start's mark away."""
    state = fold(trials("ppf"))
    assert advance(state, Operator(401.0, "back")).tries == (VerdictKind.PASS, VerdictKind.PASS)


def test_link_comes_back() -> None:
    """Link up clears the banner; so does a reading after silence, but not after a pulled cable."""
    silent = fold([Link(1.0, LinkState.SILENT, "HOLD or auto-off?")])
    lost = fold([Link(1.0, LinkState.LOST, "pulled")])
    assert advance(silent, ohms(2.0, 1.0)).link is None
    assert advance(lost, ohms(2.0, 1.0)).link is not None
    assert advance(lost, Link(3.0, LinkState.UP)).link is None


def test_rate_over_the_readings_kept() -> None:
    """Readings a second, by their own times; unknown for too few."""
    assert rate_per_s(tuple(ohms(0.25 * at, 1.0) for at in range(9))) == pytest.approx(4.0)
    assert rate_per_s((ohms(0.0, 1.0), ohms(1.0, 1.0))) is None
    assert rate_per_s((ohms(1.0, 1.0),) * 3) is None


def test_conversions_pass_over_repeats() -> None:
    """Two frames of one conversion count once; over-range ends the run."""
    repeated = (ohms(0.0, 5.0), ohms(0.1, 5.0), ohms(0.5, 5.0), ohms(0.6, 6.0))
    assert [one.t_s for one in conversions(repeated, 0.5)] == [0.0, 0.5, 0.6]
    assert conversions((*repeated, ohms(0.7, None)), METER.conversion_s(ohms(0, 1).quantity)) == []


_EVERY = [record for records in scenes().values() for record in records]


@given(st.lists(st.sampled_from(_EVERY), max_size=40))
def test_any_order_folds(records: list[Record]) -> None:
    """Records in any order, as a damaged file may hold them, never raise, and time never runs back."""
    state = BenchState()
    for record in records:
        after = advance(state, record)
        assert after.t_s >= state.t_s
        state = after


def test_states_are_not_changed() -> None:
    """A kept state stays what it was: a replay goes back to it."""
    kept = fold(sweep_to(3))
    before = (dict(kept.verdicts), kept.t_s, kept.readings)
    fold([*tick(60.0, "F4", "F5"), *air(62.0), Note(63.0, "a remark")], kept)
    assert (dict(kept.verdicts), kept.t_s, kept.readings) == before
    assert len(FUSES) == 12
