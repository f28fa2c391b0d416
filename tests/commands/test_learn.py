"""`metercap learn` over the real program: what many units make, who signed it off, and a session held against it."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.archive.shop import Shop
from tests.e2e.program import METERCAP, environment, no_defect


@pytest.fixture(scope="module")
def units(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Forty-five good units' journals."""
    folder, maker = tmp_path_factory.mktemp("good"), Shop()
    return [str(maker.session(folder / f"{n}.jsonl", n, known_good=True)) for n in range(45)]


def test_many_units(metercap: Any, units: list[str], tmp_path: Path) -> None:
    """Forty are named; values are counted; each item says from how many."""
    found = metercap("learn", *units, "--out", str(tmp_path / "good.json"))
    head, *rest = found.out.splitlines()
    assert (found.status, found.err) == (0, "")
    assert head.startswith("GC-8: 45 good units (controller 0, ")
    assert head.endswith("controller 39 and 5 more)")
    (line,) = [line for line in rest if line.startswith("  coils K1")]
    assert line.endswith("from 45: median and MAD")
    held = json.loads((tmp_path / "good.json").read_text("utf-8"))
    assert (held["schema"], len(held["sources"]), held["signed"]) == (2, 45, None)
    assert sum(held["items"][0]["counted"]["counts"].values()) == 45


def test_signed_off_then_used(metercap: Any, units: list[str], tmp_path: Path) -> None:
    """Who signed is in the file, in what is said and in what is learned from it; a changed file is refused."""
    good, more = tmp_path / "good.json", tmp_path / "more.json"
    found = metercap("learn", *units[:9], "--out", str(good), "--signed-by", " Ilse \x1b[31m")
    assert found.status == 0
    assert "  signed off by Ilse " in found.out
    assert "\x1b" not in found.out
    said = json.loads(metercap("learn", str(good), units[9], "--out", str(more), "--json").out)
    assert (said["units"], len(said["sources"]), said["signed"]) == (10, 11, None)
    assert [one["signed"][:5] for one in said["sources"]] == [""] * 9 + ["Ilse ", ""]
    compared = metercap("compare", str(good), units[20])
    assert compared.status in (0, 1)
    good.write_text(good.read_text("utf-8").replace('"value": 0.2', '"value": 0.3', 1))
    for words in (("compare", str(good), units[20]), ("learn", str(good), "--out", str(tmp_path / "x.json"))):
        refused = metercap(*words)
        assert refused.status == 2
        assert "was changed after 'Ilse" in refused.err


def test_a_name_must_be_one(metercap: Any, units: list[str], tmp_path: Path) -> None:
    """Nobody signs with nothing."""
    refused = metercap("learn", units[0], "--out", str(tmp_path / "x.json"), "--signed-by", "  ")
    assert refused.status == 2
    assert "leave --signed-by out" in refused.err
    assert not (tmp_path / "x.json").exists()


def test_anew(metercap: Any, units: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is remembered is in the user's cache, and not asked with --anew; what was remembered before is damaged."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    metercap("learn", *units[:3], "--out", str(tmp_path / "1.json"))
    (kept,) = (tmp_path / "cache").rglob("*.sqlite")
    kept.write_bytes(b"nothing" * 5000)
    anew = metercap("learn", *units[:3], "--out", str(tmp_path / "2.json"), "--anew")
    assert (anew.status, anew.err) == (0, "")
    again = metercap("learn", *units[:3], "--out", str(tmp_path / "3.json"))
    assert (again.status, "made anew" in again.err) == (0, True)
    assert len({(tmp_path / f"{n}.json").read_bytes() for n in (1, 2, 3)}) == 1


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_ctrl_c(tmp_path: Path) -> None:
    """In the middle of the work: exit status 130, no half-written reference; the next run reads the others only."""
    maker = Shop()
    paths = [str(maker.session(tmp_path / f"{n}.jsonl", n, known_good=True)) for n in range(900)]
    env = environment(XDG_CACHE_HOME=str(tmp_path / "cache"))
    command = [*METERCAP, "learn", *paths, "--out", str(tmp_path / "good.json")]
    program = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    written = tmp_path / "cache" / "metercap" / "journals.sqlite-wal"
    deadline_s = time.monotonic() + 30.0
    while time.monotonic() < deadline_s and not (written.exists() and written.stat().st_size > 100_000):
        time.sleep(0.01)
    program.send_signal(signal.SIGINT)
    out, err = program.communicate(timeout=30)
    assert (program.returncode, out) == (130, "")
    no_defect(err)
    assert not [path for path in tmp_path.iterdir() if "good.json" in path.name]
    again = subprocess.run(command, env=env, capture_output=True, text=True, timeout=60, check=True)
    assert "900 good units" in again.stdout
