"""tune in a contact that does not count: the alarm asks for no credit, and as found is lost to a hand that turns.

Expectations come from the design: the alarm is immediate, an excursion takes two conversions, as found of a trimmer
that moves is not read.
"""

from __future__ import annotations

from typing import Any

import pytest

from metercap.outcome import fold
from metercap.plankeys import Item, TuneStep
from metercap.records import Cue, CueKind, Excursion, Note
from tests.steps.bench_play import Play, confirm

MOVED = "RV1: as found not read: it was already moving"


def step(*names: str, **more: Any) -> TuneStep:
    """Return a tune step toward 2.187 kΩ ± 1 %, never below 1.2 kΩ."""
    keys: dict[str, Any] = {"id": "bridge", "target": 2187.0, "tolerance_share": 0.01, "never_below": 1200.0}
    return TuneStep(items=tuple(Item(name) for name in names or ("RV1",)), **(keys | {"unit": "ohm"} | more))


def aloud(play: Play) -> list[str]:
    """Return what was said aloud."""
    return [note.text for note in play.of(Note) if note.aloud is True]


def standing(play: Play) -> dict[str, tuple[str, str]]:
    """Return which trimmers the records say stand past a limit."""
    rest = [record for event, out in play.pairs for record in ([] if event is None else [event]) + list(out)]
    return fold([play.record, *rest]).standing


EARLY = "OL*2 1.861k*4 1.700k 1.500k 1.300k 1.100k"
"""At 5/s the tips are on 0.6 s after the start: too soon to count. Turned past the limit, one conversion there."""


def test_the_alarm_rings_at_the_first_value_past_the_limit_of_a_contact_that_does_not_count() -> None:
    """At 2.0 s the first value lies past 1.2 kΩ, and that is when it rings."""
    play = Play(step(), rate=5.0)(EARLY)
    (alarm,) = (cue for cue in play.of(Cue) if cue.cue is CueKind.HAZARD)
    assert (alarm.t_s, alarm.item, alarm.hazard) == (2.0, "RV1", "below")
    play("1.100k*5 OL*9")
    assert standing(play) == {"RV1": ("bridge", "below")}
    (past,) = play.of(Excursion)
    assert (past.side, past.worst, past.from_s) == ("below", 1100.0, 2.0)
    play("1.100k*4 1.300k 1.500k*4")
    assert standing(play) == {}


def test_as_found_is_lost_to_it_at_once() -> None:
    """It never becomes a value: neither 1.861 nor what it rests at afterwards."""
    play = Play(step(), rate=5.0)(EARLY + " 1.100k*5")
    assert aloud(play) == [MOVED]
    play("OL*9 1.100k*9 :skip 1.100k*30")
    verdict = play.verdicts["RV1"]
    assert verdict.as_found is None
    assert "already moving" in verdict.reason


def test_a_fast_hand_that_passes_the_limit_in_one_leap_has_moved_it_as_well() -> None:
    """Two moves are too few for a hand to be seen by; from inside to past and believed there is enough."""
    play = Play(step(), rate=5.0)("OL*2 1.861k*4 1.500k 1.100k*4")
    assert play.cues.count("hazard RV1") == 1
    assert aloud(play) == [MOVED]


def test_a_hand_that_turns_within_the_limits_is_no_alarm_but_as_found_is_lost() -> None:
    """Turned up before the contact counts."""
    play = Play(step(), rate=5.0)("OL*2 1.861k*3 1.900k 1.950k 2.000k 2.050k 2.050k*5")
    assert aloud(play) == [MOVED]
    assert "hazard RV1" not in play.cues


def test_a_still_trimmer_touched_too_early_is_asked_for_again() -> None:
    """Nothing moved: lift, and it is read as found in the next contact."""
    play = Play(step(), rate=5.0)("OL*2 1.861k*9 OL*9 1.861k*6")
    assert aloud(play) == []
    assert "note" not in play.cues and play.session.bench.as_found["bridge", "RV1"].value == 1861.0


@pytest.mark.parametrize("blend", ["", "2.400k"])
def test_a_value_that_was_doubted_rings_and_is_over_with_its_contact(blend: str) -> None:
    """Tips that touch each other for one conversion, in a contact that does not count."""
    play = Play(step(), rate=5.0)(f"OL*2 1.861k*6 {blend} 0.2 OL*9")
    assert standing(play) == {}
    assert play.of(Excursion) == []


def test_what_was_ticked_and_is_turned_on_past_its_limit_rings() -> None:
    """RV1 of two was read as found, and the hand turns it with the tips still on; RV2 is asked for."""
    play = Play(step("RV1", "RV2"), rate=5.0)("OL*6 1.861k*6 1.700k 1.500k 1.300k 1.100k")
    assert play.cues.count("hazard RV1") == 1
    assert "hazard RV2" not in play.cues


def test_the_part_before_it_is_no_trimmer() -> None:
    """Tips that are still on what the step before asked for, or come back to it, ring nothing."""
    from tests.steps.bench_play import fuses

    play = Play(fuses(1), step(), rate=5.0)("OL*6 0.2*9 OL*2 0.2*9 OL*9")
    assert "hazard RV1" not in play.cues
    other = Play(confirm(), step(), rate=5.0)("OL*6 :yes OL*9 1.861k*6")
    assert other.session.bench.as_found["bridge", "RV1"].value == 1861.0


def test_held_by_a_block_it_is_watched_all_the_same() -> None:
    """HOLD was on: the contact does not count any more, and the hand turns on past the limit."""
    play = Play(step(), rate=5.0)("OL*6 1.861k*6 1.861k!hold*2 1.861k*2 1.700k 1.500k 1.300k 1.100k*3")
    assert play.cues.count("hazard RV1") == 1
    play("OL*9 1.100k*5")
    assert standing(play) == {"RV1": ("bridge", "below")}
    play("1.300k 1.500k*3")
    assert standing(play) == {}


def test_left_past_its_limit_by_such_a_contact_it_stands_when_the_session_ends() -> None:
    """HOLD, turned past the limit, lifted, quit: the last word is of it."""
    play = Play(step(), rate=5.0)("OL*6 1.861k*6 1.861k!hold*2 1.861k*2 1.700k 1.500k 1.300k 1.100k*3 OL*9 :quit")
    assert standing(play) == {"RV1": ("bridge", "below")}
    assert aloud(play)[-1].startswith("RV1 stands past its limit")
