"""A serial link on pseudo-terminals and loopback sockets."""

from __future__ import annotations

import contextlib
import os
import socket
import statistics
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
import serial

from metercap.clock import ScaledClock
from metercap.errors import LinkError
from metercap.link import serialport
from metercap.link.address import open_link
from metercap.link.serialport import SerialSource
from metercap.meter import Poll
from metercap.records import LinkState

pytestmark = pytest.mark.usefixtures("threads_end")

UP, LOST = LinkState.UP, LinkState.LOST
FRAME = bytes((n << 4) | 5 for n in range(1, 15))


def paced(port: Any, data: bytes, byte_s: float) -> None:
    """Send bytes at the pace of the wire."""
    start = time.monotonic()
    for n, value in enumerate(data):
        time.sleep(max(0.0, start + n * byte_s - time.monotonic()))
        port.send(bytes([value]))


def test_bytes_arrive_whole_in_order_and_stamped(pty: Any, sink: Any, clock: Any, profiles: Any) -> None:
    """Frames at byte pace arrive byte for byte, `up` first, stamps rising and spread over the frame's time."""
    source = open_link(pty.path, profiles["lcd14"])
    source.start(sink, clock)
    sink.until(lambda s: s.states == [UP], "up")
    byte_s = profiles["lcd14"].serial.byte_s
    for _ in range(3):
        paced(pty, FRAME, byte_s)
    sink.until(lambda s: len(s.data) == 42, "three frames")
    source.stop()
    times = [item[2] for item in sink.items if item[0] == "bytes"]
    assert sink.items[0][:2] == ("link", UP)
    assert sink.data == FRAME * 3
    assert times == sorted(times)
    assert times[-1] - times[0] >= 41 * byte_s * 0.9


def test_a_byte_is_not_held_back(pty: Any, sink: Any, clock: Any, profiles: Any) -> None:
    """The median byte is in the sink well before the next one could be sent: no fixed-size read, no waiting."""
    source = open_link(pty.path, profiles["lcd14"])
    source.start(sink, clock)
    sink.until(lambda s: s.states == [UP], "up")
    late = []
    for n in range(40):
        sent_s = clock.now_s()
        pty.send(b"\x17")
        sink.until(lambda s, n=n: len(s.data) == n + 1, "byte")
        late.append(sink.items[-1][2] - sent_s)
        time.sleep(0.005)
    source.stop()
    assert statistics.median(late) < 0.003


def test_stamps_are_session_time(pty: Any, sink: Any, profiles: Any) -> None:
    """At ten times the speed two bytes 0.1 s apart are a second apart."""
    source = open_link(pty.path, profiles["lcd14"])
    source.start(sink, ScaledClock(speed=10.0))
    pty.send(b"a")
    sink.until(lambda s: s.data == b"a", "first byte")
    time.sleep(0.1)
    pty.send(b"b")
    sink.until(lambda s: s.data == b"ab", "second byte")
    source.stop()
    first, second = [item[2] for item in sink.items if item[0] == "bytes"]
    assert 1.0 <= second - first < 3.0


def test_seven_bits_on_a_pseudo_terminal_opened_twice(pty: Any, sink: Any, clock: Any, profiles: Any) -> None:
    """7O1 is dropped by the terminal at first and refused the second time; both open, and bit 7 never comes through."""
    seven = profiles["digits14"]
    first = open_link(pty.path, seven)
    first.stop()
    with pytest.raises(Exception, match="Invalid argument") as refused:
        serial.Serial(pty.path, baudrate=19200, bytesize=7, parity="O")
    assert not isinstance(refused.value, OSError)
    second = open_link(pty.path, seven)
    second.start(sink, clock)
    pty.send(bytes(range(256)))
    sink.until(lambda s: len(s.data) == 256, "all bytes")
    second.stop()
    assert sink.data == bytes(range(128)) * 2


