"""`metercap history` over the real program: table, JSON and page, and what it says of bad input."""

from __future__ import annotations

import datetime
import json
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from metercap.records import InJob
from tests.archive.shop import Shop, make
from tests.e2e.program import METERCAP, environment, no_defect, run

GAINS = {"SN 1": 1.0, "SN 2": 1.02, "SN 3": 1.0}


@pytest.fixture(scope="module")
def north(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ninety sessions by three meters, of which one reads 2 % high; one unit has two broken coils."""
    folder = tmp_path_factory.mktemp("north")
    make(folder, 90, gains=GAINS)
    Shop(gains=GAINS).session(folder / "odd.jsonl", 90, wild=("K2", "K3"), unit="the odd one")
    return folder


def test_the_table(north: Path) -> None:
    """The meter first, then every item; the exit status says that one is off."""
    ended = run("history", str(north))
    text = ended.out.decode()
    assert ended.status == 1
    assert "! lcd14 (SN 2) reads ohm 2." in text
    assert "91 sessions, 2026-03-02 to 2026-05-31, 3 meters, 1 bench" in text
    (line,) = [line for line in text.splitlines() if line.strip().startswith("coils K1 ")]
    assert line.split()[2] == "91"
    assert "unit the odd one, odd.jsonl, 2026-05-31" in text
    assert text.index("coils K2") < text.index("the odd one")


def test_by_meter(north: Path) -> None:
    """Each item taken apart."""
    text = run("history", str(north), "--by", "meter").out.decode()
    assert text.count("lcd14 (SN 2)") == 15  # once as a meter, and at each of fourteen places


def test_json(north: Path) -> None:
    """One object, with all that the table has, and the files."""
    found = json.loads(run("history", str(north), "--json").out)
    history = found["history"]
    assert history["sessions"] == 91
    (one,) = [each for each in history["offsets"] if each["told"]]
    assert (one["meter"], one["unit"]) == ("lcd14 (SN 2)", "ohm")
    assert one["shift"] == pytest.approx(0.02, abs=0.006)
    k2 = next(each for each in history["places"] if each["item"] == "K2")
    assert k2["outliers"][0]["unit"] == "the odd one"
    assert found["files"]["files"] == 91


def test_page(north: Path, tmp_path: Path) -> None:
    """One page with its pictures; nothing from elsewhere; a page that is there is not written over."""
    page = tmp_path / "history.html"
    assert run("history", str(north), "--to", str(page)).status == 1
    text = page.read_text("utf-8")
    assert text.count("<figure>") >= 11
    assert "lcd14 (SN 2) reads ohm" in text
    assert "http" not in text.replace("http-equiv", "")
    again = run("history", str(north), "--to", str(page))
    assert again.status == 2
    assert "already exists" in again.err


def test_no_session(tmp_path: Path) -> None:
    """An empty folder, and one that is not there: what to do is said."""
    ended = run("history", str(tmp_path))
    assert (ended.status, "there is no session to tell of" in ended.err) == (2, True)
    ended = run("history", str(tmp_path / "nowhere"))
    assert (ended.status, "no such file, folder or job" in ended.err) == (2, True)


def test_what_is_wrong_is_said(tmp_path: Path) -> None:
    """Damage, a copy, a clock set back to 1970: on stderr, with the table on stdout all the same."""
    maker = Shop()
    torn = maker.session(tmp_path / "torn.jsonl", 1)
    torn.write_bytes(torn.read_bytes()[:-30])
    maker.session(tmp_path / "a.jsonl", 2)
    (tmp_path / "copy.jsonl").write_bytes((tmp_path / "a.jsonl").read_bytes())
    maker.session(tmp_path / "old.jsonl", 3, start=datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC))
    ended = run("history", str(tmp_path))
    assert ended.status == 0
    assert b"3 sessions" in ended.out
    for text in ("torn.jsonl", "copy.jsonl: the session of a.jsonl", "old.jsonl: began, by its clock, 1970"):
        assert text in ended.err, ended.err


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_ctrl_c(tmp_path: Path) -> None:
    """In the middle of the work, once something of it is kept: exit status 130, and nothing that looks like a defect.

    Then the next run reads the others only.
    """
    make(tmp_path / "shop", 1200)
    env = environment(XDG_CACHE_HOME=str(tmp_path / "cache"))
    command = [*METERCAP, "history", str(tmp_path / "shop"), "--json"]
    program = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    written = tmp_path / "cache" / "metercap" / "journals.sqlite-wal"
    deadline_s = time.monotonic() + 30.0
    while time.monotonic() < deadline_s and not (written.exists() and written.stat().st_size > 100_000):
        time.sleep(0.01)
    program.send_signal(signal.SIGINT)
    out, err = program.communicate(timeout=30)
    assert program.returncode == 130
    assert out == ""
    no_defect(err)
    again = subprocess.run(command, env=env, capture_output=True, text=True, timeout=60, check=True)
    files = json.loads(again.stdout)["files"]
    assert files["files"] == 1200
    assert files["read"] <= 700


def test_a_job_that_is_not_done_and_one_not_begun(tmp_path: Path) -> None:
    """One unit measured, its journal open, the other untouched: what was decided counts; a job without any has none."""
    text = 'title = "{}"\nplan = "plan.toml"\n[[unit]]\ntag = "A"\n[[unit]]\ntag = "B"\n'
    for name in ("vent pair", "fan pair"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "job.toml").write_text(text.format(name))
    pair = InJob("vent pair", 1, ("A", "B"))
    Shop().session(tmp_path / "vent pair" / "001-A.jsonl", 1, end=False, job=pair, wild=("K2",))
    ended = run("history", str(tmp_path), "--json")
    found = json.loads(ended.out)
    assert ended.status == 0
    assert (found["history"]["sessions"], found["files"]["unfinished"]) == (1, 1)
    assert "1 session: not run to the end; what was decided is counted" in ended.err
    alone = run("history", str(tmp_path / "fan pair"))
    assert alone.status == 2
    assert "there is no session to tell of" in alone.err


def test_jobs_by_their_titles_and_copied(tmp_path: Path) -> None:
    """A job that was copied to another machine and went on there: each session once, as far as it goes anywhere."""
    pair = InJob("vent pair", 1, ("A", "B"))
    here, there, maker = tmp_path / "here" / "vent pair", tmp_path / "there" / "vent pair", Shop()
    here.mkdir(parents=True)
    (here / "job.toml").write_text('title = "vent pair"\nplan = "plan.toml"\n[[unit]]\ntag = "A"\n')
    maker.session(here / "001-A.jsonl", 1, job=pair)
    shutil.copytree(here, there)
    maker.session(there / "002-A.jsonl", 2, job=pair)
    cut = (here / "001-A.jsonl").read_bytes().splitlines(keepends=True)
    (here / "001-A.jsonl").write_bytes(b"".join(cut[:4]))
    ended = run("history", str(tmp_path / "here"), str(tmp_path / "there"), "--json")
    found = json.loads(ended.out)
    assert (found["history"]["sessions"], found["files"]["copies"]["n"]) == (2, 1)
    k1 = next(each for each in found["history"]["places"] if each["item"] == "K1")
    assert k1["n"] == 2
    assert f"{here / '001-A.jsonl'}: the session of {there / '001-A.jsonl'}" in ended.err
