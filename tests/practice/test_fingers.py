"""The hand with the screwdriver: each cue, one reaction late, does to the screw what it says."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from metercap.asks import Asks
from metercap.practice.bench import PracticeBench
from metercap.practice.habits import Habits
from metercap.practice.parts import Trimmer
from metercap.practice.scene import Scene, parse_scene
from metercap.records import Cue, CueKind, Do, Prompt

TOWARD = "RV1: turn toward 2.187 kΩ (2.176 kΩ to 2.198 kΩ), never below 1.200 kΩ"
TEXT = """
schema = 1
title = "a trimmer"
unit = "B"
seed = 4
[meter]
family = "text"
per_s = 5.0
[[part]]
names = "RV1"
kind = "trimmer"
ohm = 5000.0
position = 0.5
"""
# Hands without scatter, so that every speed is the one of the cue.
EVEN = Habits(reaction_s=0.3, reaction_sd_s=0.0, move_s=1.0, move_sd_s=0.0, overshoot_turns=0.0, knows_way=1.0)


def scene(**habits: object) -> Scene:
    return msgspec.structs.replace(parse_scene(TEXT), hands=msgspec.structs.replace(EVEN, **habits))


class Desk:
    """A bench with the technician on RV1 and the screwdriver in it."""

    def __init__(self, **habits: object) -> None:
        self.bench = PracticeBench(scene(**habits))
        self.now_s = 0.0
        self.prompt(Do.PROBE, "RV1: hold both tips on it, ready to turn", keep=True)
        self.wait(5.0)
        assert self.bench.touches[-1].name == "RV1"
        self.prompt(Do.TURN, TOWARD, target=2187.0, low=2176.0, high=2198.0)

    def prompt(self, do: Do, say: str, **facts: Any) -> None:
        self.bench.see(Prompt(self.now_s, "bridge", "RV1", do, say, **facts), self.now_s)

    def cue(self, cue: CueKind) -> None:
        self.bench.see(Cue(self.now_s, "bridge", "RV1", cue), self.now_s)

    def wait(self, seconds: float) -> None:
        self.now_s += seconds
        while self.bench.step(self.now_s) is not None:
            pass

    def ohm(self) -> float:
        part = self.bench.board.parts["RV1"]
        assert isinstance(part, Trimmer)
        return part.seen(self.now_s).ohm

    def speed(self) -> float:
        """Turns per second over the next half second; 200 ohm is one turn."""
        before = self.ohm()
        self.wait(0.5)
        return (self.ohm() - before) / 200.0 / 0.5


def test_far_and_near_set_the_speed_after_one_reaction() -> None:
    """far: 1 turn/s, near: 0.2 turn/s, toward the target that the prompt names (2.5 kΩ is above 2.187 kΩ)."""
    desk = Desk()
    desk.cue(CueKind.FAR)
    desk.wait(0.29)
    assert desk.ohm() == pytest.approx(2500.0)
    desk.wait(0.02)
    assert desk.speed() == pytest.approx(-1.0)
    desk.cue(CueKind.NEAR)
    desk.wait(0.31)
    assert desk.speed() == pytest.approx(-0.2)


def test_wrong_way_turns_round_once_however_often_it_is_said() -> None:
    """Told twice within one reaction, it is still one turn-round."""
    desk = Desk(knows_way=0.0)
    desk.cue(CueKind.FAR)
    desk.wait(0.4)
    way = desk.speed()
    desk.cue(CueKind.PAST_IT)
    desk.wait(0.1)
    desk.cue(CueKind.WRONG_WAY)
    desk.wait(0.31)
    assert desk.speed() * way < 0


def test_slow_lowers_the_speed_and_stop_ends_it() -> None:
    """slow goes down to the fine speed, then halves it; stop and in band end the turning."""
    desk = Desk()
    desk.cue(CueKind.FAR)
    desk.wait(0.4)
    desk.cue(CueKind.SLOW)
    desk.wait(0.31)
    assert desk.speed() == pytest.approx(-0.2)
    desk.cue(CueKind.SLOW)
    desk.wait(0.31)
    assert desk.speed() == pytest.approx(-0.1)
    desk.cue(CueKind.IN_BAND)
    desk.wait(0.31)
    assert desk.speed() == 0.0
    assert desk.bench.touches[-1].name == "RV1"


def test_past_it_comes_back_more_gently() -> None:
    """Past it: the other way, at less than the fine speed."""
    desk = Desk()
    desk.cue(CueKind.NEAR)
    desk.wait(0.4)
    desk.cue(CueKind.PAST_IT)
    desk.wait(0.31)
    assert desk.speed() == pytest.approx(0.2 * 0.6)


def test_a_hand_that_stops_still_adds_a_little() -> None:
    """overshoot_turns: the stop comes late by up to so much of a turn."""
    desk = Desk(overshoot_turns=0.5)
    desk.cue(CueKind.FAR)
    desk.wait(0.5)
    desk.cue(CueKind.IN_BAND)
    desk.wait(0.3)
    at_cue = desk.ohm()
    desk.wait(0.6)
    assert 0.0 < (at_cue - desk.ohm()) / 200.0 <= 0.5
    assert desk.speed() == 0.0


def test_hazard_stops_and_turns_back_and_the_tips_stay_on() -> None:
    """The hazard cue while turning: away from the limit, without letting go of the trimmer."""
    desk = Desk()
    desk.cue(CueKind.FAR)
    desk.wait(0.5)
    desk.cue(CueKind.HAZARD)
    desk.wait(0.31)
    assert desk.speed() > 0.0
    assert desk.bench.touches[-1].name == "RV1"


def test_the_tool_is_taken_away_and_the_tips_stay() -> None:
    """Prompt stop with "take the tool away": at rest, tips on, until the tick."""
    desk = Desk()
    desk.cue(CueKind.NEAR)
    desk.wait(0.5)
    desk.prompt(Do.STOP, "RV1: in band. Take the tool away and keep both tips on", asks=Asks.TOOL_AWAY)
    desk.wait(0.31)
    assert desk.speed() == 0.0
    assert desk.bench.touches[-1].name == "RV1"
    desk.cue(CueKind.PASS)
    desk.wait(1.0)
    assert desk.bench.touches[-1].name == ""


def test_lifting_the_tips_ends_the_turning() -> None:
    """Nobody turns what they do not measure."""
    desk = Desk()
    desk.cue(CueKind.FAR)
    desk.wait(0.5)
    desk.prompt(Do.LIFT, "lift")
    desk.wait(1.0)
    assert desk.speed() == 0.0


def test_without_cues_the_hand_works_by_the_display() -> None:
    """cues = false: no cue is heeded, and the display leads into the band all the same."""
    desk = Desk(cues=False)
    desk.cue(CueKind.WRONG_WAY)
    desk.wait(60.0)
    assert 2176.0 <= desk.ohm() <= 2198.0
    assert desk.speed() == 0.0


@pytest.mark.parametrize("cue", [CueKind.WRONG_WAY, CueKind.PAST_IT, CueKind.STOP, CueKind.SLOW, CueKind.FAR])
def test_without_cues_none_changes_what_the_hand_does(cue: CueKind) -> None:
    """The same hand with and without the cue being given: the screw goes the same way."""
    heard, silent = Desk(cues=False), Desk(cues=False)
    for _ in range(12):
        heard.cue(cue)
        for desk in (heard, silent):
            desk.wait(0.5)
        assert heard.ohm() == silent.ohm()