def test_a_polled_meter_is_asked_at_its_rate(pty: Any, sink: Any, profiles: Any) -> None:
    """`D` goes out 20 times a second of session time, and no burst makes up for what was missed."""
    source = open_link(pty.path, profiles["polled"])
    clock = ScaledClock()
    source.start(sink, clock)
    asked = b""
    while len(asked) < 8:
        asked += os.read(pty.master, 4096)
    took_s = clock.now_s()
    source.stop()
    assert set(asked) == {ord("D")}
    # Eight polls span seven periods of 0.05 s; a busy machine may take longer, none may take less.
    assert took_s >= 7 * 0.05 - 0.02
    assert len(asked) <= 1 + took_s / 0.05 + 1


def test_a_missed_poll_is_not_made_up_for(monkeypatch: pytest.MonkeyPatch, sink: Any, profiles: Any) -> None:
    """After a read that took a second, polls go on a whole period apart: none comes twice, none sooner."""

    class Stalling:
        """A port and a clock in one: each read takes 10 ms, the fifth a second."""

        def __init__(self) -> None:
            self.t_s, self.reads = 0.0, 0
            self.asked_s: list[float] = []
            self.in_waiting, self.dtr, self.rts = 0, False, False

        def open(self) -> None: ...

        def close(self) -> None: ...

        def cancel_read(self) -> None: ...

        def now_s(self) -> float:
            return self.t_s

        def write(self, data: bytes) -> None:
            self.asked_s.append(round(self.t_s, 3))

        def read(self, size: int) -> bytes:
            self.reads += 1
            self.t_s += 1.0 if self.reads == 5 else 0.01
            if self.t_s > 1.3:
                source._stop.set()
            return b""

    port = Stalling()
    monkeypatch.setattr("serial.serial_for_url", lambda *_, **__: port)
    source = SerialSource("/dev/stalling", profiles["polled"])
    source._read(sink, port)  # type: ignore[arg-type]
    # By hand, 20 polls a second: due at 0.05 s, late at 1.04 s, then every 0.05 s.
    assert port.asked_s == pytest.approx([0.0, 1.04, 1.09, 1.14, 1.19, 1.24, 1.29], abs=0.011)


def patiences(monkeypatch: pytest.MonkeyPatch, ports: list[Any], profile: Any) -> list[float]:
    """Return what a source waits before each reopening, with these ports one after the other."""
    waited: list[float] = []

    class Counting(SerialSource):
        def _reopen(self, sink: Any, clock: Any, told: str) -> None:
            waited.append(self._patience_s)
            if not ports:
                self._stop.set()
            else:
                self._port = ports.pop(0)

    monkeypatch.setattr("serial.serial_for_url", lambda *_, **__: ports.pop(0))

    class Nobody:
        def put_bytes(self, data: Any, t_s: Any) -> None: ...

        def put_link(self, state: Any, why: Any, t_s: Any) -> None: ...

        def put_fault(self, error: Any) -> None:
            raise error

    Counting("/dev/flaky", profile)._run(Nobody(), ScaledClock())
    return waited


def test_a_port_that_fails_before_its_first_byte_is_tried_ever_more_slowly(
    monkeypatch: pytest.MonkeyPatch, profiles: Any
) -> None:
    """0.25 s doubles to 2 s; one that gave a byte is tried again at 0.25 s (the module's own figures)."""
    gone = OSError(5, "gone")
    dead = [Flaky("in_waiting", gone) for _ in range(6)]
    for port in dead:
        port.left = 0
    alive = Flaky("in_waiting", gone)
    alive.left = 2
    assert patiences(monkeypatch, [*dead, alive], profiles["lcd14"]) == [0.5, 1.0, 2.0, 2.0, 2.0, 2.0, 0.25]


def test_a_polled_meter_answers(pty: Any, sink: Any, clock: Any, profiles: Any) -> None:
    """The answer to a poll comes through with bit 7 cleared."""
    source = open_link(pty.path, profiles["polled"])
    source.start(sink, clock)
    assert os.read(pty.master, 1) == b"D"
    paced(pty, b"OH  0.218 kOhm\r", 0.002)
    sink.until(lambda s: s.data.endswith(b"\r"), "answer")
    source.stop()
    assert sink.data == b"OH  0.218 kOhm\r"


