"""The report of a job that the real program did: two units taken in turn, one of them killed and gone on with."""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

import pytest

from tests.e2e.jobs import BOARD, SWEEP, going_on, journals_in, new_job, sittings
from tests.e2e.outside_meter import Meter
from tests.e2e.program import Hands, Record, of_kind, program, run

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.usefixtures("hastened"),
]


def passed(records: list[Record], tag: str, item: str) -> bool:
    """Return whether an item of a unit passed by a contact, in whatever sitting."""
    return any(
        verdict["item"] == item and verdict["from_s"] is not None
        for sitting in sittings(records)
        if sitting[0]["tag"] == tag
        for verdict in of_kind(sitting, "verdict")
    )


def test_nothing_that_one_sitting_holds_reads_not_done(tmp_path: Path, journals: list[Path]) -> None:
    """L's F1, then R killed after its F2; gone on with, R's F3 and L's others: one page tells it all."""
    job = new_job(tmp_path, SWEEP, "--known-good", "R", "--symptom", "L=blows F2")
    (job / "L board.jpg").write_bytes(b"no picture at all")
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(BOARD), {"job": "say"})
        with program(*going_on(job, meter), see=hands.see) as metercap:
            hands.program = metercap
            metercap.until(lambda seen: passed(seen, "L", "F1"), "L F1")
            metercap.say("take R")
            metercap.until(lambda seen: passed(seen, "R", "F2"), "R F2")
            metercap.kill()
    half = run("report", str(job), "--text")
    assert half.status == 0, half.err
    before = " ".join(half.out.decode().split())
    assert "Not done: fuses F3." in before or "Not done: fuses F2, F3." in before
    assert "002-R.jsonl is unclosed" in before
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(BOARD), {"job": "yes"})
        with program(*going_on(job, meter), see=hands.see) as metercap:
            hands.program = metercap
            ended = metercap.wait()
    assert ended.status == 0, ended.err
    whole = run("report", str(job), "--text")
    assert whole.status == 0, whole.err
    text = " ".join(whole.out.decode().split())
    assert "not done" not in text.casefold() and "not measured" not in text
    assert "Symptom blows F2" in text and "Unit R, known good" in text
    assert "picture L board.jpg is left out" in text
    for path in journals_in(job):
        assert hashlib.sha256(path.read_bytes()).hexdigest() in whole.out.decode()
    page = run("report", str(job))
    assert page.status == 0 and (job / "report.html").is_file()
    journals += journals_in(job)
