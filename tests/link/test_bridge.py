"""What listens at a bridge's address may be anything: silent, chatty, hostile. Loopback sockets, in this process.

Telnet's commands are written out from RFC 854 (IAC 255, DONT 254, DO 253, WONT 252, WILL 251, SB 250, SE 240), the
option and its commands from RFC 2217 (COM-PORT-OPTION 44; a server answers with the client's number plus 100).
"""

from __future__ import annotations

import contextlib
import os
import queue
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from metercap.errors import LinkError
from metercap.link import bridge
from metercap.link.address import open_link
from metercap.link.serialport import open_port
from metercap.records import LinkState

pytestmark = pytest.mark.usefixtures("threads_end")

UP, LOST = LinkState.UP, LinkState.LOST
IAC, DONT, DO, WONT, WILL, SB, SE = 255, 254, 253, 252, 251, 250, 240
BINARY, COM_PORT = 0, 44
AGREE = bytes([IAC, WILL, COM_PORT, IAC, DO, COM_PORT, IAC, DO, BINARY, IAC, WILL, BINARY])
BAUD, DATA_BITS, PARITY, STOP_BITS, CONTROL = 1, 2, 3, 4, 5

Talk = Callable[[socket.socket], None]


class Listener:
    """Something at an address. `talk` is given each connection."""

    def __init__(self, talk: Talk) -> None:
        self._talk = talk
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self._server.getsockname()[1]}?timeout=0.5"
        self._connections: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._accept)]
        self._threads[0].start()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                connection, _ = self._server.accept()
                self._connections.append(connection)
                self._threads.append(threading.Thread(target=self._serve, args=(connection,)))
                self._threads[-1].start()

    def _serve(self, connection: socket.socket) -> None:
        with connection, contextlib.suppress(OSError):
            self._talk(connection)

    def close(self) -> None:
        for one in (self._server, *self._connections):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        self._server.close()
        for thread in self._threads:
            thread.join(5.0)
            assert not thread.is_alive()


@pytest.fixture
def listen() -> Iterator[Callable[[Talk], Listener]]:
    made: list[Listener] = []

    def start(talk: Talk) -> Listener:
        made.append(Listener(talk))
        return made[-1]

    yield start
    for one in made:
        one.close()


def drain(connection: socket.socket) -> None:
    while connection.recv(4096):
        pass


def answering(refused: tuple[int, ...] = (), unanswered: tuple[int, ...] = (), then: Talk = drain) -> Talk:
    """Agree to everything and confirm what is set, but for what is named; then do what `then` does."""

    def talk(connection: socket.socket) -> None:
        connection.sendall(AGREE)
        held, confirmed = b"", 0
        connection.settimeout(0.3)
        while True:
            try:
                data = connection.recv(4096)
            except TimeoutError:
                if confirmed:
                    break
                continue
            if not data:
                return
            held += data
            while (start := held.find(bytes([IAC, SB, COM_PORT]))) >= 0 and (end := held.find(bytes([IAC, SE]))) >= 0:
                command, value = held[start + 3], held[start + 4 : end]
                held = held[end + 2 :]
                if command in unanswered:
                    continue
                if command in refused:
                    value = struct.pack("!I", 300) if command == BAUD else bytes([5])
                confirmed += command == CONTROL
                connection.sendall(bytes([IAC, SB, COM_PORT, command + 100]) + value + bytes([IAC, SE]))
        connection.settimeout(None)
        then(connection)

    return talk


def say(what: bytes) -> Talk:
    def talk(connection: socket.socket) -> None:
        connection.sendall(what)
        drain(connection)

    return talk


def flood(what: bytes) -> Talk:
    def talk(connection: socket.socket) -> None:
        while True:
            connection.sendall(what)

    return talk


def hang_up(connection: socket.socket) -> None:
    connection.recv(1)