def test_dtr_and_rts_are_set_before_the_port_opens(monkeypatch: pytest.MonkeyPatch, pty: Any, profiles: Any) -> None:
    """The lines, the timeouts and the lock stand when the port opens; nothing is changed afterwards."""
    opened: list[dict[str, Any]] = []
    real = serial.Serial.open

    def spied(port: Any) -> None:
        opened.append(
            {"dtr": port.dtr, "rts": port.rts, "timeout": port.timeout, "exclusive": port.exclusive}
            | {"baud": port.baudrate, "bits": port.bytesize, "stop": port.stopbits}
        )
        real(port)

    monkeypatch.setattr(serial.Serial, "open", spied)
    open_link(pty.path, profiles["lcd14"]).stop()
    assert opened == [
        {"dtr": True, "rts": False, "timeout": 0.1, "exclusive": True, "baud": 2400, "bits": 8, "stop": 1}
    ]


def test_unplugged_and_back_under_the_name_the_user_gave(
    new_pty: Any, sink: Any, clock: Any, profiles: Any, tmp_path: Path
) -> None:
    """A name that leads to another terminal after the loss is opened as it was given; the same thread goes on."""
    first, second = new_pty(), new_pty()
    name = tmp_path / "meter"
    name.symlink_to(first.path)
    source = open_link(str(name), profiles["lcd14"])
    source.start(sink, clock)
    first.send(b"one")
    sink.until(lambda s: s.data == b"one", "first bytes")
    name.unlink()
    first.unplug()
    sink.until(lambda s: s.states == [UP, LOST], "lost")
    assert "cable pulled" in sink.whys[1]
    time.sleep(0.6)
    assert sink.states == [UP, LOST]
    name.symlink_to(second.path)
    sink.until(lambda s: s.states == [UP, LOST, UP], "up again")
    second.send(b"two")
    sink.until(lambda s: s.data == b"onetwo", "more bytes")
    source.stop()
    assert [item for item in sink.items if item[0] == "fault"] == []


def test_unplugged_and_back_by_the_adapters_own_name(
    new_pty: Any, sink: Any, clock: Any, profiles: Any, tmp_path: Path
) -> None:
    """Another adapter under the old name is not taken for the lost one when the lost one has a name of its own."""
    meter, other, again = new_pty(), new_pty(), new_pty()
    by_id = tmp_path / "by-id"
    by_id.mkdir()
    own = by_id / "usb-adapter-7"
    own.symlink_to(meter.path)
    name = tmp_path / "port0"
    name.symlink_to(meter.path)
    source = SerialSource(str(name), profiles["lcd14"], by_id=by_id)
    source.start(sink, clock)
    sink.until(lambda s: s.states == [UP], "up")
    own.unlink()
    name.unlink()
    meter.unplug()
    sink.until(lambda s: s.states == [UP, LOST], "lost")
    name.symlink_to(other.path)
    time.sleep(0.6)
    assert sink.states == [UP, LOST]
    own.symlink_to(again.path)
    sink.until(lambda s: s.states == [UP, LOST, UP], "up again")
    again.send(b"x")
    sink.until(lambda s: s.data == b"x", "bytes")
    source.stop()


def test_another_reason_not_to_open_again_is_told(
    new_pty: Any, sink: Any, clock: Any, profiles: Any, tmp_path: Path
) -> None:
    """When the name is back but cannot be opened, the person is told why, once."""
    first = new_pty()
    name = tmp_path / "meter"
    name.symlink_to(first.path)
    source = open_link(str(name), profiles["lcd14"])
    source.start(sink, clock)
    sink.until(lambda s: s.states == [UP], "up")
    name.unlink()
    first.unplug()
    sink.until(lambda s: s.states == [UP, LOST], "lost")
    name.write_text("not a terminal")
    sink.until(lambda s: s.states == [UP, LOST, LOST], "reason")
    assert "not a serial port" in sink.whys[2]
    time.sleep(0.6)
    source.stop()
    assert sink.states == [UP, LOST, LOST]


class Server:
    """A bridge on a loopback socket that sends what it is told, to one client after the other."""

    def __init__(self) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.clients: list[socket.socket] = []
        self.url = f"socket://127.0.0.1:{self.listener.getsockname()[1]}"

    def accept(self) -> socket.socket:
        self.listener.settimeout(5.0)
        self.clients.append(self.listener.accept()[0])
        return self.clients[-1]

    def close(self) -> None:
        for end in (self.listener, *self.clients):
            end.close()


