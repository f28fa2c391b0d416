"""`metercap watch` and `metercap record`: live readings, and a trace that every other command takes."""

from __future__ import annotations

import io
import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.commands._readout import CLEAR, Readout, reading_text
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Link, LinkState
from tests.e2e.outside_meter import Meter, Shown
from tests.e2e.program import METERCAP, environment, of_kind, plan_file, program, run, sweep

posix = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


@posix
def test_watch_prints_records_and_writes_nothing_when_told_so(tmp_path: Path) -> None:
    """--json gives link and readings, --count ends it with status 0; with --no-save no file appears."""
    with Meter(tmp_path, rate=20.0) as meter:
        meter.tips = Shown("2.187", "k", hold=True)
        ended = run("watch", "--port", str(meter.path), "--meter", "lcd14", "--no-save", "--count", "4", "--json")
        left = list(tmp_path.iterdir())
    records = [json.loads(line) for line in ended.out.splitlines()]
    assert ended.status == 0
    assert records[0]["kind"] == "link"
    assert [r["value"] for r in records if r["kind"] == "reading"] == [2187.0] * 4
    assert [path.name for path in left] == ["meter"]


@posix
def test_watch_shows_lines_on_a_pipe(tmp_path: Path) -> None:
    """Every reading is a line with value, quantity and flags; over-range is OL; nothing of a terminal's codes."""
    with Meter(tmp_path, rate=20.0) as meter:
        ended = run("watch", "--port", str(meter.path), "--meter", "lcd14", "--no-save", "--count", "2")
        meter.tips = Shown("1.523", "", "V", "dc", hold=True)
        ended_2 = run("watch", "--port", str(meter.path), "--meter", "lcd14", "--no-save", "--count", "2")
    assert "OL  resistance auto" in ended.out.decode()
    assert "1.523 V  voltage dc auto hold" in ended_2.out.decode()
    assert b"\x1b" not in ended.out + ended_2.out


