"""`metercap teach` as it is called: files, ports, questions in a terminal, refusals."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from outside_meter import Meter, Shown
from program import METERCAP, environment, run

from metercap.profiles import find_meter


def test_a_taught_profile_is_found_and_used(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """The file that is written loads as a meter with the port's settings that were given."""
    out = tmp_path / "ohmmeter.toml"
    said = metercap(
        *("teach", "--out", str(out), "--line", "R=2187.3", "--line", "R=OL", "--quantity", "resistance"),
        *("--baud", "115200", "--bits", "7", "--parity", "even", "--stop", "2", "--no-dtr", "--rts", "--poll", "?"),
        *("--rate", "5"),
    )
    assert said.status == 0
    assert "R=2187.3  ->  2.1873 kΩ  resistance" in said.out
    profile = find_meter(str(out))
    port = profile.serial
    assert (profile.name, profile.family, profile.conversions_per_s) == ("ohmmeter", "text", 5.0)
    assert (port.baud, port.bits, port.parity, port.stop, port.dtr, port.rts) == (115200, 7, "even", 2, False, True)
    assert profile.poll is not None
    assert (profile.poll.send, profile.poll.per_s) == ("?", 5.0)


def test_the_file_says_what_it_was_made_from(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Samples stand in the file as remarks, and every table has one."""
    out = tmp_path / "m.toml"
    metercap("teach", "--out", str(out), "--name", "my meter", "--line", 'say "2.2 ohm"')
    text = out.read_text(encoding="utf-8")
    assert '#   say "2.2 ohm"   ->   2.2 Ω resistance' in text
    assert 'name = "my meter"' in text
    assert text.count("\n# ") >= 7


def test_nothing_is_overwritten(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Status 2 before any question, and the file is as it was; a link that leads nowhere is no free name either."""
    out = tmp_path / "m.toml"
    out.write_text("mine")
    said = metercap("teach", "--out", str(out), "--line", "2.2 ohm")
    assert (said.status, out.read_text()) == (2, "mine")
    assert "already exists" in said.err
    link = tmp_path / "link.toml"
    link.symlink_to(tmp_path / "nothing")
    assert metercap("teach", "--out", str(link), "--line", "2.2 ohm").status == 2
    assert not (tmp_path / "nothing").exists()


def test_a_question_without_a_terminal_names_the_option(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Status 2, the line, the option; nothing is written."""
    said = metercap("teach", "--out", str(tmp_path / "m.toml"), "--line", "R=2187.3")
    assert said.status == 2
    assert "R=2187.3" in said.err
    assert "--quantity" in said.err
    assert not list(tmp_path.iterdir())


def test_lines_from_a_pipe(tmp_path: Path) -> None:
    """`teach < lines.txt`; --ignore leaves lines out; --json prints profile and readings."""
    out = tmp_path / "m.toml"
    ended = run("teach", "--out", str(out), "--ignore", "ready", "--json", stdin=b"meter ready\n2.187 kohm\nOL\n")
    assert ended.status == 0, ended.err
    printed = json.loads(ended.out)
    assert printed["written"] == str(out)
    assert [line for line, _ in printed["lines"]] == ["2.187 kohm", "OL"]
    assert run("teach", "--out", str(tmp_path / "n.toml"), stdin=b"\xff\xfe\n").status == 2
    assert run("teach", "--out", str(tmp_path / "n.toml"), stdin=b"").status == 2


def test_an_unwritable_folder_is_told(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """A folder that does not exist: status 2 and where."""
    said = metercap("teach", "--out", str(tmp_path / "no" / "m.toml"), "--line", "2.2 ohm")
    assert said.status == 2
    assert str(tmp_path / "no") in said.err


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
def test_from_a_port_to_a_session(tmp_path: Path) -> None:
    """Listens to a meter, one line a shape, and what is written reads that meter."""
    out = tmp_path / "m.toml"
    with Meter(tmp_path, "text", rate=20.0) as meter:
        meter.tips = Shown("2.187", "k")
        ended = run("teach", "--out", str(out), "--port", str(meter.path), "--seconds", "0.7", "--json")
        assert ended.status == 0, ended.err
        assert [line for line, _ in json.loads(ended.out)["lines"]] == ["2.187 kohm"]
        watched = run("watch", "--port", str(meter.path), "--meter", str(out), "--no-save", "--count", "3", "--json")
    readings = [json.loads(line) for line in watched.out.splitlines()]
    assert [r["value"] for r in readings if r["kind"] == "reading"] == [2187.0] * 3


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
def test_a_silent_port_and_one_that_sends_no_text(tmp_path: Path) -> None:
    """Silence and binary frames are told apart, with what to try; nothing is written."""
    with Meter(tmp_path, "polled-line") as silent:
        ended = run("teach", "--out", str(tmp_path / "m.toml"), "--port", str(silent.path), "--seconds", "0.5")
    assert ended.status == 2
    assert "meter is silent" in ended.err
    with Meter(tmp_path, "lcd14") as binary:
        ended = run("teach", "--out", str(tmp_path / "m.toml"), "--port", str(binary.path), "--seconds", "0.5")
    assert ended.status == 2
    assert "no text" in ended.err
    assert not (tmp_path / "m.toml").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
def test_a_terminal_is_asked(tmp_path: Path) -> None:
    """Which number, of what, what a word means: answered in a terminal, then shown and confirmed."""
    out = tmp_path / "m.toml"
    master, slave = os.openpty()
    process = subprocess.Popen(
        [*METERCAP, "teach", "--out", str(out)], stdin=slave, stdout=slave, stderr=slave, env=environment(TERM="xterm")
    )
    screen = b""

    def until(text: bytes) -> None:
        nonlocal screen
        end_s = time.monotonic() + 30
        while text not in screen:
            assert time.monotonic() < end_s, screen
            if select.select([master], [], [], 0.1)[0]:
                screen += os.read(master, 4096)

    def answer(asked: bytes, text: bytes) -> None:
        until(asked)
        os.write(master, text + b"\n")

    try:
        answer(b"an empty line ends", b"17;2187.3\nOPENED\nready\n")
        answer(b"which is the value", b"2")
        answer(b"what is it", b"")
        answer(b"what does it mean", b"over")
        screen = screen.replace(b"what does it mean", b"")
        answer(b"what does it mean", b"neither")
        answer(b"Is that right?", b"y")
        until(b"written")
        assert process.wait(30) == 0
    finally:
        process.kill()
        process.wait()
        os.close(slave)
        os.close(master)
    profile = find_meter(str(out))
    assert profile.tables["quantities"][""] == "resistance"
    text = out.read_text(encoding="utf-8")
    assert "#   17;2187.3   ->   2.1873 kΩ resistance" in text
    assert "#   OPENED   ->   OL resistance" in text
    assert "ready" not in text
