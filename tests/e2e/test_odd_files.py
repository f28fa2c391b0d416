"""Files that are none, or have no end: every command that reads one answers at once, and says what it is."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pytest

from metercap.journal import repair, verify
from tests.e2e.program import run
from tests.thirds import crossed

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs named pipes")

GOOD = Path(__file__).parents[2] / "fixtures" / "sessions" / "good-sweep.jsonl"
READERS = {
    "verify": ["verify", "FILE"],
    "repair": ["verify", "FILE", "--repair", "new.jsonl"],
    "replay": ["replay", "FILE", "--check"],
    "report": ["report", "FILE", "--text"],
    "export": ["export", "FILE", "--to", "x.csv"],
    "compare": ["compare", "FILE", str(GOOD)],
    "learn": ["learn", "FILE", "--out", "x.json"],
    "history": ["history", "FILE"],
    "tape": ["watch", "--port", "tape:FILE", "--meter", "lcd14"],
    "meter": ["watch", "--port", "/dev/none", "--meter", "FILE"],
    "plan": ["plan", "check", "FILE"],
}


@pytest.mark.parametrize(("reader", "kind"), crossed(READERS, ["pipe", "folder", "device"]))
def test_what_is_no_file_is_refused(tmp_path: Path, reader: str, kind: str) -> None:
    """A pipe that nobody writes to, a folder, a device without end: refused in words, before anything is read."""
    place = tmp_path / "thing"
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "folder":
        place.mkdir()
    else:
        place = Path("/dev/zero")
    words = [word.replace("FILE", str(place)).replace("x.", f"{tmp_path}/x.") for word in READERS[reader]]
    words = [f"{tmp_path}/new.jsonl" if word == "new.jsonl" else word for word in words]
    ended = run(*words, timeout_s=20.0)
    assert ended.status == (3 if reader == "tape" else 2), ended
    assert "defect" not in ended.err
    assert {"pipe": "pipe", "folder": "folder", "device": "device"}[kind] in ended.err or reader in ("meter", "plan")
    assert not (tmp_path / "new.jsonl").exists()


@pytest.mark.parametrize(
    "words",
    [
        ["run", "greenhouse-controller", "--port", "/dev/none", "--meter", "lcd14", "--unit", "A", "--out", "-"],
        ["record", "--port", "/dev/none", "--meter", "lcd14", "--out", "-"],
        ["learn", str(GOOD), "--out", "-"],
        ["teach", "--port", "/dev/none", "--name", "x", "--out", "-"],
    ],
    ids=lambda words: words[0],
)
def test_a_file_to_keep_is_not_stdout(words: list[str]) -> None:
    """`--out -` is a usage error with its reason, not a file of that name."""
    ended = run(*words)
    assert ended.status == 2
    assert "stands for stdout" in ended.err
    assert not Path("-").exists()


def test_millions_of_empty_lines_are_read_at_once(tmp_path: Path) -> None:
    """Behind a whole journal or instead of one: one finding with their number; repair leaves out just them."""
    lines = 2_000_000
    empty, tail = tmp_path / "empty.jsonl", tmp_path / "tail.jsonl"
    empty.write_bytes(b"\n" * lines)
    good = GOOD.read_bytes()
    middle = good.index(b"\n", len(good) // 2) + 1
    tail.write_bytes(good[:middle] + b"\n" * lines + good[middle:])
    began_s = time.process_time()
    assert verify(empty).damaged_lines == lines
    found = verify(tail)
    assert time.process_time() - began_s < 2.0
    assert (found.state, found.damaged_lines, len(found.problems)) == ("damaged", lines, 1)
    assert found.records == len(good.splitlines())
    assert f"{lines} empty lines" in found.problems[0].what
    repaired = repair(tail, tmp_path / "new.jsonl")
    assert repaired.written
    again = verify(tmp_path / "new.jsonl")
    assert (again.state, again.records) == ("closed", found.records + 1)  # and the note that says what is missing
    first = good[:middle].count(b"\n") + 1
    assert f"lines {first} to {first + lines - 1}".encode() in (tmp_path / "new.jsonl").read_bytes()
