"""What must not end a session, and what is left when something does: closed pipes, kill -9, a dead terminal."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from tests.e2e.outside_meter import Meter
from tests.e2e.program import METERCAP, Program, environment, no_defect, of_kind, plan_file, program, run, sweep

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


def run_arguments(folder: Path, meter: Meter, plan: Path) -> list[str]:
    """Return the arguments of a run."""
    return [
        *("run", str(plan), "--port", str(meter.path), "--meter", meter.family, "--rate", "10"),
        *("--unit", "controller B", "--out", str(folder / "session.jsonl")),
    ]


def grows(path: Path, by: int, what: str) -> None:
    """Wait until a file has grown by so many bytes."""
    end_s = time.monotonic() + 30
    start = path.stat().st_size if path.exists() else 0
    while (path.stat().st_size if path.exists() else 0) < start + by:
        assert time.monotonic() < end_s, f"no growth {what}"
        time.sleep(0.02)


@pytest.mark.parametrize("form", ["--plain", "--json"])
@pytest.mark.parametrize("how", ["broken", "full", "closed"])
def test_a_dead_stdout_does_not_end_the_session(tmp_path: Path, journals: list[Path], how: str, form: str) -> None:
    """Stdout broken, on a full disk, or closed from the start: readings go on into the file; the status is right."""
    if how == "full" and not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    out = tmp_path / "session.jsonl"
    with Meter(tmp_path) as meter:
        command = [*METERCAP, *run_arguments(tmp_path, meter, plan_file(tmp_path, sweep('"F1..F2"'))), form]
        if how == "closed":
            command = ["sh", "-c", 'exec "$@" >&-', "sh", *command]
        with Path("/dev/full" if how == "full" else os.devnull).open("wb") as other:
            process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE if how == "broken" else other,
                stderr=subprocess.PIPE,
                env=environment(),
            )
        try:
            if how == "broken":
                assert process.stdout is not None
                process.stdout.readline()
                process.stdout.close()
            grows(out, 1000, f"with stdout {how}")
            grows(out, 1000, f"with stdout {how}")
            assert process.poll() is None
            process.send_signal(signal.SIGINT)
            assert process.stderr is not None
            err = process.stderr.read().decode()
            assert process.wait(30) == 130
        finally:
            process.kill()
            process.wait()
            assert process.stderr is not None
            process.stderr.close()
    no_defect(err)
    assert run("verify", str(out)).status == 0
    journals.append(out)


def test_words_after_a_long_silence_still_count(tmp_path: Path, journals: list[Path]) -> None:
    """Lines that say no word are refused on stderr and change nothing; a word after them is taken."""
    out = tmp_path / "session.jsonl"
    plan = plan_file(tmp_path, sweep('"F1..F2"'))
    with Meter(tmp_path) as meter, program(*run_arguments(tmp_path, meter, plan)) as metercap:
        metercap.until(lambda records: of_kind(records, "reading"), "reading")
        for line in ("opne", "", "\x1b[2J", "x" * 5000, "note \x1b]0;title\x07", "quit"):
            metercap.say(line)
        ended = metercap.wait()
    assert ended.status == 1
    assert "'opne' is no word" in ended.err
    assert "\x1b" not in ended.err
    assert [record["word"] for record in of_kind(metercap.records, "operator")] == ["note", "quit"]
    assert ended.out == out.read_bytes()
    journals.append(out)


def killed(folder: Path, after_s: float, rng: random.Random) -> int:
    """Kill a session at some moment; return how many verdicts it had announced.

    The items are decided by the word `absent`, one line after the other, so that verdicts and readings come thick and
    every kill falls close to a promise.
    """
    folder.mkdir()
    out = folder / "session.jsonl"
    with Meter(folder, rate=50.0) as meter:
        plan = plan_file(folder, sweep('"F1..F2000"'))
        metercap = Program(*run_arguments(folder, meter, plan))
        try:
            metercap.until(lambda records: of_kind(records, "reading"), "reading")
            end_s = time.monotonic() + after_s
            while time.monotonic() < end_s:
                metercap.say("absent")
                time.sleep(rng.random() * 0.01)
        finally:
            metercap.kill()
    announced = metercap.out
    held = out.read_bytes()
    assert held.startswith(announced.rpartition(b"\n")[0]), "a line was announced that the file does not hold"
    verified = run("verify", str(out), "--json")
    assert verified.status == 1, verified
    assert json.loads(verified.out)["state"] in ("torn", "unclosed")
    assert run("replay", str(out), "--check").status == 0
    return len(of_kind(metercap.records, "verdict"))


@pytest.mark.parametrize("times", [4, pytest.param(200, marks=[pytest.mark.slow, pytest.mark.timeout(1200)])])
def test_killed_at_random_moments(tmp_path: Path, times: int) -> None:
    """After kill -9 the file begins with every line that was announced, opens, and replays the same."""
    rng = random.Random(20)
    plans = [(tmp_path / str(n), 0.02 + 0.6 * rng.random(), random.Random(n)) for n in range(times)]
    with ThreadPoolExecutor(4) as pool:
        announced = list(pool.map(lambda plan: killed(*plan), plans))
    assert sum(announced) > 5 * times


def test_a_terminal_gets_keys_and_is_given_back(tmp_path: Path, journals: list[Path]) -> None:
    """In plain mode on a terminal ? shows the keys, # takes a note, Q quits; NO_COLOR holds; settings are restored."""
    import pty
    import select
    import termios

    out = tmp_path / "session.jsonl"
    with Meter(tmp_path) as meter:
        plan = plan_file(tmp_path, sweep('"F1..F2"'))
        command = [*METERCAP, *run_arguments(tmp_path, meter, plan), "--plain"]
        master, slave = pty.openpty()
        before = termios.tcgetattr(slave)
        process = subprocess.Popen(
            command,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=environment(NO_COLOR="1", TERM="xterm"),
            start_new_session=True,
        )
        screen = b""

        def until(text: bytes) -> None:
            nonlocal screen
            end_s = time.monotonic() + 30
            while text not in screen:
                assert time.monotonic() < end_s, screen
                if select.select([master], [], [], 0.1)[0]:
                    screen += os.read(master, 4096)

        try:
            until(b"F1")
            os.write(master, b"?")
            until(b"leave this item for the second look")
            os.write(master, b"#warm\r")
            until(b"note warm")
            os.write(master, b"Q")
            until(b"journal: ")
            assert process.wait(30) == 1
            after = termios.tcgetattr(slave)
        finally:
            process.kill()
            process.wait()
            os.close(slave)
            os.close(master)
    assert after == before
    assert b"\x1b[" not in screen
    assert b"Traceback" not in screen
    assert run("verify", str(out)).status == 0
    assert '"word":"note","text":"warm"' in out.read_text(encoding="utf-8")
    journals.append(out)


