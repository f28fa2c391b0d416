"""The full screen under attack: bytes that are no key, sizes that cannot be, pictures that break, terminals that go."""

from __future__ import annotations

import fcntl
import itertools
import json
import os
import signal
import struct
import sys
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.e2e.outside_meter import Meter
from tests.e2e.program import plan_file, run, sweep
from tests.screen.terminal import WAIT_S, Terminal

pytestmark = [pytest.mark.attack, pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")]

BROKEN = """
import pathlib, signal, sys
from metercap.screen import app
how, ignore, *arguments = sys.argv[1:]
if ignore == "ignore":
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
broken = pathlib.Path(__file__).with_name("broken")

def breaks(inner):
    def call(*args, **more):
        if broken.exists():
            raise ZeroDivisionError("a picture\\x1b[2J")
        return inner(*args, **more)
    return call

if how == "paint":
    app.paint = breaks(app.paint)
elif how == "lines":
    app.Board.render_lines = breaks(app.Board.render_lines)
elif how == "keys":
    app.Keyboard.press = breaks(app.Keyboard.press)
elif how == "beat":
    app.BenchApp._beat = breaks(app.BenchApp._beat)
from metercap.cli import main
main(arguments)
"""


def until(true: Callable[[], Any], what: str) -> None:
    """Wait until something is true, while nobody reads the terminal."""
    end_s = time.monotonic() + WAIT_S
    while not true():
        assert time.monotonic() < end_s, f"no {what}"
        time.sleep(0.02)


class Session:
    """The program on its full screen, and the journal it writes."""

    def __init__(self, folder: Path, meter: Meter, how: str = "", ignore: str = "") -> None:
        self.out = folder / "session.jsonl"
        script = folder / "program.py"
        script.write_text(BROKEN, encoding="utf-8")
        arguments = [
            *("run", str(plan_file(folder, sweep('"F1..F30"'))), "--port", str(meter.path), "--meter", meter.family),
            *("--rate", "10", "--unit", "controller B", "--out", str(self.out)),
        ]
        self.terminal = Terminal([str(script), how, ignore, *arguments])
        self.terminal.until("F1")
        self._keys = itertools.cycle((("s", "skip"), ("a", "absent")))

    def records(self) -> list[dict[str, Any]]:
        """Return the journal's whole records."""
        return [json.loads(line) for line in self.out.read_bytes().rpartition(b"\n")[0].splitlines()]

    def words(self) -> list[str]:
        """Return the words that were heard."""
        return [record["word"] for record in self.records() if record["kind"] == "operator"]

    def until(self, true: Callable[[], Any], what: str, timeout_s: float = WAIT_S) -> None:
        """Wait until something is true, reading what the program shows."""
        end_s = time.monotonic() + timeout_s
        while not true():
            assert time.monotonic() < end_s, f"no {what}: {self.terminal.text}"
            self.terminal.read(0.05)

    def hears(self, after: str = "") -> None:
        """A key is still a word, and nothing else is; not the last one, which within 0.7 s would be its own repeat."""
        heard = len(self.words())
        key, word = next(self._keys)
        self.terminal.keys(key.encode())
        self.until(lambda: len(self.words()) > heard, f"word {after}")
        assert self.words()[heard:] == [word]

    def goes_on(self) -> None:
        """Readings are still journaled, and a key is still a word."""
        before = len(self.records())
        self.until(lambda: len(self.records()) > before + 3, "reading")
        self.hears()

    def cpu_s(self) -> float:
        """Return the processor time used so far (proc(5), fields 14 and 15)."""
        fields = Path(f"/proc/{self.terminal.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def session(folder: Path, how: str = "", ignore: str = "") -> Iterator[Session]:
    """Run a session on the full screen; it is killed if it still runs at the end."""
    with Meter(folder, rate=10.0) as meter:
        made = Session(folder, meter, how, ignore)
        try:
            yield made
        finally:
            made.terminal.close()


HOSTILE_KEYS = {
    "0xff": b"\xff",
    "0x80": b"\x80",
    "cut UTF-8": b"\xe2\x82",
    "overlong UTF-8": b"\xc0\xaf",
    "no code point": b"\x1b[99999999u",
    "a surrogate": b"\x1b[55296u",
    "huge modifiers": b"\x1b[97;99999999999999999999u",
    "a window of 10^10 cells": b"\x1b[48;100000;100000;1;1t",
    "a window of nothing": b"\x1b[48;0;0;0;0t",
    "a window without numbers": b"\x1b[48;;;;t",
    "a cursor far away": b"\x1b[99999999999;99999999999R",
    "a wrong mouse": b"\x1b[<999999999999;1;1M\x1b[M\xff\xff\xff",
    "a mode nobody asked for": b"\x1b[?2048;1$y\x1b[?2026;9$y",
    "an endless sequence": b"\x1b[" + b"1;" * 5000,
    "an answer that says words": b"\x1b]11;rgb:yyyy/nnnn/oooo\x1b\\\x1bP1$ryno\x1b\\",
    "a report nobody asked for": b"\x1b[3o\x1b[8;1;1y\x1b[1p\x1b[;n\x1b[1;1;1;;a",
    "a string that does not end": b"\x1b]0;" + b"x" * 3000,
    "a paste that does not end": b"\x1b[200~" + b"no words",
    "NUL and DEL": b"\x00\x7f\x00",
    "Ctrl-Z": b"\x1a",
    "a window too wide": b"\x1b[48;24;100000;1;1t",
}


def test_bytes_that_are_no_keys(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """After each the same session still measures, still hears a key, and still ends by one."""
    trials = attack("bad key bytes on the full screen")
    with session(tmp_path) as one:
        for name, data in HOSTILE_KEYS.items():
            with trials.trial():
                one.terminal.keys(data)
                time.sleep(1.3 if "not end" in name or "endless" in name else 0.1)
                assert one.terminal.process.poll() is None, name
                one.hears(f"after {name}")
        one.terminal.until("step 1 of 1")  # at the right edge, of the window as it is
        one.terminal.keys(b"Q")
        one.terminal.until("closes the journal")
        one.terminal.keys(b"y")
        assert one.terminal.ended() == 1
        assert one.terminal.usable()
        assert set(one.words()) == {"skip", "absent", "quit"}
    assert run("verify", str(one.out)).status == 0


def test_ctrl_z_is_refused_with_its_reason(tmp_path: Path) -> None:
    """It stops nothing, says why, and is no word."""
    with session(tmp_path) as one:
        one.terminal.keys(b"\x1a")
        one.terminal.until("would stop the measuring")
        one.goes_on()
        assert one.words() == ["skip"]


def test_windows_that_cannot_be(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """A window of 65535 by 65535, of one cell, of none: memory stays, the session goes on, a sane one shows."""
    trials = attack("window sizes that cannot be")
    with session(tmp_path) as one:
        for rows, columns in ((65535, 65535), (1, 1), (0, 0), (1, 65535), (24, 80)):
            with trials.trial():
                fcntl.ioctl(one.terminal.slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
                one.terminal.process.send_signal(signal.SIGWINCH)
                one.goes_on()
        status = Path(f"/proc/{one.terminal.process.pid}/status").read_text()
        peak_kb = int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1])
        assert peak_kb < 300_000
        one.terminal.until("journal ok")


@pytest.mark.parametrize("how", ["paint", "lines", "keys", "beat"])
def test_a_broken_picture_ends_no_session(tmp_path: Path, how: str, attack: Callable[[str], Any]) -> None:
    """An exception while drawing, in the library or at a key: `fault`, what to do, and the session goes on in lines."""
    with session(tmp_path, how) as one, attack("exceptions in the full screen").trial():
        (tmp_path / "broken").touch()
        if how == "keys":
            one.terminal.keys(b"x")
        one.until(lambda: b"fault: the full screen broke (ZeroDivisionError" in one.terminal.raw, "fault")
        assert b"try: the keys are the same" in one.terminal.raw
        assert b"Traceback" not in one.terminal.raw
        one.goes_on()
        one.terminal.keys(b"Q")
        assert one.terminal.ended() == 1
        assert one.records()[-1]["reason"] == "quit"
        assert b"journal: " in one.terminal.raw
        assert one.terminal.usable()
    assert run("verify", str(one.out)).status == 0


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_a_terminal_that_is_gone_costs_nothing(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """With SIGHUP ignored the session outlives its terminal, without turning in a circle, until SIGTERM."""
    with session(tmp_path, ignore="ignore") as one, attack("terminal gone, SIGHUP ignored").trial():
        one.terminal.read(0.3)
        os.close(one.terminal.slave)
        os.close(one.terminal.master)
        before = len(one.records())
        until(lambda: len(one.records()) > before + 3, "readings without a terminal")
        before, used_s, start_s = len(one.records()), one.cpu_s(), time.monotonic()
        until(lambda: len(one.records()) > before + 10, "readings")
        share = (one.cpu_s() - used_s) / (time.monotonic() - start_s)
        assert share < 0.2, f"{100 * share:.0f} % of a core"
        one.terminal.process.send_signal(signal.SIGTERM)
        assert one.terminal.process.wait(10) == 130
        assert one.records()[-1]["kind"] == "end"


def test_a_terminal_that_stands_still(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """Nobody takes the pictures: measuring goes on; when it moves again there is a whole one; SIGTERM is answered."""
    with session(tmp_path) as one, attack("full screen on a stopped terminal").trial():
        # The stop of a terminal is its own: the system takes nothing for it until it goes on (POSIX tcflow).
        termios.tcflow(one.terminal.slave, termios.TCOOFF)
        before = len(one.records())
        until(lambda: len(one.records()) > before + 15, "readings")
        one.terminal.keys(b"s")
        until(one.words, "word")
        assert one.words() == ["skip"]
        termios.tcflow(one.terminal.slave, termios.TCOON)
        one.terminal.until("F2")
        termios.tcflow(one.terminal.slave, termios.TCOOFF)
        before = len(one.records())
        until(lambda: len(one.records()) > before + 5, "readings")
        start_s = time.monotonic()
        one.terminal.process.send_signal(signal.SIGTERM)
        assert one.terminal.process.wait(10) == 130
        assert time.monotonic() - start_s < 4.0
    assert run("verify", str(one.out)).status == 0
