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
from metercap.session.facts import SessionFacts
from metercap.view import View, Viewer
from metercap.view.fold import after
from tests.screen.greenhouse import air, fold, ohms, scenes, session, sweep_to, tick, tune


def test_tick_disarms_until_go() -> None:
    """From a tick until the lift is certain the next item is named, not armed."""
    ticked = fold([*sweep_to(6), *tick(40.0, "F7", "F8")])
    assert not ticked.armed
    assert ticked.asked is not None and ticked.asked.item == "F8"
    gone = fold([ohms(41.0, None), Cue(42.6, "fuses", "F7", CueKind.GO)], ticked)
    assert gone.armed


def test_word_verdict_leaves_armed() -> None:
    """A verdict by a word, with no probe on, needs no lift."""
    state = fold([*sweep_to(2), Operator(30.0, "open"), Verdict(30.0, "fuses", "F3", VerdictKind.FAIL)])
    assert state.armed


def test_later_verdict_replaces() -> None:
    """The last verdict of an item stands."""
    first, second = (
        Verdict(at, "fuses", "F1", kind) for at, kind in ((1.0, VerdictKind.FAIL), (2.0, VerdictKind.PASS))
    )
    assert fold([first, second], fold([session()])).verdicts == (second,)


def skipped(view: View) -> list[str]:
    """The items that were left for a second look."""
    return [spot.name for stage in view.path for spot in stage.spots if spot.skipped]


def test_skip_is_remembered_until_a_verdict() -> None:
    """A skipped item is marked until it has a verdict."""
    state = fold(sweep_to(7))
    assert skipped(state) == ["F6"]
    assert skipped(after(state, Verdict(90.0, "fuses", "F6", VerdictKind.UNSURE))) == []


def test_dial_prompt_does_not_replace() -> None:
    """A dial prompt stands before the open prompt; contact with the item ends it."""
    state = fold([*sweep_to(6), Prompt(38.0, "fuses", "F7", Do.DIAL, "one fixed range")])
    assert state.asked is not None and state.asked.do is Do.PROBE
    assert state.aside is not None
    assert after(state, Contact(39.0, "fuses", "F7")).aside is None
    assert after(state, Prompt(39.0, "fuses", "F7", Do.PROBE, "F7")).aside is None


def test_hazard_cue_twice_is_once_and_ends() -> None:
    """The urgent cue and its line fold to the same; only a cue without the hazard ends the alarm."""
    cue = Cue(104.0, "bridge", "RV1", CueKind.HAZARD)
    once = fold([cue], fold(tune([1618.0, 1190.0])))
    assert once.hazard is not None and after(once, cue) == once
    assert after(once, Excursion(105.0, "bridge", "RV1", "below", 1200.0, 1190.0, 104.0, 1.0)).hazard is not None
    assert after(once, Cue(105.0, "bridge", "RV1", CueKind.WRONG_WAY, "below")).hazard is not None
    assert after(once, Cue(105.0, "bridge", "RV1", CueKind.FAR)).hazard is None


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
    assert after(stopped, Prompt(44.0, "fuses", "F7", Do.PROBE, "F7")).call is None


def test_link_comes_back() -> None:
    """Link up clears the banner; so does a reading after silence, but not after a pulled cable."""
    silent = fold([Link(1.0, LinkState.SILENT, "HOLD or auto-off?")])
    lost = fold([Link(1.0, LinkState.LOST, "pulled")])
    assert after(silent, ohms(2.0, 1.0)).link is None
    assert after(lost, ohms(2.0, 1.0)).link is not None
    assert after(lost, Link(3.0, LinkState.UP)).link is None


def test_rate_over_the_readings_kept() -> None:
    """Readings a second, by their own times; unknown for too few."""
    assert fold(ohms(0.25 * at, 1.0) for at in range(9)).rate_per_s == pytest.approx(4.0)
    assert fold(ohms(0.25 * at, 1.0) for at in range(90)).rate_per_s == pytest.approx(4.0)
    assert fold([ohms(0.0, 1.0), ohms(1.0, 1.0)]).rate_per_s is None
    assert fold([ohms(1.0, 1.0)] * 3).rate_per_s is None


_EVERY = [record for records in scenes().values() for record in records]


@given(st.lists(st.sampled_from(_EVERY), max_size=40))
def test_any_order_folds(records: list[Record]) -> None:
    """Records in any order, as a damaged file may hold them, never raise, and time never runs back."""
    state = View()
    for record in records:
        new = after(state, record)
        assert new.t_s >= state.t_s
        state = new


def test_views_are_not_changed() -> None:
    """A kept view stays what it was."""
    kept = fold(sweep_to(3))
    before = (kept.verdicts, kept.t_s, kept.arrivals, kept.path)
    fold([*tick(60.0, "F4", "F5"), *air(62.0), Note(63.0, "a remark")], kept)
    assert (kept.verdicts, kept.t_s, kept.arrivals, kept.path) == before


def test_a_first_record_that_cannot_be_understood_costs_the_path_only() -> None:
    """A plan of another version: what is asked is shown all the same."""
    state = fold([session(plan={"steps": [{"kind": "dance"}]}), Prompt(1.0, "x", "F1", Do.PROBE, "go")])
    assert state.path == () and state.asked is not None and state.unit is not None


def test_only_chosen_steps_are_on_the_path() -> None:
    """A session of some steps is as long as those."""
    state = fold([session(options={"steps": ["leads", "fuses"]}), Prompt(1.0, "fuses", "F1", Do.PROBE, "B: F1")])
    assert [stage.id for stage in state.path] == ["leads", "fuses"] and state.number == 2


def test_a_defect_in_a_view_never_reaches_the_session() -> None:
    """It is told in the view, which stays what it was otherwise; so is a session that cannot tell what it knows."""
    viewer = Viewer()
    viewer.tell(ohms(1.0, 0.5))
    view = viewer.take(Prompt("not a time", "fuses", "F1", Do.PROBE, ""), [])  # type: ignore[arg-type]
    assert view.broken.startswith("TypeError") and view.reading is not None

    def knows() -> SessionFacts:
        raise KeyError("F1")

    assert Viewer(knows).take(ohms(1.0, 0.5), []).broken == "KeyError: 'F1'"
