"""Practice by hand on the real screen in a real terminal: the program itself, its keys, its bench, its journal."""

from __future__ import annotations

import json
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.screen.terminal import WAIT_S, Terminal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

PLAN = """
[plan]
title = "Two fuses and a trimmer of a GC-8"
supply = "none"
[[step]]
id = "leads"
kind = "zero"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F2"
max = "2 ohm"
[[step]]
id = "bridge"
kind = "tune"
items = ["RV1"]
target = "2.6 kohm"
tolerance = "2 %"
"""
SCENE = """
schema = 1
title = "two fuses and a trimmer on the mat"
unit = "B"
seed = 4
[meter]
family = "text"
per_s = 5.0
dial = "voltage_dc"
[[part]]
names = "F1..F2"
kind = "fuse"
ohm = 0.1
[[part]]
names = "RV1"
kind = "trimmer"
ohm = 5000.0
position = 0.5
"""
UP, DOWN, ENTER = b"\x1b[A", b"\x1b[B", b"\r"
FAR_UP = b"\x1b[1;2C"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Terminal]:
    """The program in a terminal of 100 columns, at ten times the speed."""
    (tmp_path / "scene.toml").write_text(SCENE, encoding="utf-8")
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    arguments = ["-m", "metercap", "practice", str(tmp_path / "scene.toml"), "--plan", str(tmp_path / "plan.toml")]
    run = Terminal([*arguments, "--speed", "10", "--out", str(tmp_path / "out")], columns=100, rows=30)
    yield run
    run.close()


def follow(run: Terminal, goal: str) -> None:
    """Do what the screen offers, dial, lift or touch, until the goal is on it; touch only when it does not say wait."""
    offers = {"d  dial": b"d", "↓  lift": DOWN, "enter  tips together": ENTER, "↑  touch": UP}
    end_s = time.monotonic() + 2 * WAIT_S
    while goal not in run.text:
        assert time.monotonic() < end_s and run.process.poll() is None, f"no {goal!r} on\n{run.text}"
        key = next((key for offer, key in offers.items() if offer in run.text), None)
        wait = key in (UP, ENTER) and ("wait for go" in run.text or "stay off" in run.text)
        if key is not None and not wait:
            run.keys(key)
        run.read(0.12)


def test_a_whole_session_by_keys(bench: Terminal, tmp_path: Path) -> None:
    """Only what the screen offers is pressed: dial, tips together, each fuse, the count, the trimmer into its band."""
    run = bench
    run.until("d  dial to ohms")
    follow(run, "was the last tick on F2?")
    run.read(0.3)  # nobody answers what has just come: such a key is told to be early
    run.keys(b"y")
    follow(run, "⇧→  far up")
    for _ in range(2):  # two quarter turns of 200 ohm a turn: from 2.5 to 2.6 kohm
        run.keys(FAR_UP)
        run.read(0.15)
    run.until("session is closed")
    assert "step 3 of 3" in run.text
    run.keys(b"q")
    assert run.ended() == 0
    assert run.usable()
    assert "4 of 4 verdicts are as it is on the bench" in run.raw.decode()
    records = [json.loads(line) for line in (tmp_path / "out" / "b.jsonl").read_text().splitlines()]
    found = {record["item"]: record for record in records if record["kind"] == "verdict"}
    assert {item: record["verdict"] for item, record in found.items()} == dict.fromkeys(
        ["leads", "F1", "F2", "RV1"], "pass"
    )
    assert found["RV1"]["as_found"] == pytest.approx(2500, abs=10)
    assert found["RV1"]["as_left"] == pytest.approx(2600, abs=52)


def test_what_cannot_be_done_is_said_and_help_shows_the_keys(bench: Terminal) -> None:
    """A turn without a trimmer gets its reason; ? lists moves beside words."""
    run = bench
    run.until("d  dial to ohms")
    run.keys(FAR_UP)
    run.until("there is no trimmer under the tips")
    run.keys(b"?")
    run.until("swap the tips, red for black")
    assert "PgUp" in run.text and "skip step" in run.text
    run.process.send_signal(signal.SIGTERM)
    assert run.ended() == 130
    assert run.usable()


def test_a_slip_is_shown_for_what_it_is(bench: Terminal) -> None:
    """Slipping on to the next fuse right after a tick: the tool asks for a lift, and stays until it is certain."""
    run = bench
    follow(run, "lift, then F2")
    run.keys(b"\t")
    run.until("tips on F2")
    run.until("nothing counts until then")
    run.keys(DOWN)
    run.until("until this lift is certain")
    run.until("↑  touch F2")
    run.keys(b"\x03")
    assert run.ended() == 130
    assert run.usable()
