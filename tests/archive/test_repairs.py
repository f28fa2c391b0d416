"""What the jobs of a shop teach: read once, within a time, and never of the unit that is asked about. By hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from metercap.archive import repairs as room
from metercap.archive.repairs import beside, repairs
from metercap.faults import Repair
from metercap.job import JobFile, JobUnit, make
from metercap.journal import Writer
from metercap.plan import Plan, to_builtins
from metercap.plankeys import ConfirmStep, StepBase
from metercap.records import EndRecord, SessionRecord
from metercap.symptom import Symptom
from tests.session.recorded import again
from tests.steps.bench_play import Play

HUMS = "it hums"
STEPS: tuple[StepBase, ...] = (
    ConfirmStep(id="relay", say="Does it click?", minutes=2.0, finds={HUMS: 0.5}),
    ConfirmStep(id="plugs", say="Do they sit tight?", minutes=1.0, finds={HUMS: 0.3}),
)
PLAN = """[plan]
title = "Climate controller, main board"
model = "GC-8"
supply = "none"
symptoms = ["it hums"]
[[step]]
id = "relay"
kind = "confirm"
say = "Does it click?"
"""
RELAY, PLUGS = ":fail :at=relay :yes :yes", ":to=plugs :fail :at=plugs :yes :yes"


def job(folder: Path, name: str, **units: str) -> Path:
    """Make a job whose units were repaired, each by a script of words."""
    if not (folder / "plan.toml").exists():
        (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    made = make(folder / name, JobFile(name, "plan.toml", tuple(map(JobUnit, units))), folder / "plan.toml")
    for number, (tag, script) in enumerate(units.items(), 1):
        write(made.path / f"{number:03d}-{tag}.jsonl", script)
    return made.path


def write(path: Path, script: str) -> None:
    """Write the journal of a session in which these words were said."""
    plan = Plan(title="GC-8", steps=STEPS, model="GC-8", supply="none", symptoms=(HUMS,))  # type: ignore[arg-type]
    fields: dict[str, Any] = {"plan": to_builtins(plan), "symptom": Symptom(HUMS), "id": path.stem}
    first, *rest = again(Play(*STEPS, **fields)(script))
    assert isinstance(first, SessionRecord)
    with Writer.create(path, first) as writer:
        for record in rest:
            if not isinstance(record, EndRecord):
                writer.append(record)
        writer.close(rest[-1].t_s, "done")


def said(*_: object) -> None:
    """Let what is said go by."""


def found(folders: list[str], but: tuple[Path, str], place: Path | None = None, within_s: float = 60.0) -> list[str]:
    return sorted(each.step for each in repairs(folders, but, place, said, within_s))


def test_every_other_unit_of_the_jobs_beside_counts_once(tmp_path: Path) -> None:
    """Its own other unit too; not itself, and not what lies elsewhere."""
    first = job(tmp_path, "first", A=RELAY, B=PLUGS)
    job(tmp_path, "second", A=RELAY)
    (tmp_path / "deeper").mkdir()
    job(tmp_path / "deeper", "third", A=RELAY)
    near = beside(first)
    assert [Path(each).name for each in near] == ["first", "second"]
    assert found(near, (first, "A")) == ["plugs", "relay"]
    assert found(near, (first, "B")) == ["relay", "relay"]
    assert found([*near, str(tmp_path)], (first, "A")) == ["plugs", "relay", "relay"], "each job once"
    assert repairs([str(first)], (first, "A"), None, said, 60.0) == (Repair("GC-8", HUMS, "plugs"),)


def test_without_proof_nothing_is_taught(tmp_path: Path) -> None:
    """The plan has no starts: something that still fails at the end says that the unit is not cured."""
    first = job(tmp_path, "first", A=":fail :at=relay :yes :fail", B=RELAY)
    assert found([str(first)], (first, "")) == ["relay"]


def test_a_journal_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was read is kept: the second start reads no journal, and finds the same."""
    first = job(tmp_path, "first", A=RELAY, B=PLUGS)
    place = tmp_path / "kept.sqlite"
    assert found([str(first)], (first, ""), place) == ["plugs", "relay"]
    monkeypatch.setattr(room, "iterate", None)
    assert found([str(first)], (first, ""), place) == ["plugs", "relay"]


def test_reading_ends_when_its_time_is_over(tmp_path: Path) -> None:
    """A unit that was not looked at teaches nothing, is told, and is read by a start that has the time."""
    first = job(tmp_path, "first", A=RELAY, B=PLUGS)
    told: list[str] = []
    place = tmp_path / "kept.sqlite"
    assert repairs([str(first)], (first, ""), place, told.append, -1.0) == ()
    assert told == ["2 units of other jobs were not looked at for want of time; the next start reads on"]
    assert found([str(first)], (first, ""), place) == ["plugs", "relay"]
    assert found([str(first)], (first, ""), place, -1.0) == ["plugs", "relay"], "what is kept takes no time"


def test_what_cannot_be_read_teaches_nothing(tmp_path: Path) -> None:
    """Damage, an empty file, another one's file: the others count all the same."""
    first = job(tmp_path, "first", A=RELAY, B=PLUGS)
    data = (first / "001-A.jsonl").read_bytes()
    (first / "001-A.jsonl").write_bytes(data[: len(data) // 3])
    (first / "003-B.jsonl").write_bytes(b"")
    (first / "004-B.jsonl").write_text("{}", encoding="utf-8")
    assert found([str(first)], (first, "")) == ["plugs"]