@pytest.mark.attack
@pytest.mark.parametrize(
    ("talk", "what", "hint"),
    [
        (drain, "nothing there speaks RFC 2217", "socket://HOST:PORT"),
        (say(b"SSH-2.0-shell\r\n"), r"it says b'SSH-2.0-shell\r\n'", "socket://HOST:PORT"),
        (say(b"\x1b[2J\x00" * 40), r"it says b'\x1b[2J", "socket://HOST:PORT"),
        (hang_up, "the other side closed the connection", "take only one"),
        (say(bytes([IAC, SE])), "does not keep to RFC 2217", "take only one"),
        (flood(bytes([IAC, SB, COM_PORT]) + b"a" * 999), "a command that does not end", "take only one"),
        (flood(b"17 things\r\n"), r"it says b'17 things\r\n", "socket://HOST:PORT"),
        (say(bytes([IAC, WONT, COM_PORT, IAC, DONT, COM_PORT])), "nothing there speaks RFC 2217", "socket://"),
        (answering(refused=(BAUD,)), "does not take the meter's baud rate, 2400", "socket://HOST:PORT"),
        (answering(refused=(DATA_BITS,)), "does not take the meter's data bits", "socket://HOST:PORT"),
        (answering(refused=(STOP_BITS,)), "does not take the meter's stop bits", "socket://HOST:PORT"),
        (answering(unanswered=(PARITY,)), "does not take the meter's settings", "socket://HOST:PORT"),
        (answering(unanswered=(CONTROL,)), "does not say that it has set DTR and RTS", "&ign_set_control"),
    ],
)
def test_what_is_no_bridge_is_said_in_words(
    listen: Any, attack: Any, profiles: Any, talk: Talk, what: str, hint: str
) -> None:
    """Within seconds, with where it was and what to try; its words shown harmless; no thread left behind."""
    there = listen(talk)
    start_s = time.monotonic()
    with attack("bridge that is none").trial():
        with pytest.raises(LinkError) as refused:
            open_port(there.url, profiles["lcd14"])
        assert time.monotonic() - start_s < 6.0
        assert what in refused.value.what
        assert hint in refused.value.hint
        assert refused.value.where == there.url
        assert "\x1b" not in str(refused.value)


def test_a_bridge_that_confirms_no_lines_is_opened_when_told_so(listen: Any, profiles: Any) -> None:
    """The hint of the refusal works as it is written."""
    there = listen(answering(unanswered=(CONTROL,)))
    with pytest.raises(LinkError) as refused:
        open_port(there.url, profiles["lcd14"])
    url = refused.value.hint.partition(",")[0]
    open_port(url, profiles["lcd14"]).close()


def test_a_bridge_that_answers_no_purge_is_one_all_the_same(listen: Any, profiles: Any) -> None:
    """Not every bridge confirms that it dropped old bytes (RFC 2217 has PURGE-DATA as 12)."""
    there = listen(answering(unanswered=(12,)))
    start_s = time.monotonic()
    open_port(there.url, profiles["lcd14"]).close()
    assert time.monotonic() - start_s < 3.0


def test_every_byte_comes_through(listen: Any, sink: Any, clock: Any, profiles: Any) -> None:
    """All 256 of them, those that Telnet doubles too; then the connection ends, said with its reason."""
    every = bytes(range(256))

    def send(connection: socket.socket) -> None:
        connection.sendall(every.replace(b"\xff", b"\xff\xff") * 3)

    there = listen(answering(then=send))
    source = open_link(there.url, profiles["lcd14"])
    source.start(sink, clock)
    sink.until(lambda s: LOST in s.states, "the end")
    source.stop()
    assert sink.data == every * 3
    assert sink.states[:2] == [UP, LOST]
    assert sink.whys[1] == "the other side closed the connection"


def test_what_came_before_the_end_is_read_before_the_end_is_told() -> None:
    """The end stands behind two bytes: these first, then why no more can come."""
    port = bridge.BridgePort(1.0, timeout=0.05)
    port._read_buffer = queue.Queue()  # type: ignore[assignment]
    for one in (b"a", b"b", None):
        port._read_buffer.put(one)
    assert port.read(3) == b"ab"
    with pytest.raises(OSError, match="the other side closed"):
        port.read(1)


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs the system's list of open files")
def test_connections_that_end_leave_no_file_open(listen: Any, profiles: Any) -> None:
    """A night of attempts to reach a bridge that hangs up must not use up the files a program may open."""
    there = listen(hang_up)
    before = len(list(Path("/proc/self/fd").iterdir()))
    for _ in range(4):
        with pytest.raises(LinkError):
            open_port(there.url, profiles["lcd14"])
    # The listener's own ends of what is closed here may take a moment.
    end_s = time.monotonic() + 5.0
    while len(list(Path("/proc/self/fd").iterdir())) > before:
        assert time.monotonic() < end_s
        time.sleep(0.02)


