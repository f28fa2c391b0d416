"""From plugging in to the first tick: port and meter found, the journal named, one step without a plan file.

The meter is the outside one, behind a pseudo-terminal that is announced as a practice meter's port is; computers that
run tests have no other.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from metercap.link.ports import announced
from tests.e2e.outside_meter import Meter, Shown
from tests.e2e.program import Hands, Record, of_kind, program, run, verdicts

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.usefixtures("hastened"),
]

BOARD: dict[str, float | Shown] = {"leads": 0.1, "F1": 0.3, "F2": 0.2, "F3": 0.4}


@pytest.fixture
def meter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Meter]:
    """A meter of 10 conversions a second on a port that can be found, and settings of its own."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    with Meter(tmp_path, rate=10.0) as meter, announced(str(meter.path), "outside meter"):
        yield meter


def test_a_sweep_with_one_command(meter: Meter, tmp_path: Path) -> None:
    """Nothing but the fuses and the limit is typed: the meter is heard, the journal gets a name, all are ticked."""
    hands = Hands(meter, BOARD)
    began = time.monotonic()
    first: list[float] = []

    def see(record: Record) -> None:
        if record["kind"] == "verdict" and record["item"] == "F1":
            first.append(time.monotonic() - began)
        hands.see(record)

    args = ["sweep", "F1..F3", "--max", "2 ohm", "--loose", "--rate", "10"]
    with program(*args, see=see, cwd=tmp_path) as metercap:
        hands.program = metercap
        ended = metercap.wait()
    assert ended.status == 0, ended.err
    assert f"meter lcd14 heard on {meter.path}" in ended.err
    assert first[0] < 60, "the first tick within a minute"
    journals = list(tmp_path.glob("*-unit.jsonl"))
    assert len(journals) == 1
    records = [json.loads(line) for line in journals[0].read_bytes().splitlines()]
    assert {item: verdicts(records)[item] for item in ("F1", "F2", "F3")} == dict.fromkeys(("F1", "F2", "F3"), "pass")
    assert [step["kind"] for step in records[0]["plan"]["steps"]] == ["zero", "sweep"]
    assert records[0]["options"]["port"] == str(meter.path)
    # It is written down with its real kinds, and the same meter is taken without listening the next time.
    planned = run("plan", "new", "--from", str(journals[0]), "--out", str(tmp_path / "mine.toml"))
    assert planned.status == 0, planned.err
    text = (tmp_path / "mine.toml").read_text()
    assert 'kind = "sweep"' in text
    assert 'items = ["F1..F3"]' in text
    assert run("plan", "check", str(tmp_path / "mine.toml")).status == 0
    again = run("watch", "--count", "3", "--no-save", cwd=tmp_path)
    assert again.status == 0, again.err
    assert f"meter lcd14 on {meter.path}, as last time" in again.err


def test_ohms_without_a_point_to_prove_dead_are_refused(meter: Meter, tmp_path: Path) -> None:
    """Before anything is listened to, and with what to do."""
    ended = run("sweep", "F1..F3", "--max", "2 ohm", cwd=tmp_path)
    assert ended.status == 2
    assert "--point" in ended.err
    assert "--loose" in ended.err
    assert "listening" not in ended.err
    assert not list(tmp_path.glob("*.jsonl"))


def test_two_meters_are_not_guessed_between(meter: Meter, tmp_path: Path) -> None:
    """Each is named with its port, and how to choose; nothing is begun."""
    import os

    from metercap import settings

    (tmp_path / "other").mkdir()
    with Meter(tmp_path / "other", rate=10.0) as second:
        note = settings.folder() / "practice" / "1.json"
        note.write_text(json.dumps({"name": str(second.path), "stable": "", "description": "", "serial_number": "",
                                    "owner_pid": os.getpid()}))  # fmt: skip
        ended = run("watch", "--count", "1", cwd=tmp_path)
    assert ended.status == 3
    assert str(meter.path) in ended.err
    assert str(second.path) in ended.err
    assert "--port" in ended.err


