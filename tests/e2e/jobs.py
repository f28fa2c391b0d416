"""A job over the real program: a folder with two units, and what the program said in each sitting."""

from __future__ import annotations

import json
from pathlib import Path

from tests.e2e.outside_meter import Meter
from tests.e2e.program import Record, plan_file, run, sweep

CONFIRM = '[[step]]\nid = "intake"\nkind = "confirm"\nsay = "symptom noted?"\n'
LEADS = '[[step]]\nid = "leads"\nkind = "zero"\n'
SWEEP = CONFIRM + LEADS + sweep('"F1..F3"')
BOARD = {"leads": 0.2, "F1": 0.4, "F2": 0.5, "F3": 0.4}


def new_job(
    folder: Path, steps: str = SWEEP, *more: str, units: tuple[str, ...] = ("L", "R"), dead: bool = False
) -> Path:
    """Make a job called "vent pair" with these units and return its folder; `dead`: they must be proved dead."""
    plan = plan_file(folder, steps)
    if dead:
        plan.write_text(plan.read_text("utf-8").replace('supply = "none"\n', ""), encoding="utf-8")
    named = [word for unit in units for word in ("--unit", unit)]
    done = run("job", "new", "vent pair", "--plan", str(plan), *named, *more, cwd=folder)
    assert done.status == 0, done.err
    return folder / "vent-pair"


def going_on(job: Path, meter: Meter, *more: str) -> list[str]:
    """Return the arguments that go on with a job."""
    return ["run", str(job), "--port", str(meter.path), "--meter", meter.family, "--rate", "10", *more]


def sittings(records: list[Record]) -> list[list[Record]]:
    """Return what a program said, session by session."""
    found: list[list[Record]] = []
    for record in records:
        if record["kind"] == "session":
            found.append([])
        found[-1].append(record)
    return found


def journals_in(job: Path) -> list[Path]:
    """Return a job's journals in the order of their numbers."""
    return sorted(job.glob("*.jsonl"))


def read(path: Path) -> list[Record]:
    """Return a file's whole records."""
    return [json.loads(line) for line in path.read_bytes().split(b"\n")[:-1]]


def raw_of(records: list[Record]) -> bytes:
    """Return all that the meter sent while a session ran."""
    return b"".join(bytes.fromhex(record["raw"]) for record in records if record["kind"] in ("reading", "garbage"))