@pytest.fixture
def server() -> Iterator[Any]:
    server = Server()
    yield server
    server.close()


def test_a_socket_bridge(server: Any, sink: Any, clock: Any, profiles: Any) -> None:
    """socket:// works like a port: bytes come, a closed connection is lost and is opened again."""
    source = open_link(server.url, profiles["lcd14"])
    client = server.accept()
    source.start(sink, clock)
    sink.until(lambda s: s.states == [UP], "up")
    client.sendall(FRAME)
    sink.until(lambda s: s.data == FRAME, "frame")
    client.close()
    sink.until(lambda s: s.states == [UP, LOST], "lost")
    assert "closed the connection" in sink.whys[1]
    client = server.accept()
    sink.until(lambda s: s.states == [UP, LOST, UP], "up again")
    client.sendall(b"again")
    sink.until(lambda s: s.data == FRAME + b"again", "second connection")
    source.stop()


def test_other_kinds_of_address(sink: Any, clock: Any, profiles: Any) -> None:
    """Any pyserial URL goes; a polled meter on loop:// hears its own question."""
    source = open_link("loop://", profiles["polled"])
    source.start(sink, clock)
    sink.until(lambda s: s.data.startswith(b"DD"), "echo")
    source.stop()


@pytest.mark.parametrize("kind", ["pty", "socket", "lost", "flood"])
def test_stop_never_hangs(kind: str, new_pty: Any, server: Any, sink: Any, clock: Any, profiles: Any) -> None:
    """Stopping returns within two seconds: while reading, while lost, on a socket, under a flood; twice, too."""
    if kind == "socket":
        source = open_link(server.url, profiles["lcd14"])
        server.accept()
    else:
        port = new_pty()
        source = open_link(port.path, profiles["lcd14"])
    source.start(sink, clock)
    sink.until(lambda s: s.states == [UP], "up")
    done = threading.Event()
    if kind == "lost":
        port.unplug()
        sink.until(lambda s: s.states == [UP, LOST], "lost")
    elif kind == "flood":
        os.set_blocking(port.master, False)

        def flood() -> None:
            while not done.wait(0.0005):
                with contextlib.suppress(BlockingIOError):
                    port.send(b"\x55" * 512)

        thread = threading.Thread(target=flood)
        thread.start()
        sink.until(lambda s: len(s.data) > 20_000, "flood")
    start = time.monotonic()
    source.stop()
    source.stop()
    took = time.monotonic() - start
    done.set()
    if kind == "flood":
        thread.join()
    assert took < 2.0


def test_stop_before_start_closes_the_port(pty: Any, profiles: Any) -> None:
    """A link that was opened and never started lets the port go."""
    open_link(pty.path, profiles["lcd14"]).stop()
    open_link(pty.path, profiles["lcd14"]).stop()


class Flaky:
    """A port that works, then fails with a given error at a given call."""

    def __init__(self, call: str, error: Exception) -> None:
        self.call, self.error = call, error
        self.dtr = self.rts = False
        self.left = 3

    def _maybe(self, call: str) -> None:
        if call == self.call:
            self.left -= 1
            if self.left < 0:
                raise self.error

    def open(self) -> None:
        self._maybe("open")

    @property
    def in_waiting(self) -> int:
        self._maybe("in_waiting")
        return 0

    def read(self, size: int) -> bytes:
        self._maybe("read")
        time.sleep(0.002)
        return b"x"

    def write(self, data: bytes) -> int:
        self._maybe("write")
        return len(data)

    def close(self) -> None:
        self._maybe("close")

    def cancel_read(self) -> None:
        self._maybe("cancel_read")


