"""A serial bridge on the network (RFC 2217) as a process of its own, in front of any port that can be opened.

The protocol's side of the server is pyserial's `PortManager`; the line behind it is a file descriptor here. Run as a
program it takes the meter's port and a TCP port (0 for any), and prints a line of JSON for what happens: where it
listens, who came, what the client set the line to.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

from serial.rfc2217 import PortManager

PATIENCE_S = 30.0


class Line:
    """The line as the protocol sees it: every setting that the client asks for is told."""

    told: dict[str, Any]
    refused: tuple[str, ...]

    def __init__(self, told: dict[str, Any], refused: tuple[str, ...]) -> None:
        self.__dict__.update(
            told=told, refused=refused, baudrate=1200, bytesize=8, parity="N", stopbits=1, dtr=None, rts=None
        )
        self.__dict__.update(xonxoff=True, rtscts=False, cts=True, dsr=True, ri=False, cd=False)

    def __setattr__(self, name: str, value: Any) -> None:
        if f"{name}={value}" in self.refused:
            raise ValueError(name)
        self.__dict__[name] = value
        self.told[name] = value

    def reset_input_buffer(self) -> None: ...

    def reset_output_buffer(self) -> None: ...


class Out:
    def __init__(self, connection: socket.socket) -> None:
        self._connection, self._lock = connection, threading.Lock()

    def write(self, data: bytes) -> None:
        with self._lock:
            self._connection.sendall(data)


def say(**what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def serve(connection: socket.socket, path: str, refused: tuple[str, ...]) -> None:
    """Pass bytes both ways until the client goes; a meter whose cable is out is looked for again."""
    told: dict[str, Any] = {}
    out = Out(connection)
    manager = PortManager(Line(told, refused), out)
    meter = -1
    before: dict[str, Any] = {}
    while True:
        if meter < 0 and Path(path).exists():
            meter = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        ends: list[Any] = [connection, *([meter] if meter >= 0 else [])]
        ready = select.select(ends, [], [], 0.05)[0]
        if connection in ready:
            data = connection.recv(4096)
            if not data:
                break
            wanted = b"".join(manager.filter(data))
            if wanted and meter >= 0:
                os.write(meter, wanted)
            if told != before:
                before = dict(told)
                say(line=told)
        if meter in ready:
            try:
                heard = os.read(meter, 4096)
            except OSError:
                heard = b""
            if heard:
                out.write(b"".join(manager.escape(heard)))
            else:
                os.close(meter)
                meter = -1
    if meter >= 0:
        os.close(meter)


def main() -> None:
    path, port, *refused = sys.argv[1:]
    server = socket.socket()
    server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    server.bind(("127.0.0.1", int(port)))
    server.listen()
    say(port=server.getsockname()[1])
    while True:
        connection, _ = server.accept()
        say(client=True)
        with connection, contextlib.suppress(OSError):
            serve(connection, path, tuple(refused))
        say(client=False)


class Bridge:
    """That program, started; `kill` ends it at once, `again` starts it anew on the same TCP port."""

    def __init__(self, path: Path | str, *refused: str) -> None:
        self._path, self._refused = str(path), refused
        self.port = 0
        self.said: list[dict[str, Any]] = []
        self.again()

    def __enter__(self) -> Bridge:
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    @property
    def url(self) -> str:
        return f"rfc2217://127.0.0.1:{self.port}"

    def again(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__, self._path, str(self.port), *self._refused], stdout=subprocess.PIPE
        )
        self._thread = threading.Thread(target=self._listen, args=(self._process.stdout,), daemon=True)
        have = len(self.said)
        self._thread.start()
        self.until(lambda said: any("port" in one for one in said[have:]), "bridge")
        self.port = next(one["port"] for one in self.said[have:] if "port" in one)

    def kill(self) -> None:
        self._process.kill()
        self._process.wait()
        self._thread.join()
        assert self._process.stdout is not None
        self._process.stdout.close()

    def until(self, true: Any, what: str) -> None:
        end_s = time.monotonic() + PATIENCE_S
        while not true(list(self.said)):
            assert time.monotonic() < end_s, f"no {what} among {self.said}"
            time.sleep(0.01)

    @property
    def line(self) -> dict[str, Any]:
        """What the client last set the line to."""
        return next((one["line"] for one in reversed(self.said) if "line" in one), {})

    def _listen(self, pipe: Any) -> None:
        for row in pipe:
            self.said.append(json.loads(row))


if __name__ == "__main__":
    main()
