"""A trimmer past its hazard limit on the real screen of the real program: the alarm stands until it is over."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.screen.terminal import WAIT_S, Terminal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

UP, DOWN, FAR_DOWN, FAR_UP = b"\x1b[A", b"\x1b[B", b"\x1b[1;2D", b"\x1b[1;2C"
ALARM = "past the hazard limit"
LIMIT_OHM = 1200.0
"""What the shipped plan says of the bridge's trimmer."""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Terminal]:
    """The shipped scene, on the step that tunes the bridge, at ten times the speed."""
    arguments = ["-m", "metercap", "practice", "gc8-b-whole", "--steps", "bridge", "--no-safe", "--speed", "10"]
    run = Terminal([*arguments, "--out", str(tmp_path / "out")], columns=100, rows=30)
    yield run
    run.close()


def records(folder: Path) -> list[dict[str, Any]]:
    """Return what the unit's journal holds."""
    return [json.loads(line) for line in (folder / "out" / "b.jsonl").read_text().splitlines()]


def turn_past(run: Terminal) -> None:
    """Touch, then far down until the alarm is on."""
    run.until("touch RV1")
    run.keys(UP)
    run.until("far down")
    end_s = time.monotonic() + 3 * WAIT_S
    while ALARM not in run.text:
        assert time.monotonic() < end_s, run.text
        run.keys(FAR_DOWN)
        run.read(0.15)


def stands(run: Terminal, seconds: float) -> None:
    """The alarm's words and its hatching are on the screen at every look."""
    for _ in range(int(seconds / 0.2)):
        run.read(0.2)
        assert ALARM in run.text and "╱" * 90 in run.text, run.text


def test_the_alarm_stands_while_the_hand_rests_and_after_the_tips_are_off(bench: Terminal, tmp_path: Path) -> None:
    """Far down below 1.2 kilohm and rest; lift; quit: said, written, and what the report begins with."""
    turn_past(bench)
    stands(bench, 1.0)
    bench.keys(DOWN)
    bench.until("touch it again and turn the trimmer back")
    stands(bench, 1.0)
    bench.keys(b"Q")
    bench.until("y ends the session")
    bench.keys(b"y")
    assert "RV1 PAST ITS LIMIT" in bench.text
    assert bench.ended() == 1
    found = records(tmp_path)
    (past,) = [record for record in found if record["kind"] == "excursion"]
    assert (past["side"], past["limit"]) == ("below", LIMIT_OHM) and past["worst"] < LIMIT_OHM
    assert past["duration_s"] > 5.0
    said = [record["text"] for record in found if record["kind"] == "note" and record.get("aloud")]
    assert said[-1].startswith("RV1 stands past its limit")
    report = subprocess.run(
        [sys.executable, "-m", "metercap", "report", str(tmp_path / "out" / "b.jsonl"), "--text"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    lines = [line for line in report.stdout.splitlines() if line]
    assert lines[2].startswith("RV1 stands below its hazard limit of 1.2 kΩ")


def test_turned_back_the_alarm_ends(bench: Terminal, tmp_path: Path) -> None:
    """The same, turned up again: the word goes, and the excursion is in the journal with its worst value."""
    turn_past(bench)
    end_s = time.monotonic() + 2 * WAIT_S
    while ALARM in bench.text:
        assert time.monotonic() < end_s, bench.text
        bench.keys(FAR_UP)
        bench.read(0.3)
    assert "PAST ITS LIMIT" not in bench.text
    bench.process.send_signal(signal.SIGTERM)
    assert bench.ended() == 130
    values = [record["value"] for record in records(tmp_path) if record["kind"] == "reading" and record["value"]]
    assert min(values[3:]) < LIMIT_OHM
    assert "stands past" not in (tmp_path / "out" / "b.jsonl").read_text()


def test_a_powered_step_is_refused_and_says_why(tmp_path: Path) -> None:
    """Given up past its limit, the rails come next: yes is not taken, and nothing is judged there."""
    arguments = ["-m", "metercap", "practice", "gc8-b-whole", "--steps", "bridge,rails", "--no-safe", "--speed", "10"]
    run = Terminal([*arguments, "--out", str(tmp_path / "out")], columns=100, rows=30)
    try:
        turn_past(run)
        run.keys(b"s")
        run.until("turned back before the unit is")
        run.read(0.5)
        run.keys(b"y")
        run.until("'yes' is not taken now")
        stands_past(run, 1.0)
    finally:
        run.process.send_signal(signal.SIGTERM)
        run.ended()
        run.close()
    found = records(tmp_path)
    assert {record["step"] for record in found if record["kind"] == "verdict"} == {"bridge"}


def stands_past(run: Terminal, seconds: float) -> None:
    """Whatever is on the screen, it says that the trimmer stands past its limit."""
    for _ in range(int(seconds / 0.2)):
        run.read(0.2)
        assert "RV1 PAST ITS LIMIT" in run.text, run.text


def test_a_signal_writes_the_excursion_as_it_stands(bench: Terminal, tmp_path: Path) -> None:
    """SIGINT while the trimmer stands past its limit: the excursion is before `end`, and is derived again."""
    turn_past(bench)
    stands(bench, 1.0)
    bench.process.send_signal(signal.SIGINT)
    assert bench.ended() == 130
    found = records(tmp_path)
    assert [record["kind"] for record in found[-4:]] == ["cue", "note", "excursion", "end"]
    assert found[-1]["reason"] == "interrupted"
    path = str(tmp_path / "out" / "b.jsonl")
    check = [sys.executable, "-m", "metercap", "replay", path, "--check"]
    assert subprocess.run(check, capture_output=True, check=False).returncode == 0