def every_error() -> list[Exception]:
    """One of every error that pyserial, termios and the operating system can raise from a port."""
    import termios

    kinds = [serial.SerialException]
    for kind in kinds:
        kinds += [child for child in kind.__subclasses__() if child not in kinds]
    errors: list[Exception] = [kind() if kind is serial.PortNotOpenError else kind("x") for kind in kinds]
    numbers = [5, 9, 13, 16, 32, 104, 111]
    errors += [OSError(number, os.strerror(number)) for number in numbers]
    errors += [serial.SerialException(number, os.strerror(number)) for number in (5, 16)]
    errors += [termios.error(5, "I/O error"), termios.error(22, "Invalid argument"), TimeoutError("x")]
    errors += [ValueError("filedescriptor out of range in select()"), ConnectionResetError(104, "reset")]
    assert {type(error) for error in errors} >= {serial.SerialTimeoutException, serial.PortNotOpenError}
    return errors


@pytest.mark.parametrize("call", ["in_waiting", "read", "write"])
@pytest.mark.parametrize("error", every_error(), ids=repr)
def test_every_error_in_use_is_a_lost_link(
    call: str, error: Any, monkeypatch: pytest.MonkeyPatch, sink: Any, clock: Any, profiles: Any
) -> None:
    """Whatever the port raises becomes `lost` with words for a person, and the port is opened again."""
    made = [Flaky(call, error), Flaky("", error)]
    monkeypatch.setattr("serial.serial_for_url", lambda *_, **__: made.pop(0))
    monkeypatch.setattr(serialport, "REOPEN_S", 0.001)
    eager = msgspec.structs.replace(profiles["polled"], poll=Poll(send="D", per_s=1000.0))
    source = SerialSource("/dev/flaky", eager)
    source._patience_s = 0.001
    source.start(sink, clock)
    sink.until(lambda s: s.states == [UP, LOST, UP], "lost and up")
    source.stop()
    assert sink.whys[1]
    assert "Error(" not in sink.whys[1]
    assert "fault" not in {item[0] for item in sink.items}


@pytest.mark.parametrize("error", every_error(), ids=repr)
def test_every_error_on_opening_is_a_link_error(error: Any, monkeypatch: pytest.MonkeyPatch, profiles: Any) -> None:
    """Whatever opening raises is a LinkError with exit status 3 and something to try."""

    def refuse(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr("serial.serial_for_url", refuse)
    with pytest.raises(LinkError) as caught:
        open_link("/dev/flaky", profiles["lcd14"])
    assert caught.value.exit_status == 3
    assert caught.value.where == "/dev/flaky"
    assert caught.value.hint


@pytest.mark.parametrize("call", ["close", "cancel_read"])
@pytest.mark.parametrize("error", [OSError(5, "gone"), AttributeError("x"), TypeError("x")], ids=repr)
def test_errors_while_stopping_do_not_matter(
    call: str, error: Any, monkeypatch: pytest.MonkeyPatch, sink: Any, clock: Any, profiles: Any
) -> None:
    """A port that cannot even be closed does not keep the program from ending."""
    port = Flaky(call, error)
    port.left = 0
    monkeypatch.setattr("serial.serial_for_url", lambda *_, **__: port)
    source = SerialSource("/dev/flaky", profiles["lcd14"])
    source.start(sink, clock)
    sink.until(lambda s: s.data, "bytes")
    source.stop()


def test_a_defect_in_the_thread_is_not_swallowed(
    monkeypatch: pytest.MonkeyPatch, sink: Any, clock: Any, profiles: Any
) -> None:
    """What is no port error reaches the loop as a fault."""
    port = Flaky("read", ZeroDivisionError("defect"))
    monkeypatch.setattr("serial.serial_for_url", lambda *_, **__: port)
    source = SerialSource("/dev/flaky", profiles["lcd14"])
    source.start(sink, clock)
    sink.until(lambda s: s.items[-1:] and s.items[-1][0] == "fault", "fault")
    assert isinstance(sink.items[-1][1], ZeroDivisionError)
    source.stop()


def test_the_port_is_found_by_its_path_as_given(pty: Any, profiles: Any, tmp_path: Path) -> None:
    """A relative or linked name is not resolved: it is the port's stable name."""
    name = tmp_path / "meter"
    name.symlink_to(pty.path)
    source = SerialSource(str(name), profiles["lcd14"])
    assert source.address == str(name)
    assert source._again == str(name)
    source.stop()
