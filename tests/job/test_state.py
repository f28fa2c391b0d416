"""How the units of a job stand, and with which it goes on."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from metercap.job import Folder, JobFile, JobUnit, Sitting
from metercap.job.state import Played, UnitState, job_states, on_mat
from metercap.journal import Writer
from metercap.outcome import Fold
from metercap.records import InJob, Operator, SessionRecord, at
from metercap.session import Driver, Session
from tests.steps.bench_play import confirm, meter, opening

UNITS = ("A", "B", "C")
JOB = JobFile("three", "plan.toml", tuple(JobUnit(tag) for tag in UNITS))


def first(tag: str, number: int) -> SessionRecord:
    """Return a session's first record; it started at 9 o'clock."""
    return opening((confirm(),), meter(), tag=tag, id=f"s{number}", job=InJob("three", number, UNITS))


def sit(folder: Folder, tag: str, words: tuple[str, ...], *, close: bool = True) -> Path:
    """Write a journal in which these words were said, one a second."""
    sitting = folder.free(tag)
    record = first(tag, sitting.number)
    driver = Driver(Session(record))
    writer = Writer.create(sitting.path, record)
    for outcome in driver.start():
        writer.append(outcome)
    for n, word in enumerate(words, 1):
        for event, outcomes in driver.feed(Operator(at(float(n)), word, "", "line")):
            for said in (event, *outcomes):
                writer.append(said)
    if close:
        writer.close(float(len(words)), driver.session.end_reason)
    else:
        writer.abandon()
    return sitting.path


def test_it_goes_on_with_what_was_on_the_mat_last(tmp_path: Path) -> None:
    """In the job's order from there on where that one is over; a unit that was never begun is open."""
    folder = Folder(tmp_path, JOB)
    assert on_mat(folder, job_states(folder)) == "A"
    sit(folder, "B", ("quit",))
    assert on_mat(folder, job_states(folder)) == "B"
    sit(folder, "B", ("yes",))
    assert on_mat(folder, job_states(folder)) == "C"
    sit(folder, "C", ("fail",))
    assert on_mat(folder, job_states(folder)) == "A"
    sit(folder, "A", ("yes",))
    states = job_states(folder)
    assert on_mat(folder, states) == ""
    assert [(state.over, state.good) for state in states] == [(True, True), (True, True), (True, False)]


def test_a_journal_without_a_session_is_passed_over(tmp_path: Path) -> None:
    """The one before it tells how the unit stands, and both files are named."""
    folder = Folder(tmp_path, JOB)
    sit(folder, "A", ("yes",))
    folder.free("A").path.write_bytes(b"")
    state = job_states(folder)[0]
    assert state.last is not None and state.last.sitting.number == 1 and state.over
    assert [trouble.split(":")[0] for trouble in state.troubles] == ["002-A.jsonl"]
    assert [each.number for each in state.sittings] == [1, 2]


def test_one_that_broke_off_stands_as_far_as_it_goes(tmp_path: Path) -> None:
    """Without an end nothing is wrong with it: it is open, and no trouble."""
    folder = Folder(tmp_path, JOB)
    sit(folder, "A", (), close=False)
    state = job_states(folder)[0]
    assert state.last is not None and not state.over and state.troubles == ()


@pytest.mark.parametrize(
    ("now", "age_s"),
    [
        ("2026-03-01T09:05:00+00:00", 300.0),
        ("2026-03-08T09:00:00+00:00", 7 * 86400.0),
        ("2026-03-01T08:00:00+00:00", 40.0),  # the clock was set back: it lasted that long at least
        ("2019-01-01T00:00:00+00:00", 40.0),
        ("2026-03-01T10:00:30+01:00", 40.0),
        ("2026-03-01T10:00:50+01:00", 50.0),
    ],
)
def test_how_long_ago_a_sitting_began(now: str, age_s: float) -> None:
    """By the wall clock, in whatever zone, but no less than it lasted."""
    record, fold = first("A", 1), Fold()
    fold.add(record)
    played = Played(Sitting(1, "A", Path("001-A.jsonl")), Session(record), fold, 40.0)
    assert played.age_s(datetime.datetime.fromisoformat(now)) == pytest.approx(age_s)
    assert played.id == "s1"


def test_a_unit_that_was_never_begun() -> None:
    """It is neither over nor good."""
    state = UnitState(JobUnit("A"), (), None)
    assert not state.over and not state.good
