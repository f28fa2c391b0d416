"""The practice meter on a pseudo-terminal, read as any port is."""

from __future__ import annotations

import time
from typing import Any

import msgspec
import pytest

serial = pytest.importorskip("serial")

from metercap.asks import Asks  # noqa: E402
from metercap.clock import ScaledClock  # noqa: E402
from metercap.errors import SceneError  # noqa: E402
from metercap.practice.bench import PracticeBench  # noqa: E402
from metercap.practice.by_hand import ByHand  # noqa: E402
from metercap.practice.port import PracticePort, pieces  # noqa: E402
from metercap.practice.scene import Scene  # noqa: E402
from metercap.records import Cue, CueKind, Do, Prompt  # noqa: E402


class Inbox:
    def __init__(self) -> None:
        self.words: list[tuple[str, float]] = []
        self.faults: list[BaseException] = []

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        self.words.append((word, t_s))

    def put_fault(self, error: BaseException) -> None:
        self.faults.append(error)


def test_lines_arrive_through_a_real_port_at_the_meters_rate(twelve: Scene) -> None:
    """At speed 20 a meter of 2/s gives about 40 lines in a real second, and each one is whole."""
    clock = ScaledClock(20.0)
    with PracticePort(PracticeBench(twelve), clock) as port, serial.Serial(port.path, 9600, timeout=1.0) as opened:
        start_s = time.monotonic()
        lines = [opened.read_until(b"\r\n") for _ in range(20)]
        took_s = time.monotonic() - start_s
    assert all(line.endswith(b"ohm AUTO\r\n") for line in lines)
    assert 0.3 < took_s < 3.0


def test_hands_work_through_the_port(twelve: Scene) -> None:
    """A prompt shown to the observer makes the meter read the fuse, and an answer comes out as a word."""
    clock = ScaledClock(20.0)
    inbox = Inbox()
    with PracticePort(PracticeBench(twelve), clock) as port, serial.Serial(port.path, 9600, timeout=1.0) as opened:
        port.start(inbox, clock)
        port.see(Prompt(clock.now_s(), "fuses", "F1", Do.PROBE, "probe F1"))
        lines = [opened.read_until(b"\r\n") for _ in range(6)]
        port.see(Cue(clock.now_s(), "fuses", "F1", CueKind.CONTACT))
        lines += [opened.read_until(b"\r\n") for _ in range(10)]
        assert lines[-1].endswith(b" ohm AUTO\r\n")
        assert 0.0 < float(lines[-1].split()[0]) < 0.6
        port.see(Cue(clock.now_s(), "fuses", "F1", CueKind.PASS))
        port.see(Prompt(clock.now_s(), "fuses", "F1", Do.ANSWER, "was the last tick on F1?", asks=Asks.COUNT))
        deadline_s = time.monotonic() + 5.0
        while not inbox.words and time.monotonic() < deadline_s:
            time.sleep(0.01)
    assert [word for word, _ in inbox.words] == ["yes"]


def test_a_polled_meter_answers_on_the_port(twelve: Scene) -> None:
    """Nothing comes by itself; each D brings one line."""
    scene = msgspec.structs.replace(twelve, meter=msgspec.structs.replace(twelve.meter, family="polled-line"))
    clock = ScaledClock(20.0)
    with PracticePort(PracticeBench(scene), clock) as port, serial.Serial(port.path, 600, timeout=0.3) as opened:
        assert opened.read(1) == b""
        for _ in range(3):
            opened.write(b"D")
            assert opened.read(14)[:2] == b"OH"
        assert opened.read(1) == b""


def test_closing_pulls_the_cable(twelve: Scene) -> None:
    """A reader of a closed practice port gets an error, not silence."""
    port = PracticePort(PracticeBench(twelve), ScaledClock(20.0))
    port.__enter__()
    opened = serial.Serial(port.path, 9600, timeout=2.0)
    opened.read(1)
    port.close()
    port.close()
    with pytest.raises(OSError):
        for _ in range(200):
            opened.read(1)
    opened.close()


def test_a_hand_moved_from_outside_is_read_on_the_port(twelve: Scene) -> None:
    """Moves from another thread land at once, in order with the conversions, and the port shows what they touch."""
    clock = ScaledClock(20.0)
    bench = PracticeBench(twelve, hands=ByHand)
    hands = bench.hands
    assert isinstance(hands, ByHand)
    with PracticePort(bench, clock) as port, serial.Serial(port.path, 9600, timeout=1.0) as opened:
        assert b"OL" in opened.read_until(b"\r\n")
        for _ in range(4):
            port.at_once(lambda t_s: hands.move("F3", t_s))
            lines = [opened.read_until(b"\r\n") for _ in range(8)]
            port.at_once(lambda t_s: hands.move("", t_s))
            assert 0.0 < float(lines[-1].split()[0]) < 0.6
            lines = [opened.read_until(b"\r\n") for _ in range(8)]
            assert lines[-1].startswith(b"OL")
    times = [touch.t_s for touch in bench.touches]
    assert times == sorted(times) and len(times) == 9
    port.at_once(lambda t_s: hands.move("F3", t_s))  # a screen may outlive the port
    assert hands.here == "F3"


@pytest.mark.parametrize(("speed", "count"), [(1.0, 14), (2.0, 7), (10.0, 1), (20.0, 1)])
def test_pieces_of_a_frame(speed: float, count: int) -> None:
    """58 ms of frame in steps of at least 4 ms of real time: single bytes at speed 1, one piece at 20."""
    assert pieces(14 * 10 / 2400, 14, speed) == count


def test_words_before_anybody_listens_are_dropped(twelve: Scene, monkeypatch: Any) -> None:
    """Without an inbox a word goes nowhere and nothing breaks."""
    clock = ScaledClock(20.0)
    with PracticePort(PracticeBench(twelve), clock) as port:
        port.see(Prompt(clock.now_s(), "in", "in", Do.CONFIRM, "strap on?"))
        time.sleep(0.3)
        assert port.problem is None


def test_a_bench_that_fails_tells_the_session(twelve: Scene) -> None:
    """A plan that asks for a point that the board does not have ends in the inbox, not in silence."""
    clock = ScaledClock(20.0)
    inbox = Inbox()
    with PracticePort(PracticeBench(twelve), clock) as port:
        port.start(inbox, clock)
        port.see(Prompt(clock.now_s(), "fuses", "F99", Do.PROBE, "probe F99"))
        deadline_s = time.monotonic() + 5.0
        while not inbox.faults and time.monotonic() < deadline_s:
            time.sleep(0.01)
    (fault,) = inbox.faults
    assert isinstance(fault, SceneError)
    assert "F99" in str(fault)
    assert port.problem is fault
