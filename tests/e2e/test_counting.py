"""Switches and starts counted by the real program over a pseudo-terminal; meter and hands are not its own."""

from __future__ import annotations

import json
import random
import sys
import threading
from pathlib import Path

import pytest

from tests.e2e import outside_meter
from tests.e2e.outside_meter import OPEN, Meter
from tests.e2e.program import Program, Record, of_kind, plan_file, program, run

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.usefixtures("hastened"),
]

PLAN = """
[[step]]
id = "cover"
kind = "exercise"
items = ["S1"]
presses = 5

[[step]]
id = "starts"
kind = "trials"
runs = 2
reliability = 0.5
confidence = 0.5
"""


class Finger:
    """Presses a sound switch 0.7 ± 0.3 s after each prompt; says that one press before the first closure was silent."""

    def __init__(self, meter: Meter) -> None:
        self.program: Program | None = None
        self._meter = meter
        self._draw = random.Random(7)
        self._unheard = 1
        self._starts = iter(("pass", "fail", "pass", "pass"))

    def see(self, record: Record) -> None:
        """Take one record of the program."""
        assert self.program is not None
        if record["kind"] != "prompt":
            return
        if record["step"] == "cover":
            if record["do"] == "release" and self._unheard:
                self._unheard = 0
                self.program.say("missed 1")
            if record["do"] in ("probe", "press", "release"):
                ohm = OPEN if record["do"] == "release" else 0.3
                wait_s = max(0.15, self._draw.gauss(0.7, 0.3))
                threading.Timer(wait_s / outside_meter.HASTE, setattr, (self._meter, "tips", ohm)).start()
            elif record["do"] == "answer":
                self.program.say("no")
        elif record["do"] == "answer":
            self.program.say(next(self._starts))
        elif record["do"] == "confirm":
            for word in ("note smells of flux", "pass", "fixed new relay"):
                self.program.say(word)


def test_slow_hands_a_silent_press_and_a_remark_that_is_no_fix(tmp_path: Path) -> None:
    """Four closures in five presses; starts after `fixed`, none after the remark. Two in a row are needed at 0.5.

    (The two runs before the fix would have proved it, had none failed: they are an attempt, so the risk is halved.)
    """
    out = tmp_path / "session.jsonl"
    with Meter(tmp_path, auto=False) as meter:
        finger = Finger(meter)
        args = ("run", str(plan_file(tmp_path, PLAN)), "--port", str(meter.path), "--meter", "lcd14", "--rate", "10")
        with program(*args, "--unit", "B", "--out", str(out), see=finger.see) as metercap:
            finger.program = metercap
            ended = metercap.wait()
    assert ended.status == 1, ended.err
    records = [json.loads(line) for line in out.read_bytes().splitlines()]
    found = [(v["item"], v["verdict"], v["k"], v["runs"]) for v in of_kind(records, "verdict")]
    assert found == [("S1", "fail", 4, 5), ("starts", "fail", 1, 2), ("starts", "pass", 2, 2)]
    notes = [note["text"] for note in of_kind(records, "note")]
    assert "starts: runs after the fix begin: new relay" in notes
    assert any("'pass' means nothing here" in note for note in notes)
    assert run("replay", str(out), "--check").status == 0