@posix
def test_watch_ends_when_nobody_reads(tmp_path: Path) -> None:
    """`watch --json | head -1`: the writer ends by itself, status 0, with no complaint."""
    with Meter(tmp_path, rate=20.0) as meter:
        watcher = subprocess.Popen(
            [*METERCAP, "watch", "--port", str(meter.path), "--meter", "lcd14", "--no-save", "--json"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment(),
        )
        assert watcher.stdout is not None
        assert watcher.stderr is not None
        watcher.stdout.readline()
        watcher.stdout.close()
        err = watcher.stderr.read()
        watcher.stderr.close()
        assert watcher.wait(30) == 0
    assert err == b""


@posix
def test_watch_in_a_terminal_is_one_line_and_q_ends_it(tmp_path: Path) -> None:
    """The line is rewritten in place, without colour under NO_COLOR; q gives status 0 and the terminal back."""
    with Meter(tmp_path, rate=20.0) as meter:
        master, slave = os.openpty()
        watcher = subprocess.Popen(
            [*METERCAP, "watch", "--port", str(meter.path), "--meter", "lcd14", "--no-save"],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=environment(NO_COLOR="1", TERM="xterm"),
        )
        screen = b""
        end_s = time.monotonic() + 30
        try:
            while screen.count(b"resistance") < 10:
                assert time.monotonic() < end_s, screen
                if select.select([master], [], [], 0.1)[0]:
                    screen += os.read(master, 4096)
            os.write(master, b"q")
            assert watcher.wait(30) == 0
        finally:
            watcher.kill()
            watcher.wait()
            os.close(slave)
            os.close(master)
    assert screen.count(CLEAR.encode()) >= 10
    assert screen.count(b"\n") < 5
    assert b"\x1b[3" not in screen


@posix
@pytest.mark.usefixtures("hastened")
def test_watch_says_silence_and_noise(tmp_path: Path) -> None:
    """A silent meter and one that sends rubbish are both told, with what to try."""
    with (
        Meter(tmp_path, rate=0.01) as meter,
        program("watch", "--port", str(meter.path), "--meter", "lcd14", "--no-save") as metercap,
    ):
        silent = metercap.until(
            lambda records: [r for r in of_kind(records, "link") if r["state"] == "silent"], "silence told"
        )
        meter._draw = lambda shown: b""
        for _ in range(400):
            meter.send(b"\x00\x01\x02\x03")
            if any(r["state"] == "garbage" for r in of_kind(metercap.records, "link")):
                break
            time.sleep(0.05)
        noisy = [r for r in of_kind(metercap.records, "link") if r["state"] == "garbage"]
        metercap.signal(signal.SIGINT)
        assert metercap.wait().status == 130
    assert "port is open, meter is silent" in silent[0]["why"]
    assert "fit no frame" in noisy[0]["why"]
    assert "00 01 02 03" in noisy[0]["why"]


@posix
def test_a_trace_is_a_journal_like_any_other(tmp_path: Path) -> None:
    """Notes are kept, lines printed are the file's; verify, replay --check and --plan, and load take it."""
    out = tmp_path / "trace.jsonl"
    with (
        Meter(tmp_path, rate=20.0) as meter,
        program(
            *("record", "--port", str(meter.path), "--meter", "lcd14", "--unit", "controller B", "--out", str(out))
        ) as metercap,
    ):
        metercap.until(lambda records: len(of_kind(records, "reading")) >= 5, "readings")
        metercap.say("note lid open")
        metercap.say("yes")
        metercap.until(lambda records: of_kind(records, "operator"), "note")
        metercap.say("quit")
        ended = metercap.wait()
    assert ended.status == 0
    assert ended.out == out.read_bytes()
    assert "the word yes means nothing here" in ended.err
    words = [(r["word"], r["text"]) for r in of_kind(metercap.records, "operator")]
    assert words == [("note", "lid open"), ("quit", "")]
    first = metercap.records[0]
    assert (first["plan"]["steps"], first["options"]["trace"], first["unit"]) == ([], True, "controller B")
    assert run("verify", str(out)).status == 0
    checked = run("replay", str(out), "--check", "--json")
    assert checked.status == 0
    assert json.loads(checked.out)["readings"] == len(of_kind(metercap.records, "reading"))
    assert run("replay", str(out), "--json").status == 0
    assert run("replay", str(out), "--plan", str(plan_file(tmp_path, sweep('"F1..F2"')))).status == 0


@posix
def test_a_trace_is_exported(tmp_path: Path) -> None:
    """The readings of a trace come out as a table."""
    pytest.importorskip("pandas")
    from metercap.export.recording import load

    out = tmp_path / "trace.jsonl"
    with (
        Meter(tmp_path, rate=20.0) as meter,
        program(*("record", "--port", str(meter.path), "--meter", "lcd14", "--out", str(out))) as metercap,
    ):
        meter.tips = 0.2
        metercap.until(lambda records: any(r["value"] == 0.2 for r in of_kind(records, "reading")), "reading")
        metercap.signal(signal.SIGINT)
        assert metercap.wait().status == 130
    recording = load(out)
    assert recording.state == "closed"
    assert len(recording.readings()) == len(of_kind(metercap.records, "reading"))
    assert (recording.readings()["value"] == 0.2).any()
    assert len(recording.verdicts()) == 0


def test_record_refuses_an_existing_file_and_leaves_none_behind(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Status 2 for a name that is taken; status 3 for a missing port, and then no file."""
    taken = tmp_path / "taken.jsonl"
    taken.touch()
    assert metercap("record", "--port", "x", "--meter", "text", "--out", str(taken)).status == 2
    free = tmp_path / "free.jsonl"
    assert metercap("record", "--port", str(tmp_path / "x"), "--meter", "text", "--out", str(free)).status == 3
    assert not free.exists()


def reading(value: float | None, state: State = State.OK, flags: tuple[str, ...] = ()) -> Reading:
    """Return a resistance reading."""
    return Reading(1.0, Quantity.RESISTANCE, value, 0.1, "ohm", state, flags, "")


@pytest.mark.parametrize(
    ("shown", "text"),
    [
        (reading(0.2), "0.2 Ω  resistance"),
        (reading(None, State.OVER, ("auto", "link")), "OL  resistance auto"),
        (reading(None, State.BLANK, ("low_battery",)), "--  resistance low battery"),
        (reading(2.0, State.OK, ("line:0+1:\\x1b",)), "2.0 Ω  resistance"),
    ],
)
def test_reading_text(shown: Reading, text: str) -> None:
    """The value as the display showed it, and the flags that matter."""
    assert reading_text(shown).strip() == text


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        """Say so."""
        return True


def test_in_place_lines_do_not_run_into_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """A link change erases the line that is being rewritten; a dumb terminal gets plain lines."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "1")
    out = Terminal()
    show = Readout(in_place=True, out=out)
    show.see(reading(0.2), b"")
    show.see(Link(2.0, LinkState.LOST, "pulled \x1b"), b"")
    show.see(reading(0.3), b"")
    show.close()
    assert out.getvalue().split(CLEAR) == [
        "",
        "     1.0        0.2 Ω  resistance",
        "     2.0  ~  meter lost: pulled \\x1b\n",
        "     1.0        0.3 Ω  resistance\n",
    ]
    monkeypatch.setenv("TERM", "dumb")
    out = Terminal()
    Readout(in_place=True, out=out).see(reading(0.2), b"")
    assert CLEAR not in out.getvalue()
