"""A job that is killed at whatever moment: nothing is lost, nothing is asked twice, and it comes to its end."""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from tests.e2e.jobs import CONFIRM, LEADS, going_on, journals_in, new_job, read
from tests.e2e.outside_meter import Meter
from tests.e2e.program import Hands, Program, Record, run, sweep

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.attack,
    pytest.mark.usefixtures("hastened"),
]

FAULT = "F3"


class Work(NamedTuple):
    """A plan with some fuses; what each unit's board is, in ohms by item; and the verdicts that are true of it."""

    plan: str
    boards: dict[str, dict[str, float]]
    true: dict[str, dict[str, str]]


def work(fuses: int) -> Work:
    """Two units, R with a fuse that is bad."""
    outro = '[[step]]\nid = "outro"\nkind = "confirm"\nsay = "put together?"\n'
    good = {"leads": 0.2} | {f"F{n}": 0.3 + 0.1 * (n % 3) for n in range(1, fuses + 1)}
    boards = {"L": good, "R": good | {FAULT: 7.0}}
    confirmed = dict.fromkeys(("intake", "leads", "outro"), "pass")
    passed = confirmed | {f"F{n}": "pass" for n in range(1, fuses + 1)}
    return Work(
        CONFIRM + LEADS + sweep(f'"F1..F{fuses}"') + outro, boards, {"L": passed, "R": passed | {FAULT: "fail"}}
    )


class Technician(Hands):
    """Hands that know which unit is on the mat: the program says its tag."""

    def __init__(self, meter: Meter, boards: dict[str, dict[str, float]]) -> None:
        super().__init__(meter, {})
        self._boards = boards

    def see(self, record: Record) -> None:
        """Take one record of the program."""
        if record["kind"] == "session":
            self._board = dict(self._boards[record["tag"]])
        super().see(record)


def standing(paths: list[Path]) -> dict[str, dict[str, str]]:
    """Return the verdicts that stand in each unit's last whole journal."""
    found: dict[str, dict[str, str]] = {}
    for path in paths:
        records = read(path)
        if records:
            found[records[0]["tag"]] = {r["item"]: r["verdict"] for r in records if r["kind"] == "verdict"}
    return found


def asked_twice(paths: list[Path]) -> list[str]:
    """Return what was asked for though a file that was there already held its verdict; leads are no item of a unit."""
    decided: dict[str, dict[str, str]] = {}
    twice = []
    for path in paths:
        records = read(path)
        if not records:
            continue
        tag = records[0]["tag"]
        before = decided.get(tag, {})
        for record in records:
            if record["kind"] == "prompt" and record["do"] in ("probe", "confirm") and record["item"] in before:
                twice.append(f"{path.name}: {record['item']}")
        mine = {r["item"]: r["verdict"] for r in records if r["kind"] == "verdict" and r["item"] != "leads"}
        decided[tag] = before | mine
        lost = [item for item in before if item not in mine]
        twice += [f"{path.name} lost {item}" for item in lost]
    return twice


@pytest.mark.timeout(540)
@pytest.mark.parametrize(("kills", "fuses"), [(3, 4), pytest.param(50, 8, marks=pytest.mark.slow)])
def test_killed_at_random_moments(tmp_path: Path, kills: int, fuses: int, attack: Callable[[str], Any]) -> None:
    """Each time it goes on; in the end every verdict is what the boards are, as without a kill."""
    rng = random.Random(7)
    killed = attack("job killed with -9 and gone on with")
    plan, boards, true = work(fuses)
    job = new_job(tmp_path, plan)
    with Meter(tmp_path) as meter:
        for _ in range(kills):
            hands = Technician(meter, boards)
            metercap = Program(*going_on(job, meter), see=hands.see)
            hands.program = metercap
            end_s = time.monotonic() + rng.uniform(0.2, 2.5)
            if rng.random() < 0.5:
                time.sleep(max(0.0, rng.uniform(0.5, 0.9) * (end_s - time.monotonic())))
                metercap.say(f"take {rng.choice('LR')}")
            time.sleep(max(0.0, end_s - time.monotonic()))
            with killed.trial():
                metercap.kill()
                hands.rest()
                assert asked_twice(journals_in(job)) == []
        hands = Technician(meter, boards)
        metercap = Program(*going_on(job, meter), see=hands.see)
        hands.program = metercap
        ended = metercap.wait(180.0)
    assert ended.status == 1, ended.err  # the fuse that is bad
    paths = journals_in(job)
    assert asked_twice(paths) == []
    assert {tag: dict(sorted(each.items())) for tag, each in standing(paths).items()} == {
        tag: dict(sorted(each.items())) for tag, each in true.items()
    }
    checked = run("replay", str(job), "--check", timeout_s=300.0)
    torn = [path for path in paths if not read(path)]
    assert checked.out.count(b"derived again exactly") == len(paths) - len(torn), checked.out
    assert run("verify", str(job)).status <= 1
    shown = run("job", "show", str(job))
    assert shown.status == 1 and b"nothing is open" in shown.out
