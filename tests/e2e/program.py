"""The real program as a process, read line by line, and hands that answer what it says.

Nothing here imports the package: what is checked is what a technician, or another program, would see.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

from tests.e2e import outside_meter
from tests.e2e.outside_meter import OPEN, Meter, Shown

ROOT = Path(__file__).parents[2]
METERCAP = [sys.executable, "-m", "metercap"]
HASTENED = Path(__file__).with_name("hastened.py")
PATIENCE_S = 60.0
"""Far beyond what any scenario takes, for a loaded machine; a hung program fails with what it had said."""
REACTION_S = 0.05
CREDITED_S = 0.85
"""A contact within 0.8 s of a change of the expected item is not credited, so these hands wait that long."""

LIFTS = ("pass", "fail", "unsure", "lift", "again", "stop")
"""Cues after which these hands take the probes off."""

Record = dict[str, Any]


def command() -> list[str]:
    """Return how the program is called: plainly, or with its clock as quick as the meter and the hands are."""
    quick = outside_meter.HASTE
    return METERCAP if quick == 1.0 else [sys.executable, str(HASTENED), f"{quick:g}"]


def pause(seconds: float) -> None:
    """Let a time of the session go by."""
    time.sleep(seconds / outside_meter.HASTE)


def environment(**more: str) -> dict[str, str]:
    """Return the environment for a child: this checkout's package, no colour settings of the developer's."""
    keep = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "FORCE_COLOR", "COLUMNS")}
    return {**keep, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default", **more}


class Ended(NamedTuple):
    """A program that has ended."""

    status: int
    out: bytes
    err: str


def run(
    *args: str, stdin: bytes | None = None, timeout_s: float = PATIENCE_S, cwd: Path | None = None, **env: str
) -> Ended:
    """Run `metercap ARGS` to its end. A traceback or a defect, whatever the status, fails."""
    done = subprocess.run(
        [*command(), *args],
        input=b"" if stdin is None else stdin,
        capture_output=True,
        timeout=timeout_s,
        env=environment(**env),
        check=False,
        cwd=cwd,
    )
    ended = Ended(done.returncode, done.stdout, done.stderr.decode())
    no_defect(ended.err)
    return ended


def no_defect(err: str) -> None:
    """Fail when stderr holds a traceback, a defect, or a complaint of the interpreter."""
    for bad in ("Traceback", "a defect of this program", "Exception ignored", "Warning"):
        assert bad not in err, err


class Program:
    """`metercap ARGS --json` as it runs. `see` is called with every record, in the reader's thread."""

    def __init__(
        self,
        *args: str,
        see: Callable[[Record], None] | None = None,
        cwd: Path | None = None,
        started_by: Sequence[str] = (),
        **env: str,
    ) -> None:
        self.records: list[Record] = []
        self.out = b""
        self._see = see
        self._changed = threading.Condition()
        self._process = subprocess.Popen(
            [*(started_by or command()), *args, "--json"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment(**env),
            cwd=cwd,
        )
        self._err: list[bytes] = []
        self._threads = [threading.Thread(target=self._read), threading.Thread(target=self._read_err)]
        for thread in self._threads:
            thread.start()

    @property
    def pid(self) -> int:
        """The process."""
        return self._process.pid

    @property
    def err(self) -> str:
        """What it has written to stderr so far."""
        return b"".join(self._err).decode()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            with self._changed:
                self.out += line
                if line.endswith(b"\n"):
                    self.records.append(json.loads(line))
                self._changed.notify_all()
            if self._see is not None and line.endswith(b"\n"):
                self._see(self.records[-1])
        with self._changed:
            self._changed.notify_all()

    def _read_err(self) -> None:
        assert self._process.stderr is not None
        self._err.extend(self._process.stderr)

    def say(self, word: str) -> None:
        """Say a word on stdin; a program that has ended hears nothing."""
        with suppress(BrokenPipeError, ValueError):
            assert self._process.stdin is not None
            self._process.stdin.write(word.encode() + b"\n")
            self._process.stdin.flush()

    def close_stdin(self) -> None:
        """End stdin."""
        assert self._process.stdin is not None
        self._process.stdin.close()

    def signal(self, number: int) -> None:
        """Send a signal."""
        self._process.send_signal(number)

    def until(self, true: Callable[[list[Record]], Any], what: str, timeout_s: float = PATIENCE_S) -> Any:
        """Wait until `true(records)` gives something; fail with the last records when it does not in time."""
        end_s = time.monotonic() + timeout_s
        with self._changed:
            while not (got := true(self.records)):
                left_s = end_s - time.monotonic()
                if left_s <= 0 or (self._process.poll() is not None and not self._threads[0].is_alive()):
                    tail = [record for record in self.records if record["kind"] != "reading"][-12:]
                    raise AssertionError(f"no {what} after {tail}; stderr: {b''.join(self._err).decode()}")
                self._changed.wait(min(left_s, 0.5))
        return got

    def wait(self, timeout_s: float = PATIENCE_S) -> Ended:
        """Wait for the end."""
        status = self._process.wait(timeout_s)
        for thread in self._threads:
            thread.join(timeout_s)
        for pipe in (self._process.stdin, self._process.stdout, self._process.stderr):
            if pipe is not None:
                with suppress(BrokenPipeError):
                    pipe.close()
        err = b"".join(self._err).decode()
        no_defect(err)
        return Ended(status, self.out, err)

    def kill(self) -> None:
        """Kill -9, if it still runs, and take up what it had written."""
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGKILL)
        self.wait()


