"""The real loop, session, journal, wire and link over a pseudo-terminal."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from metercap.clock import ScaledClock
from metercap.journal import Writer, read
from metercap.link import open_link
from metercap.live import Inbox, Live
from metercap.reading import Reading, State
from metercap.records import EVENTS, OUTCOMES, Clock, EndRecord, Link, LinkState, Operator, VerdictKind
from metercap.session import Driver, Session
from metercap.wire import LATENCY_S, decoder
from metercap.words import LineWords
from tests.live.live_rig import Hands, Meter, record_of

SPEED = 5.0


@pytest.fixture
def profile(lcd14: Any) -> Any:
    return lcd14.at_rate(10.0)


@pytest.fixture
def run(profile: Any, tmp_path: Path) -> Iterator[Any]:
    """Run a session of three fuses to its end; return its reason, hands, meter and journal."""
    meters = []

    def go(prepare: Any = lambda meter, hands: None, words: Any = ()) -> Any:
        clock = ScaledClock(SPEED)
        meter = Meter(profile, tmp_path / "port", 0.1 / SPEED, profile.serial.byte_s / SPEED)
        meters.append(meter)
        hands = Hands(meter, clock)
        prepare(meter, hands)
        record = record_of(profile)
        writer = Writer.create(tmp_path / "a.jsonl", record)
        live = Live(
            Driver(Session(record)),
            decoder(profile, latency_s=LATENCY_S * SPEED),
            writer,
            [hands],  # type: ignore[list-item]
            Inbox(),
            clock,
            profile=profile,
            source=open_link(str(tmp_path / "port"), profile),
            words=words,
        )
        meter.start()
        guard = threading.Timer(20.0, lambda: live._inbox.put_stop(0))
        guard.start()
        reason = live.run()
        guard.cancel()
        return reason, hands, tmp_path / "a.jsonl"

    yield go
    for meter in meters:
        meter.stop()


def passed(hands: Any) -> list[tuple[str, VerdictKind]]:
    return [(verdict.item, verdict.verdict) for verdict in hands.verdicts]


ALL = [("F1", VerdictKind.PASS), ("F2", VerdictKind.PASS), ("F3", VerdictKind.PASS)]


def replayed(path: Path) -> tuple[list[Any], list[Any]]:
    """Return the journal's outcomes and deadlines, and those that a new session gives for its events."""
    records = list(read(path).records)
    driver = Driver(Session(records[0]))  # type: ignore[arg-type]
    again = list(driver.start())
    for record in records[1:]:
        if isinstance(record, EVENTS) and not isinstance(record, Clock):
            for event, outcomes in driver.feed(record):
                again += [event] if isinstance(event, Clock) else []  # type: ignore[list-item]
                again += outcomes
    return [record for record in records if isinstance(record, (Clock, *OUTCOMES))], again


def test_three_fuses_from_bytes_to_the_file(run: Any) -> None:
    """Frames at byte pace tick three fuses; the observers' lines are the file, byte for byte; replay agrees."""
    reason, hands, path = run()
    assert (reason, passed(hands)) == ("done", ALL)
    assert b"".join(hands.lines) == path.read_bytes()
    assert read(path).state == "closed"
    recorded, again = replayed(path)
    assert again == recorded


def test_a_pulled_cable_in_the_middle(run: Any) -> None:
    """The session waits while the meter is gone, goes on where it was, and replay agrees about all of it."""

    def prepare(meter: Any, hands: Any) -> None:
        def pull() -> None:
            if len(hands.verdicts) == 1:
                meter.unplug()
                threading.Timer(0.6, meter.plug).start()

        hands.on_verdict = lambda: threading.Timer(0.01, pull).start()

    reason, hands, path = run(prepare)
    assert (reason, passed(hands)) == ("done", ALL)
    states = [record.state for record in hands.records if isinstance(record, Link)]
    assert states == [LinkState.UP, LinkState.LOST, LinkState.UP]
    recorded, again = replayed(path)
    assert again == recorded


