"""Files that are large on purpose: bounded memory. The bound is the project's own, 300 MB."""

from __future__ import annotations

import json
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.journal import Kept, read
from metercap.outcome import MOST_UNPLANNED, Fold
from metercap.records import Verdict, VerdictKind
from tests.e2e.program import environment

pytestmark = [pytest.mark.attack, pytest.mark.skipif(sys.platform == "win32", reason="counts memory with resource")]

MOST_MB = 300
MEASURED = """
import resource, sys
from metercap.cli import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    assert end.code in (0, 1), end.code
sys.stderr.write(f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024}\\n")
"""
PLAYED = """
import resource, sys
from metercap.journal import Kept
from metercap.screen.observer import ScreenObserver
from metercap.screen.player import Player
import metercap.screen.app
with Kept(sys.argv[1]) as records:
    player = Player(records, ScreenObserver())
    player.jump(10**9)
    player.jump(-3)
sys.stderr.write(f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024}\\n")
"""


def peak_mb(code: str, *arguments: str) -> int:
    """Return the most memory that a program took."""
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, env=environment(), check=True
    )
    return int(done.stderr.split()[-1])


def large(good: Path, path: Path, lines: Callable[[int], dict[str, Any]], most_bytes: int) -> Path:
    """Write a journal of a good one's first line and as many made lines as fit."""
    with good.open("rb") as file:
        first = json.loads(file.readline())
    crc, n = 0, 0
    with path.open("wb") as out:
        record = first
        record.pop("crc")
        while out.tell() < most_bytes:
            body = json.dumps(record, ensure_ascii=False, separators=(",", ":")).encode()
            crc = zlib.crc32(body, crc)
            out.write(body[:-1] + b',"crc":"%08x"}\n' % crc)
            record = lines(n)
            n += 1
    return path


def probed(n: int) -> dict[str, Any]:
    """A verdict on an item of its own."""
    verdict = {"step": "probe", "item": f"F{n}", "verdict": "pass", "value": 0.2, "unit": "ohm", "U": 0.1, "n": 2}
    more = {"rule": "guarded", "reason": f"number {n}", "min": None, "max": 2.0, "resolution": 0.1, "settled": True}
    return {"kind": "verdict", "t_s": n / 10, **verdict, **more, "from_s": n / 10}


def read_on(n: int) -> dict[str, Any]:
    """A reading, ten a second."""
    what = {"quantity": "resistance", "value": 2000.0 + n % 97, "resolution": 1.0, "unit": "ohm", "state": "ok"}
    return {"kind": "reading", "t_s": n / 10, **what, "flags": [], "raw": "00" * 14}


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A played journal."""
    from metercap.commands._bench import play_scene

    return play_scene("gc8-a-whole", tmp_path_factory.mktemp("bench"), speed=5000, quiet=True).journal


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_74_mb_of_distinct_verdicts(good: Path, tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """Report as text and as a page, export: each under the bound."""
    path = large(good, tmp_path / "verdicts.jsonl", probed, 74_000_000)
    trials = attack("memory of large files")
    for arguments in (
        ("report", str(path), "--text"),
        ("report", str(path), "--to", str(tmp_path / "x.html")),
        ("export", str(path), "--to", str(tmp_path / "x.csv")),
    ):
        with trials.trial():
            assert peak_mb(MEASURED, *arguments) < MOST_MB, arguments


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_a_day_on_the_full_screen(good: Path, tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """864 000 readings played to the end and back."""
    path = large(good, tmp_path / "day.jsonl", read_on, 170_000_000)
    with attack("memory of large files").trial():
        assert peak_mb(PLAYED, str(path)) < MOST_MB


def test_records_in_their_file_are_those_that_were_read(good: Path, tmp_path: Path) -> None:
    """Index by index, from both ends, and in turn; a file cut in a line and one damaged in the middle, too."""
    cut, damaged = tmp_path / "cut.jsonl", tmp_path / "damaged.jsonl"
    data = good.read_bytes()
    cut.write_bytes(data[:-100])
    damaged.write_bytes(data[: len(data) // 2] + b"#" + data[len(data) // 2 + 1 :])
    for path in (good, cut, damaged):
        whole = read(path).records
        with Kept(path) as kept:
            assert tuple(kept) == whole
            assert kept[-1] == whole[-1]
            assert kept[5:9] == list(whole[5:9])
            assert list(kept.verdicts) == [n for n, one in enumerate(whole) if isinstance(one, Verdict)]
            with pytest.raises(IndexError):
                kept[len(whole)]


def test_what_is_not_kept_is_counted() -> None:
    """Unplanned verdicts beyond the limit: counts and the status know them, and how many there are is said."""
    fold = Fold()
    for n in range(MOST_UNPLANNED):
        fold.add(Verdict(0.0, "probe", f"F{n}", VerdictKind.PASS))
    assert fold.left_out == 0
    fold.add(Verdict(0.0, "probe", "F0", VerdictKind.ABSENT))
    fold.add(Verdict(0.0, "probe", "more", VerdictKind.PASS))
    assert (fold.left_out, len(fold.verdicts)) == (1, MOST_UNPLANNED)
    assert fold.counts[VerdictKind.PASS] == MOST_UNPLANNED
    assert fold.counts[VerdictKind.ABSENT] == 1
    fold.add(Verdict(0.0, "probe", "bad", VerdictKind.FAIL))
    assert fold.counts[VerdictKind.FAIL] == 1
    assert fold.exit_status == 1
