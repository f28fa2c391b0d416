"""A job over the real program: two units taken in turn on one port, put aside, interrupted, and gone on with."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.e2e.jobs import BOARD, going_on, journals_in, new_job, raw_of, sittings
from tests.e2e.outside_meter import Meter
from tests.e2e.program import Hands, Record, of_kind, program, verdicts

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


def ticked(records: list[Record], n: int, item: str) -> bool:
    """Return whether an item passed by a contact of session `n` (from 0), and was not only taken over."""
    found = sittings(records)
    if len(found) <= n:
        return False
    return any(v["item"] == item and v["from_s"] is not None for v in of_kind(found[n], "verdict"))


def asked(records: list[Record]) -> list[str]:
    """Return what was asked for, as "probe F1"; what stands beside it (a range) is none of it."""
    return [f"{each['do']} {each['item']}" for each in of_kind(records, "prompt") if each["item"]]


def test_a_unit_is_parked_another_taken_and_the_first_gone_on_with(tmp_path: Path, journals: list[Path]) -> None:
    """Nothing that was decided is asked again, the leads stay nulled, no byte is lost, and the status is over both."""
    job = new_job(tmp_path)
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(BOARD), {"job": "say"})
        with program(*going_on(job, meter), see=hands.see) as metercap:
            hands.program = metercap
            metercap.until(lambda seen: ticked(seen, 0, "F1"), "L F1")
            metercap.say("take R")
            metercap.until(lambda seen: ticked(seen, 1, "F2"), "R F2")
            metercap.say("take L")
            metercap.until(lambda seen: ticked(seen, 2, "F3"), "L F3")
            metercap.until(lambda seen: "confirm job" in asked(seen), "the question for the next unit")
            metercap.say("quit")
            ended = metercap.wait()
        sent = b"".join(frame for _, frame in meter.sent)
    left, right, again = sittings(metercap.records)
    assert [of_kind(each, "end")[0]["reason"] for each in (left, right, again)] == ["parked", "parked", "quit"]
    assert [path.name for path in journals_in(job)] == ["001-L.jsonl", "002-R.jsonl", "003-L.jsonl"]
    assert b"".join(path.read_bytes() for path in journals_in(job)) == ended.out
    assert asked(right)[:2] == ["confirm intake", "probe F1"]  # no null: the leads are the same
    assert verdicts(right)["leads"] == "pass"
    assert asked(again)[:2] == ["answer F1", "probe F2"]  # the tick before it was parked is counted first
    assert verdicts(again) == {"intake": "pass", "leads": "pass", "F1": "pass", "F2": "pass", "F3": "pass"}
    assert ended.status == 1  # R has F3 open
    assert raw_of(metercap.records) in sent
    journals += journals_in(job)