def test_words_from_a_pipe(run: Any) -> None:
    """A word on stdin decides an item; the end of stdin ends nothing."""
    out, into = os.pipe()

    def prepare(meter: Any, hands: Any) -> None:
        see = hands.see

        def word(record: Any, line: bytes) -> None:
            see(record, line)
            lifted = isinstance(record, Reading) and record.state is State.OVER
            if len(hands.verdicts) == 1 and lifted and not hands.said:
                hands.said = True
                os.write(into, b"open\n")
                os.close(into)

        hands.said = False
        hands.see = word

    reason, hands, _ = run(prepare, words=[LineWords(out, complain=print)])
    os.close(out)
    assert reason == "done"
    assert [record.word for record in hands.records if isinstance(record, Operator)] == ["open"]
    assert hands.verdicts[1].verdict is VerdictKind.FAIL
    assert len({verdict.item for verdict in hands.verdicts}) == 3


IDLE = """
import os, sys, tty
from tests.live.live_rig import record_of
from metercap.clock import ScaledClock
from metercap.journal import Writer
from metercap.link import open_link
from metercap.live import Inbox, Live
from metercap.profiles import find_meter
from metercap.session import Driver, Session
from metercap.wire import decoder

master, slave = os.openpty()
tty.setraw(slave)
profile = find_meter("lcd14")
record = record_of(profile)

class Observer:
    def see(self, record, line):
        if type(record).__name__ == "Link":
            print("up", flush=True)
        if sys.argv[2] == "stuck" and type(record).__name__ == "EndRecord":
            print("stuck", flush=True)
            while True:
                pass

reason = Live(Driver(Session(record)), decoder(profile), Writer.create(sys.argv[1], record), [Observer()], Inbox(),
              ScaledClock(), profile=profile, source=open_link(os.ttyname(slave), profile)).run()
print(reason, flush=True)
"""


@pytest.fixture
def idle(tmp_path: Path) -> Iterator[Any]:
    """A session in a process of its own, waiting for a meter that says nothing."""
    children = []

    def heed() -> None:
        """Whatever whoever runs the tests ignores (a shell's background, nohup), this child is its parent's."""
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_DFL)

    def start(how: str, before: Any = heed) -> subprocess.Popen[str]:
        child = subprocess.Popen(
            [sys.executable, "-c", IDLE, str(tmp_path / "a.jsonl"), how],
            stdout=subprocess.PIPE,
            text=True,
            preexec_fn=before,
        )
        children.append(child)
        assert child.stdout.readline() == "up\n"
        return child

    yield start
    for child in children:
        child.kill()
        child.wait()
        child.stdout.close()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_the_first_signal_ends_well(idle: Any, tmp_path: Path, number: Any) -> None:
    """`end` is written with reason interrupted, at once although nothing comes from meter or operator."""
    child = idle("well")
    start = time.monotonic()
    child.send_signal(number)
    assert child.stdout.readline() == "interrupted\n"
    assert child.wait(5.0) == 0
    assert time.monotonic() - start < 2.0
    file = read(tmp_path / "a.jsonl")
    assert file.state == "closed"
    end = list(file.records)[-1]
    assert isinstance(end, EndRecord)
    assert end.reason == "interrupted"


def test_the_second_signal_ends_at_once(idle: Any) -> None:
    """Even where the end itself is stuck the second signal kills, and the status says by which."""
    child = idle("stuck")
    child.send_signal(signal.SIGINT)
    assert child.stdout.readline() == "stuck\n"
    child.send_signal(signal.SIGTERM)
    assert child.wait(5.0) == -signal.SIGTERM


def test_a_hangup_that_is_ignored_stays_ignored(idle: Any) -> None:
    """Started so that it outlives its terminal, it does."""
    child = idle("well", lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN))
    child.send_signal(signal.SIGHUP)
    time.sleep(0.3)
    assert child.poll() is None
    child.send_signal(signal.SIGTERM)
    assert child.stdout.readline() == "interrupted\n"
