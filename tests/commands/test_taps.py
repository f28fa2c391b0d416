"""A whole session worked by a finger on the board's picture: over a real port, by the real loop."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from metercap.clock import ScaledClock
from metercap.commands._bench import over_port
from metercap.commands._by_hand import Grip
from metercap.commands._live import Shown
from metercap.journal import Writer
from metercap.plan import to_builtins
from metercap.planfile import read_plan
from metercap.practice.bench import PracticeBench
from metercap.practice.by_hand import ByHand
from metercap.practice.port import PracticePort
from metercap.practice.scene import parse_scene
from metercap.profiles import find_meter
from metercap.records import Cue, CueKind, Do, Prompt, Record, Verdict
from metercap.session import Session
from metercap.view import View, begin
from tests.steps.bench_play import opening

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

PLAN = """
[plan]
title = "Three fuses of a GC-8"
supply = "none"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F3"
max = "2 ohm"
count_check = false
[[picture]]
file = "front.png"
[picture.at]
"fuses/F1" = [0.1, 0.2]
"fuses/F3" = [0.7, 0.2]
[[picture]]
file = "back.png"
side = "back"
[picture.at]
"fuses/F2" = [[0.2, 0.5], [0.3, 0.5]]
"""
SCENE = """
schema = 1
title = "three fuses on the mat"
unit = "B"
seed = 4
[meter]
family = "text"
per_s = 5.0
[[part]]
names = "F1..F2"
kind = "fuse"
ohm = 0.1
[[part]]
names = "F3"
kind = "resistor"
ohm = 38.0
"""
PLACES = {"F1": (0, 0.11, 0.21), "F2": (1, 0.29, 0.51), "F3": (0, 0.7, 0.19)}
"""Where the finger comes down: a little beside the places, for F2 beside the black tip's."""


class Finger:
    """Taps what is asked for, wherever the pictures have it, and beside everything when it has to lift."""

    def __init__(self, grip: Grip) -> None:
        self._grip = grip
        self.view = View()
        self.told: list[str] = []
        self.items: list[tuple[str, str]] = []
        self._asked = ""
        self._lifted = True

    def look(self, view: View) -> None:
        self.view = view

    def see(self, record: Record, line: bytes = b"") -> None:
        if isinstance(record, Prompt) and record.do is Do.PROBE and record.item:
            self._asked = record.item
            if self._lifted:
                self._tap(*PLACES[self._asked])
        elif isinstance(record, Cue) and record.cue in (CueKind.PASS, CueKind.FAIL, CueKind.LIFT, CueKind.AGAIN):
            self._lifted = False
            self._tap(0, 0.45, 0.9)
        elif isinstance(record, Cue) and record.cue is CueKind.GO:
            self._lifted = True
            self._tap(*PLACES[self._asked])
        elif isinstance(record, Verdict):
            self.items.append((record.item, record.verdict.value))

    def urgent(self, record: Cue) -> None:
        """Seen with its record."""

    def _tap(self, picture: int, x: float, y: float) -> None:
        self.told.append(self._grip.tap_picture(self.view, picture, x, y, 1600.0, 1000.0))


def test_a_sweep_by_taps(tmp_path: Path) -> None:
    """Three fuses on both sides of the board: what was tapped is what the meter read, and a tap beside lifts."""
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    plan, profile, clock = read_plan(tmp_path / "plan.toml"), find_meter("text").at_rate(5.0), ScaledClock(20.0)
    record = opening((), profile, plan=to_builtins(plan), tag="B")
    bench = PracticeBench(parse_scene(SCENE), hands=ByHand)
    with PracticePort(bench, clock) as port, Writer.create(tmp_path / "b.jsonl", record) as writer:
        finger = Finger(Grip(port))
        shown = Shown([finger], [], lambda live, inbox, clock, writer: live.run(), lambda: None)
        assert over_port(port, clock, Session(record), record, writer, [], shown) == "done"
    assert finger.items == [("F1", "pass"), ("F2", "pass"), ("F3", "fail")]
    assert set(finger.told) == {""} and {touch.name for touch in bench.touches} >= {"F1", "F2", "F3"}


def test_taps_that_mean_nothing_lift(tmp_path: Path) -> None:
    """Numbers from a page may be anything, and a picture may show what this board lacks: told, and nothing breaks."""
    (tmp_path / "plan.toml").write_text(PLAN.replace("F1..F3", "F1..F4").replace("fuses/F3", "fuses/F4"))
    record = opening((), find_meter("text"), plan=to_builtins(read_plan(tmp_path / "plan.toml")))
    view = begin(record)
    with PracticePort(PracticeBench(parse_scene(SCENE), hands=ByHand), ScaledClock(20.0)) as port:
        grip = Grip(port)
        for numbers in [(0, float("nan"), 0.2), (9, 0.1, 0.2), (-1, 0.1, 0.2), (0, 1e300, -1e300), (0, 0.5, 0.5)]:
            assert grip.tap_picture(view, 0, 0.1, 0.2, 1600, 1000) == "" and grip.status == "tips on F1"
            assert grip.tap_picture(view, *numbers, 1600, 1000) == "" and grip.status == "tips in the air"
        assert "this board has no F4" in grip.tap_picture(view, 0, 0.7, 0.2, 1600, 1000)
    assert port.problem is None