@contextmanager
def program(
    *args: str, see: Callable[[Record], None] | None = None, cwd: Path | None = None, **env: str
) -> Iterator[Program]:
    """Start a program that is killed at the block's end if it still runs."""
    started = Program(*args, see=see, cwd=cwd, **env)
    try:
        yield started
    finally:
        if started._process.poll() is None:
            started._process.kill()
            started.wait()


class Hands:
    """A technician: touches what a prompt names, lifts at the tick, answers questions.

    `board` gives what each item is, in ohms or as `Shown`; what it lacks is never touched. `answers` maps a step's or
    an item's name to a word; else it is `yes`.
    """

    def __init__(self, meter: Meter, board: dict[str, float | Shown], answers: dict[str, str] | None = None) -> None:
        self.program: Program | None = None
        self.words: list[str] = []
        self._meter = meter
        self._board = board
        self._answers = answers or {}
        self._item = ""
        self._changed_s = 0.0
        self._lifted = True
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None

    def see(self, record: Record) -> None:
        """Take one record of the program."""
        kind = record["kind"]
        with self._lock:
            if kind == "prompt" and record["do"] in ("probe", "short"):
                self._item = record["item"] or record["step"]
                self._changed_s = time.monotonic()
                if self._lifted:
                    self._touch_later(CREDITED_S)
            elif kind == "prompt" and record["do"] in ("answer", "confirm"):
                self._say(self._answers.get(record["item"] or "", self._answers.get(record["step"], "yes")))
            elif kind == "cue" and record["cue"] == "go":
                self._lifted = True
                gone_s = (time.monotonic() - self._changed_s) * outside_meter.HASTE
                self._touch_later(max(REACTION_S, CREDITED_S - gone_s))
            elif kind == "end" or (kind == "cue" and record["cue"] in LIFTS):
                self._lift()

    def rest(self) -> None:
        """Take the tips off and touch nothing more."""
        with self._lock:
            self._board = {}
            self._lift()

    def _say(self, word: str) -> None:
        self.words.append(word)
        assert self.program is not None
        self.program.say(word)

    def _touch_later(self, wait_s: float) -> None:
        if self._timer is not None:
            self._timer.cancel()
        self._timer = threading.Timer(wait_s / outside_meter.HASTE, self._touch)
        self._timer.daemon = True
        self._timer.start()

    def _touch(self) -> None:
        with self._lock:
            if self._item in self._board:
                self._lifted = False
                self._meter.tips = self._board[self._item]

    def _lift(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        self._meter.tips = OPEN


def plan_file(folder: Path, text: str) -> Path:
    """Write a plan of loose parts and return its path."""
    path = folder / "plan.toml"
    path.write_text(f'[plan]\ntitle = "Loose fuses of a GC-8"\nsupply = "none"\n{text}', encoding="utf-8")
    return path


def sweep(items: str, more: str = "") -> str:
    """Return a sweep step of a plan."""
    return f'[[step]]\nid = "fuses"\nkind = "sweep"\nitems = {items}\nmax = "2 ohm"\n{more}\n'


def verdicts(records: list[Record]) -> dict[str, str]:
    """Return the last verdict of each item, in the order they came first."""
    found: dict[str, str] = {}
    for record in records:
        if record["kind"] == "verdict":
            found[record["item"]] = record["verdict"]
    return found


def of_kind(records: list[Record], kind: str) -> list[Record]:
    """Return the records of one kind."""
    return [record for record in records if record["kind"] == kind]
