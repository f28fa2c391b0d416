"""Pressing, flexing, loading, cleaning, mending, starting; and the answers that go with them."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from metercap.asks import Asks
from metercap.practice.bench import PracticeBench, Said
from metercap.practice.moving import Connector, Switch
from metercap.practice.parts import Supply
from metercap.practice.scene import parse_scene
from metercap.records import Cue, CueKind, Do, Prompt, Verdict, VerdictKind

TEXT = """
schema = 1
title = "bits and pieces"
unit = "B"
seed = 5
starts = 0.0
[meter]
family = "text"
[[part]]
names = "SW1"
kind = "switch"
gap_from = 0.5
gap_to = 0.99
after_clean = 0.0
[[part]]
names = "J3"
kind = "connector"
drops_per_s = 2.0
[[part]]
names = "BT1"
kind = "source"
volt = 3.0
ohm = 30.0
[[part]]
names = "+5V"
kind = "source"
volt = 5.0
rail = true
powered = false
"""


class Desk:
    def __init__(self, **habits: object) -> None:
        scene = parse_scene(TEXT)
        self.bench = PracticeBench(msgspec.structs.replace(scene, hands=msgspec.structs.replace(scene.hands, **habits)))
        self.now_s = 0.0
        self.said: list[str] = []

    def prompt(self, item: str, do: Do, say: str, **facts: Any) -> None:
        self.bench.see(Prompt(self.now_s, "step", item, do, say, **facts), self.now_s)

    def cue(self, item: str, cue: CueKind) -> None:
        self.bench.see(Cue(self.now_s, "step", item, cue), self.now_s)

    def wait(self, seconds: float) -> None:
        self.now_s += seconds
        while (out := self.bench.step(self.now_s)) is not None:
            if isinstance(out, Said):
                self.said.append(f"{out.word} {out.text}".strip())

    @property
    def here(self) -> str:
        return self.bench.touches[-1].name


def switch(desk: Desk) -> Switch:
    part = desk.bench.board.parts["SW1"]
    assert isinstance(part, Switch)
    return part


def test_a_switch_is_pressed_until_something_is_heard_and_the_tips_stay_on() -> None:
    """Press and hold, let go when nothing shows, press again; never the word `open` nor a lift."""
    desk = Desk(depth=0.75, depth_sd=0.05)
    desk.prompt("SW1", Do.PROBE, "SW1: across, then press", asks=Asks.ACROSS, press=True, keep=True)
    desk.wait(30.0)
    assert len(switch(desk).presses) > 3
    assert switch(desk).presses.count(True) == 0
    assert desk.here == "SW1"
    assert desk.said == []
    desk.cue("SW1", CueKind.CONTACT)
    count = len(switch(desk).presses)
    desk.wait(30.0)
    assert len(switch(desk).presses) == count


def test_press_and_release_follow_their_prompts() -> None:
    """Each prompt moves the plunger once."""
    desk = Desk(depth=0.45, depth_sd=0.0, rest_sd=0.0)
    desk.prompt(
        "SW1",
        Do.PROBE,
        "SW1: hold both tips across its contacts, released; keep the tips on all the time",
        asks=Asks.ACROSS,
        keep=True,
    )
    desk.wait(3.0)
    assert switch(desk).presses == []
    desk.prompt("SW1", Do.PRESS, "SW1: press and hold")
    desk.wait(1.0)
    assert switch(desk).presses == [True]
    assert switch(desk).seen(desk.now_s).ohm < 1.0
    desk.prompt("SW1", Do.RELEASE, "SW1: release")
    desk.wait(1.0)
    assert switch(desk).seen(desk.now_s).ohm == float("inf")


def test_asked_to_clean_they_clean_and_say_yes() -> None:
    """The film goes, and the answer takes as long as cleaning does; who does not mend says no."""
    desk = Desk()
    desk.prompt(
        "SW1",
        Do.ANSWER,
        "SW1 missed closures: clean it, then say yes to exercise it again; no leaves it",
        asks=Asks.CLEANED,
    )
    desk.wait(5.0)
    assert desk.said == []
    desk.wait(30.0)
    assert desk.said == ["yes"]
    assert switch(desk).closes_at(0.8)
    lazy = Desk(mends=False)
    lazy.prompt(
        "SW1",
        Do.ANSWER,
        "SW1 missed closures: clean it, then say yes to exercise it again; no leaves it",
        asks=Asks.CLEANED,
    )
    lazy.wait(30.0)
    assert lazy.said == ["no"]


def test_a_cable_is_flexed_until_the_verdict_and_dropouts_do_not_end_it() -> None:
    """The sound of a dropout is no tick: the tips stay until the verdict."""
    desk = Desk()
    connector = desk.bench.board.parts["J3"]
    assert isinstance(connector, Connector)
    desk.prompt("J3", Do.PROBE, "J3: hold both tips on it, still", keep=True)
    desk.wait(3.0)
    assert connector.steady
    desk.prompt("J3", Do.KEEP, "J3: flex the cable or connector for 15 s, tips still", asks=Asks.FLEX, keep=True)
    desk.wait(5.0)
    assert not connector.steady
    desk.cue("J3", CueKind.FAIL)
    desk.wait(3.0)
    assert desk.here == "J3"
    desk.bench.see(Verdict(desk.now_s, "step", "J3", VerdictKind.FAIL), desk.now_s)
    desk.cue("J3", CueKind.FAIL)
    desk.wait(2.0)
    assert desk.here == ""
    assert connector.steady
    assert connector.dropped


def test_a_load_is_put_across_a_cell_and_comes_off_with_the_tips() -> None:
    """470 Ω across 3 V behind 30 Ω: 2.82 V; after the tick it is off."""
    desk = Desk()
    cell = desk.bench.board.parts["BT1"]
    assert isinstance(cell, Supply)
    desk.prompt("BT1", Do.PROBE, "BT1: red on +, black on −")
    desk.wait(3.0)
    desk.prompt(
        "BT1",
        Do.KEEP,
        "BT1: keep the tips on and put 470 Ω across it for 3 s",
        asks=Asks.LOAD,
        load_ohm=470.0,
        keep=True,
    )
    desk.wait(3.0)
    assert cell.seen(desk.now_s).volt == pytest.approx(2.82)
    desk.bench.see(Verdict(desk.now_s, "step", "BT1", VerdictKind.PASS), desk.now_s)
    desk.cue("BT1", CueKind.PASS)
    desk.wait(2.0)
    assert cell.seen(desk.now_s).volt == 3.0


def test_swapped_tips_are_admitted_and_put_right() -> None:
    """swaps = 1: asked whether red is on +, the answer is no, and the next touch is right."""
    desk = Desk(swaps=1.0)
    desk.prompt("BT1", Do.PROBE, "BT1: red on +, black on −")
    desk.wait(3.0)
    assert desk.bench.hands.swapped  # type: ignore[attr-defined]
    desk.prompt("BT1", Do.ANSWER, "BT1 reads -3.000 V: is red on +? yes or no", asks=Asks.POLARITY)
    desk.wait(2.0)
    assert desk.said == ["no"]
    desk.prompt("BT1", Do.PROBE, "BT1: red on +, black on −")
    desk.wait(5.0)
    assert desk.here == "BT1"
    assert not desk.bench.hands.swapped  # type: ignore[attr-defined]


def test_starts_are_reported_as_they_were_and_a_repair_changes_them() -> None:
    """No start succeeds before the repair (starts = 0), each one after it; a second repair is not claimed.

    A prompt that comes again while the repair goes on (the meter was silent for a moment) does not change that."""
    desk = Desk()
    desk.prompt("step", Do.ANSWER, "start it, cover closed: run 1 of 8; pass or fail?", asks=Asks.STARTED)
    desk.wait(10.0)
    desk.prompt(
        "step", Do.CONFIRM, "not fixed: mend it, then say fixed and what was done; no ends the trials", asks=Asks.MENDED
    )
    desk.wait(30.0)
    desk.prompt(
        "step", Do.CONFIRM, "not fixed: mend it, then say fixed and what was done; no ends the trials", asks=Asks.MENDED
    )
    desk.wait(40.0)
    desk.prompt("step", Do.ANSWER, "start it, cover closed: 0 passed after the fix; pass or fail?", asks=Asks.STARTED)
    desk.wait(10.0)
    desk.prompt(
        "step", Do.CONFIRM, "not fixed: mend it, then say fixed and what was done; no ends the trials", asks=Asks.MENDED
    )
    desk.wait(70.0)
    assert desk.said == ["fail", "fixed repaired", "pass", "no"]


def test_the_supply_is_switched_as_asked() -> None:
    """Rails live and die with the supply; a cell does not care."""
    desk = Desk()
    rail, cell = desk.bench.board.parts["+5V"], desk.bench.board.parts["BT1"]
    desk.prompt("on", Do.CONFIRM, "switch the supply on (yes or no)", asks=Asks.DONE, power="on")
    desk.wait(3.0)
    assert rail.seen(desk.now_s).volt == 5.0
    desk.prompt("off", Do.CONFIRM, "switch the supply off (yes or no)", asks=Asks.DONE, power="off")
    desk.wait(3.0)
    assert rail.seen(desk.now_s).ohm == float("inf")
    assert cell.seen(desk.now_s).volt == 3.0
    assert desk.said == ["yes", "yes"]


def test_what_is_not_so_is_failed_and_what_was_begun_is_said() -> None:
    """`no` would only mean not yet and be asked again for ever; whether it was begun is another question."""
    desk = Desk()
    desk.bench.hands.answers = {"step": "no"}
    desk.prompt("step", Do.CONFIRM, "Set the clock. begun? yes starts the wait of 15 s", asks=Asks.BEGUN)
    desk.wait(5.0)
    desk.prompt("step", Do.CONFIRM, "Has the clock kept the time? (yes, or no: not yet)", asks=Asks.DONE)
    desk.wait(5.0)
    assert desk.said == ["yes", "fail"]