def test_a_terminal_that_goes_away_ends_the_session_well(tmp_path: Path, journals: list[Path]) -> None:
    """SIGHUP with a dead terminal: `end` is written and the file verifies."""
    import pty

    out = tmp_path / "session.jsonl"
    with Meter(tmp_path) as meter:
        plan = plan_file(tmp_path, sweep('"F1..F2"'))
        command = [*METERCAP, *run_arguments(tmp_path, meter, plan), "--plain"]
        pid, master = pty.fork()
        if pid == 0:
            os.execvpe(command[0], command, environment(TERM="xterm"))
        os.read(master, 1)
        grows(out, 500, "on a terminal")
        os.close(master)  # the controlling terminal hangs up: the kernel sends SIGHUP
        _, status = os.waitpid(pid, 0)
    assert os.waitstatus_to_exitcode(status) == 130
    verified = run("verify", str(out), "--json")
    assert json.loads(verified.out)["state"] == "closed"
    assert json.loads(out.read_bytes().splitlines()[-1])["reason"] == "interrupted"
    journals.append(out)


@pytest.mark.attack
@pytest.mark.parametrize("how", ["truncate", "replace"])
def test_a_journal_that_another_program_takes_away_goes_on_beside_it(
    tmp_path: Path, journals: list[Path], how: str, attack: Callable[[str], Any]
) -> None:
    """It is told at once, everything is in the file that it names, and the first name finds it from then on."""
    out = tmp_path / "session.jsonl"
    plan = plan_file(tmp_path, sweep('"F1..F2"'))
    with attack("a journal changed by another program").trial():
        with Meter(tmp_path) as meter, program(*run_arguments(tmp_path, meter, plan)) as metercap:
            metercap.until(lambda records: len(of_kind(records, "reading")) > 5, "readings")
            metercap.say("absent")
            metercap.until(lambda records: of_kind(records, "verdict"), "verdict")
            if how == "truncate":
                os.truncate(out, out.stat().st_size // 2)
            else:
                other = tmp_path / "other"
                other.write_bytes(b"not yours\n")
                other.replace(out)
            seen = len(metercap.records)
            metercap.until(lambda records: len(records) > seen + 15, "a second and a half more")
            told = metercap.err
            metercap.say("quit")
            ended = metercap.wait()
        rescued = next(tmp_path.glob("rescued-*-session.jsonl"))
        assert f"goes on in {rescued}" in told
        assert rescued.read_bytes() == ended.out
        assert run("verify", str(rescued)).status == 0
        if how == "truncate":
            assert run("verify", str(out)).status == 0
            went_on = run("replay", str(out), "--json")
            assert b'"F1","verdict":"absent"' in went_on.out
    journals.append(rescued)
