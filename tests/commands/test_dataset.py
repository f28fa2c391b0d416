"""`metercap export JOBS --to DATASET/` and the set's history: what is said, what is refused, what stops it."""

from __future__ import annotations

import io
import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.commands._dataset import between_jobs
from tests.archive.shop import Shop, job
from tests.e2e.program import METERCAP, environment, no_defect
from tests.fleet.conftest import GAINS, of_folder, of_set, parts

pytest.importorskip("pyarrow")


def shop(folder: Path, jobs: int) -> Path:
    """Write some jobs of two sittings."""
    maker = Shop(gains=GAINS)
    for number in range(jobs):
        job(folder / f"job-{number}", maker, number)
    return folder


def test_export_and_history(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Twice, and what it says; the history of the set is that of the folder, as JSON too."""
    folder = shop(tmp_path / "jobs", 12)
    target = f"{tmp_path}/set/"
    said = metercap("export", str(folder), "--to", target)
    assert (said.status, said.out) == (0, f"{target}: 12 jobs, 12 written (336 rows), 0 as they were\n")
    said = metercap("export", str(folder), "--to", target.rstrip("/"), "--json")  # it is there: no slash is needed
    found = json.loads(said.out)
    assert (found["jobs"], found["written"], found["same"]) == (12, 0, 12)
    of_jobs = metercap("history", str(folder), "--json", "--anew")
    of_the_set = metercap("history", target, "--json")
    assert json.loads(of_the_set.out)["history"] == json.loads(of_jobs.out)["history"]
    assert of_the_set.status == of_jobs.status
    assert json.loads(of_the_set.out)["files"]["parts"] == 12
    assert metercap("history", target, "--by", "meter").out == metercap("history", str(folder), "--by", "meter").out


def test_what_is_wrong_is_said(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """On stderr: a job that cannot be read, a damaged journal, a stale part; exit status 1 where a job is not in."""
    folder = shop(tmp_path / "jobs", 3)
    (folder / "job-0" / "job.toml").write_text("title =")
    torn = folder / "job-1" / "001-A.jsonl"
    torn.write_bytes(torn.read_bytes()[:-30])
    Shop().session(folder / "loose.jsonl", 99)
    said = metercap("export", str(folder), "--to", f"{tmp_path}/set/")
    assert said.status == 1
    for text in (
        "1 job: not in the set as it is now",
        "job-0",
        "1 journal: cannot be read whole",
        "in no job, and left out",
    ):
        assert text in said.err, said.err
    path = parts(tmp_path / "set")[0]
    path.with_name(f".{path.stem}.part").touch()
    said = metercap("history", f"{tmp_path}/set")
    assert "1 part: not counted" in said.err
    assert "is stale" in said.err
    assert "2 sessions" in said.out


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (["--to", "x.csv", "--bench", "north"], "only a data set has benches"),
        (["--to", "set/", "--table", "readings"], "a data set holds verdicts"),
        (["other", "--to", "x.csv"], "a table is of one FILE"),
        (["--to", "set/", "--clap", "1"], "only subtitles"),
        (["--to", "set/"], "there is no job to export"),
        (["--to", "."], "no data set, and not empty"),
    ],
)
def test_what_does_not_fit_together_is_refused(
    metercap: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path, more: list[str], why: str
) -> None:
    """Said where it is."""
    monkeypatch.delenv("METERCAP_TRACEBACK")
    monkeypatch.chdir(tmp_path)
    journal = Shop().session(tmp_path / "one.jsonl", 1)
    said = metercap("export", str(journal), *more)
    assert (said.status, why in said.err) == (2, True), said.err


def test_a_set_beside_folders_is_refused(
    metercap: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What is in both would count twice."""
    monkeypatch.delenv("METERCAP_TRACEBACK")
    folder = shop(tmp_path / "jobs", 1)
    metercap("export", str(folder), "--to", f"{tmp_path}/set/")
    said = metercap("history", f"{tmp_path}/set", str(folder))
    assert (said.status, "told of by itself" in said.err) == (2, True)


def test_how_far_it_is_on_a_terminal(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nothing in the first second, then twice a second, on one line; nothing at all where nobody looks."""
    from metercap.commands import _saying

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    clock = iter(n / 4 for n in range(100))
    monkeypatch.setattr(time, "monotonic", lambda: next(clock))
    for stderr, lines in ((Terminal(), ["4 jobs", "6 jobs", "8 jobs"]), (io.StringIO(), [])):
        monkeypatch.setattr(sys, "stderr", stderr)
        say = _saying.showing()
        for n in range(1, 10):
            say(f"{n} jobs")
        assert [text for text in stderr.getvalue().split("\r") if text] == lines


def test_ctrl_c_is_never_lost() -> None:
    """Pressed where what it raises would be ignored, it ends at the next job; pressed twice, at once."""

    class Ending:
        def __del__(self) -> None:
            signal.raise_signal(signal.SIGINT)

    said: list[str] = []
    with pytest.raises(KeyboardInterrupt), between_jobs(said.append) as progress:
        progress("1 job")
        Ending()
        progress("2 jobs")
    assert said == ["1 job"]
    with pytest.raises(KeyboardInterrupt), between_jobs(said.append):
        signal.raise_signal(signal.SIGINT)
        signal.raise_signal(signal.SIGINT)
        said.append("too late")
    assert said == ["1 job"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def started(folder: Path, dataset: Path) -> subprocess.Popen[str]:
    """Start an export of its own process."""
    line = [*METERCAP, "export", str(folder), "--to", f"{dataset}/"]
    return subprocess.Popen(line, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def at_work(dataset: Path, program: subprocess.Popen[str]) -> None:
    """Wait until some parts are written."""
    deadline_s = time.monotonic() + 30.0
    while len(list(dataset.glob("*/*/*.parquet"))) < 3 and program.poll() is None and time.monotonic() < deadline_s:
        time.sleep(0.005)


@pytest.mark.attack
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_stopped_in_the_middle(tmp_path: Path, attack: Callable[[str], Any], how: signal.Signals) -> None:
    """Nothing of what is in the set is wrong, and the next export makes it whole."""
    folder = shop(tmp_path / "jobs", 80)
    with attack(f"export into a data set: {how.name}").trial():
        program = started(folder, tmp_path / "set")
        at_work(tmp_path / "set", program)
        program.send_signal(how)
        out, err = program.communicate(timeout=30)
        assert out == "", err
        no_defect(err)
        assert program.returncode == (130 if how == signal.SIGINT else -how)
        found, told = of_set(tmp_path / "set")
        assert 6 <= found.sessions < 160
        assert found.sessions == 2 * len(list((tmp_path / "set").glob("*/*/*.parquet")))
        assert told.unusable.n <= 1
        assert how == signal.SIGKILL or told.unusable.n == 0
        again = started(folder, tmp_path / "set")
        again.communicate(timeout=60)
        assert again.returncode == 0
        assert of_set(tmp_path / "set")[0] == of_folder(folder)
        assert {path.suffix for path in parts(tmp_path / "set")} == {".parquet"}


def test_two_at_once(tmp_path: Path) -> None:
    """Each job is in once; one that the other was writing just then is told, and nothing is spoilt."""
    folder = shop(tmp_path / "jobs", 40)
    both = [started(folder, tmp_path / "set") for _ in range(2)]
    ends = [(*one.communicate(timeout=60), one.returncode) for one in both]
    for _out, err, status in ends:
        no_defect(err)
        assert status == (1 if "another export is writing" in err else 0), err
    assert of_set(tmp_path / "set")[0] == of_folder(folder)
    assert len(parts(tmp_path / "set")) == 40