@pytest.mark.attack
def test_nonsense_after_the_opening_ends_the_link_with_its_reason(
    listen: Any, attack: Any, sink: Any, clock: Any, profiles: Any
) -> None:
    """A command's end without its beginning: lost, and why; the thread that read it prints nothing."""
    there = listen(answering(then=say(bytes([IAC, SE]))))
    with attack("bridge that talks nonsense").trial():
        source = open_link(there.url, profiles["lcd14"])
        source.start(sink, clock)
        sink.until(lambda s: LOST in s.states, "the end")
        source.stop()
        assert "does not keep to RFC 2217" in sink.whys[1]


@pytest.mark.attack
def test_a_flood_has_to_wait(listen: Any, attack: Any, profiles: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody reads for a second: what is held stays bounded, the rest waits at the other side."""
    sent = [0]

    def pour(connection: socket.socket) -> None:
        while True:
            sent[0] += connection.send(b"x" * 65_536)

    monkeypatch.setattr(bridge, "MOST_HELD", 2000)
    there = listen(answering(then=pour))
    with attack("bridge that floods").trial():
        port = open_port(there.url, profiles["lcd14"])
        end_s = time.monotonic() + 10.0
        while port.in_waiting < 2000:
            assert time.monotonic() < end_s
            time.sleep(0.01)
        time.sleep(0.5)
        before = sent[0]
        time.sleep(0.5)
        assert (port.in_waiting, sent[0]) == (2000, before)
        port.close()


def test_a_write_that_nobody_takes_ends(listen: Any, profiles: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bridge stops reading: writing fails within its bound of 1 s, and closing does not wait."""
    over = threading.Event()

    def deaf(connection: socket.socket) -> None:
        over.wait(20.0)

    there = listen(answering(then=deaf))
    port = open_port(there.url, profiles["polled"])
    start_s = time.monotonic()
    try:
        with pytest.raises(OSError, match="timed out"):
            port.write(b"D" * 50_000_000)
        assert 0.8 < time.monotonic() - start_s < 4.0
        port.close()
        assert time.monotonic() - start_s < 5.0
    finally:
        over.set()


@pytest.mark.skipif(not hasattr(socket, "TCP_KEEPIDLE"), reason="this system does not say how it asks")
def test_a_pulled_network_cable_is_noticed(listen: Any, profiles: Any) -> None:
    """The system asks after 5 s of silence, three times 5 s apart: 20 s at most (by hand; no cable is pulled here)."""
    there = listen(answering())
    port = open_port(there.url, profiles["lcd14"])
    real = port._socket
    assert real.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)
    names = ("TCP_KEEPIDLE", "TCP_KEEPINTVL", "TCP_KEEPCNT")
    idle_s, between_s, times = (real.getsockopt(socket.IPPROTO_TCP, getattr(socket, name)) for name in names)
    port.close()
    assert idle_s + between_s * times <= 20


@pytest.mark.attack
@pytest.mark.parametrize("times", [3, pytest.param(30, marks=pytest.mark.slow)])
def test_random_bytes_never_raise_or_hang(listen: Any, attack: Any, profiles: Any, times: int) -> None:
    """Some answers of 2 000 random bytes: each a LinkError, none a traceback of another thread's."""
    seed = int.from_bytes(os.urandom(4), "big")
    print(f"seed {seed}")  # noqa: T201 - pytest shows it when the test fails
    import random

    r = random.Random(seed)
    for _ in range(times):
        there = listen(say(r.randbytes(2000)))
        with attack("bridge that sends noise").trial(), pytest.raises(LinkError):
            open_port(there.url.replace("0.5", "0.1"), profiles["lcd14"])
