"""A job's folder: which journals it has, in which order, what the next one is called, and who holds it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from metercap.errors import JobError
from metercap.job import JobFile, JobUnit, held, is_job, make, open_job
from metercap.job.find import job_at, job_of_argument, remember_job
from metercap.job.folder import folder_name

PLAN = '[plan]\ntitle = "one"\nsupply = "none"\n[[step]]\nid = "a"\nkind = "confirm"\n'


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder of a job of L and R, in a working folder and with settings of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("metercap.settings.folder", lambda: tmp_path / "settings")
    (tmp_path / "given.toml").write_text(PLAN, encoding="utf-8")
    return make(tmp_path / "pair", JobFile("vent pair", "", (JobUnit("L"), JobUnit("R"))), tmp_path / "given.toml").path


def test_the_plan_is_copied(job: Path) -> None:
    """So that the folder is whole."""
    assert (job / "plan.toml").read_text("utf-8") == PLAN
    assert open_job(job).plan().title == "one"
    assert open_job(job / "job.toml").path == job


def test_journals_are_ordered_by_their_numbers(job: Path) -> None:
    """Whatever their dates, and however the numbers are written; what is no journal of a unit is left alone."""
    for name in ("002-R.jsonl", "010-L.jsonl", "3-l.jsonl", "1000-R.jsonl", "004 L.jsonl"):
        (job / name).touch()
    for name in ("photo.jpg", "notes.jsonl", "005-X.jsonl", "L-006.jsonl", "007-L.json"):
        (job / name).touch()
    folder = open_job(job)
    assert [(each.number, each.tag) for each in folder.sittings] == [
        (2, "R"),
        (3, "L"),
        (4, "L"),
        (10, "L"),
        (1000, "R"),
    ]
    assert [each.number for each in folder.of("L")] == [3, 4, 10]
    assert folder.free("L").path.name == "1001-L.jsonl"


def test_a_number_is_never_used_twice(job: Path) -> None:
    """Not even that of a journal whose unit the job has no more."""
    assert open_job(job).free("R").path.name == "001-R.jsonl"
    (job / "007-X.jsonl").touch()
    assert open_job(job).free("R").path.name == "008-R.jsonl"


def test_a_folder_that_exists_is_no_new_job(job: Path) -> None:
    """Nothing is ever overwritten."""
    with pytest.raises(JobError, match="already exists"):
        make(job, JobFile("vent pair", "", (JobUnit("L"),)), job / "plan.toml")


def test_held_by_one(job: Path) -> None:
    """A second hold is refused while the first lasts; reading the job is not."""
    folder = open_job(job)
    with held(folder):
        assert open_job(job) == folder
        with pytest.raises(JobError, match="at work on this job"), held(folder):
            raise AssertionError("held twice")
    with held(folder):
        pass


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_a_crash_leaves_nothing_in_the_way(job: Path) -> None:
    """Another process that holds it is named with its number; when it was killed, nobody holds it."""
    code = (
        "import sys, time; from pathlib import Path; from metercap.job import held, open_job\n"
        "with held(open_job(Path(sys.argv[1]))): print('held', flush=True); time.sleep(60)"
    )
    other = subprocess.Popen([sys.executable, "-c", code, str(job)], stdout=subprocess.PIPE)
    assert other.stdout is not None and other.stdout.readline() == b"held\n"
    try:
        with pytest.raises(JobError) as caught, held(open_job(job)):
            pass
        if sys.platform == "linux":
            assert f"process {other.pid}" in str(caught.value)
    finally:
        other.kill()
        other.wait()
        other.stdout.close()
    with held(open_job(job)):
        pass


def test_found_by_folder_and_by_title(job: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """In the working folder, and from anywhere once it was used; a plan's name goes first."""
    assert is_job(job) and not is_job(job.parent) and not is_job(Path("\0"))
    assert job_at("Vent pair ") == open_job(job)
    assert job_of_argument("vent pair") == job_of_argument(str(job)) == open_job(job)
    assert job_of_argument(str(job / "plan.toml")) is None and job_of_argument("greenhouse-controller") is None
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    assert job_at("vent pair") is None
    remember_job(open_job(job))
    assert job_at("vent pair") == open_job(job)
    make(elsewhere / "second", JobFile("vent pair", "", (JobUnit("L"),)), job / "plan.toml")
    with pytest.raises(JobError, match="2 jobs are called"):
        job_at("vent pair")


@pytest.mark.parametrize(
    ("title", "name"), [("vent pair", "vent-pair"), ("Auftrag 77/Ä", "auftrag-77-ä"), ("../..", ""), ("  ", "")]
)
def test_a_folder_for_a_title(title: str, name: str) -> None:
    """Never one above the working folder."""
    if name:
        assert folder_name(title) == name
    else:
        with pytest.raises(JobError, match="no folder can be named"):
            folder_name(title)