def test_a_silent_port_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No meter heard: status 3, what to try, and that a polled one must be named."""
    import os
    import pty

    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    master, slave = pty.openpty()
    try:
        with announced(os.ttyname(slave), "silent"):
            ended = run("watch", "--port", os.ttyname(slave), cwd=tmp_path)
        heard = os.get_blocking(master)
        os.set_blocking(master, False)
        with pytest.raises(BlockingIOError):
            os.read(master, 100)  # unasked, nothing is sent
        assert heard
    finally:
        os.close(master)
        os.close(slave)
    assert ended.status == 3
    assert "--meter" in ended.err


def test_watch_keeps_what_it_saw(meter: Meter, tmp_path: Path) -> None:
    """A journal of readings with a name of its own; --no-save leaves none."""
    kept = run("watch", "--count", "5", cwd=tmp_path)
    assert kept.status == 0, kept.err
    (journal,) = tmp_path.glob("*-watch.jsonl")
    records = [json.loads(line) for line in journal.read_bytes().splitlines()]
    assert len(of_kind(records, "reading")) >= 5
    assert records[-1]["kind"] == "end"
    assert run("verify", str(journal)).status == 0
    assert str(journal.name) in kept.out.decode() + kept.err
    before = set(tmp_path.glob("*.jsonl"))
    assert run("watch", "--count", "2", "--no-save", cwd=tmp_path).status == 0
    assert set(tmp_path.glob("*.jsonl")) == before


def test_steps_of_words_need_no_meter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan of questions runs without a port, and without listening for one."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    plan = tmp_path / "intake.toml"
    plan.write_text('[plan]\ntitle = "Intake"\n[[step]]\nid = "symptom"\nkind = "confirm"\nsay = "Noted?"\n')
    with program("run", str(plan), "--unit", "B", cwd=tmp_path) as metercap:
        metercap.until(lambda records: of_kind(records, "prompt"), "the question")
        metercap.say("yes")
        ended = metercap.wait()
    assert ended.status == 0, ended.err
    assert "listening" not in ended.err
    (journal,) = tmp_path.glob("*-B.jsonl")
    assert run("replay", str(journal), "--check").status == 0


def test_a_unit_named_on_the_way_is_that_unit_everywhere(meter: Meter, tmp_path: Path) -> None:
    """A sweep begins without a unit; `name` gives it one, which prompts, report, comparison and going on then use."""
    hands = Hands(meter, BOARD)
    args = ["sweep", "F1..F3", "--max", "2 ohm", "--loose", "--rate", "10", "--out", "x.jsonl"]
    with program(*args, see=hands.see, cwd=tmp_path) as metercap:
        hands.program = metercap
        metercap.until(lambda records: of_kind(records, "prompt"), "the first prompt")
        metercap.say("name controller B")
        ended = metercap.wait()
    assert ended.status == 0, ended.err
    records = [json.loads(line) for line in (tmp_path / "x.jsonl").read_bytes().splitlines()]
    assert records[0]["unit"] == ""
    asked = [record["say"] for record in of_kind(records, "prompt") if record["item"] == "F2"]
    assert asked
    assert all(say.startswith("B: ") or "B" in say.split(":")[0] for say in asked)
    assert run("replay", "x.jsonl", "--check", cwd=tmp_path).status == 0
    report = run("report", "x.jsonl", "--text", cwd=tmp_path)
    assert b"controller B" in report.out
    refused = run("sweep", "F1", "--max", "2 ohm", "--loose", "--unit", "B", "--against", "x.jsonl", cwd=tmp_path)
    assert refused.status in (2, 3)


def test_a_session_of_one_step_goes_on_by_its_journal_alone(meter: Meter, tmp_path: Path) -> None:
    """Quit after the first tick; `run --continue FILE` needs no plan, asks for what is left, and all have passed."""
    hands = Hands(meter, BOARD)
    args = ["sweep", "F1..F3", "--max", "2 ohm", "--loose", "--rate", "10", "--unit", "B", "--out", "x.jsonl"]
    with program(*args, see=hands.see, cwd=tmp_path) as metercap:
        hands.program = metercap
        metercap.until(lambda records: [r for r in of_kind(records, "verdict") if r["item"] == "F1"], "the first tick")
        metercap.say("quit")
        assert metercap.wait().status == 1
    on = Hands(meter, BOARD)
    with program("run", "--continue", "x.jsonl", "--rate", "10", "--out", "y.jsonl", see=on.see, cwd=tmp_path) as again:
        on.program = again
        ended = again.wait()
    assert ended.status == 0, ended.err
    records = [json.loads(line) for line in (tmp_path / "y.jsonl").read_bytes().splitlines()]
    assert records[0]["unit"] == "B"
    assert {item: verdicts(records)[item] for item in ("F1", "F2", "F3")} == dict.fromkeys(("F1", "F2", "F3"), "pass")
    assert run("run", cwd=tmp_path).status == 2


def test_a_port_given_by_name_is_found_again(tmp_path: Path) -> None:
    """No list of ports has it: a path counts as there while it exists, an address of its own until it is opened."""
    from metercap.finding.found import _is_there

    (tmp_path / "port").touch()
    assert _is_there(str(tmp_path / "port"))
    assert not _is_there(str(tmp_path / "gone"))
    assert _is_there("socket://bench:7000")
    with (tmp_path / "port").open():
        assert _is_there(str(tmp_path / "port"))  # what this program has open is not held by another


def test_a_session_that_nobody_reads_and_nobody_can_speak_to_ends(meter: Meter, tmp_path: Path) -> None:
    """stdout's reader has gone, stdin is at its end, nothing is touched: it lets go of the port, its journal closed."""
    import subprocess

    from tests.e2e.program import environment

    code = "import metercap.commands._live as live; live.DESERTED_S = 2.0\nfrom metercap.cli import main; main()"
    args = ["sweep", "F1..F3", "--max", "2 ohm", "--loose", "--json", "--out", "x.jsonl"]
    args += ["--port", str(meter.path), "--meter", "lcd14"]
    left = subprocess.Popen(
        [sys.executable, "-c", code, *args],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(), cwd=tmp_path,
    )  # fmt: skip
    assert left.stdout is not None
    assert left.stderr is not None
    left.stdout.readline()
    left.stdout.close()
    try:
        assert left.wait(40) == 130
    finally:
        left.kill()
        left.stderr.close()
        left.wait()
    assert json.loads((tmp_path / "x.jsonl").read_bytes().splitlines()[-1])["reason"] == "interrupted"
