"""How queries go out and lines come back, whatever carries them: a plain socket here, VISA in `visalines`.

Both give up after the seconds they were allowed, in all: a meter that sends its answer byte by byte gets no more time
for each of them.
"""

from __future__ import annotations

import contextlib
import re
import socket
import time
from typing import Protocol

MOST_BYTES = 4096
"""The longest answer that is waited for; the rest of a longer one counts as bytes nobody asked for."""


class Lines(Protocol):
    """An open connection to a meter that answers queries by lines."""

    def write(self, command: str) -> None:
        """Send a command or query and its line end."""
        ...

    def read_line(self, wait_s: float) -> bytes:
        """Return the next line with its end, or `MOST_BYTES` of a longer one. TimeoutError when `wait_s` is over."""
        ...

    def waiting(self, settle_s: float) -> bytes:
        """Take away and return what has come and was not read, or comes within `settle_s`; at most `MOST_BYTES`."""
        ...

    def close(self) -> None:
        """Let go of the connection."""
        ...


def socket_of(resource: str) -> tuple[str, int] | None:
    """Return host and port of a VISA resource that is a plain socket, or None."""
    found = re.fullmatch(r"TCPIP\d*::(.+)::(\d{1,5})::SOCKET", resource, re.ASCII | re.IGNORECASE)
    return None if found is None else (found[1], int(found[2]))


class SocketLines:
    """Lines over TCP. A connection that the meter closes is an error at once, never a silence."""

    def __init__(self, host: str, port: int, wait_s: float) -> None:
        self._wait_s = wait_s
        self._socket = socket.create_connection((host, port), wait_s)
        self._held = bytearray()

    def write(self, command: str) -> None:
        """Send a command or query and its line end."""
        self._socket.settimeout(self._wait_s)
        self._socket.sendall(command.encode("ascii") + b"\n")

    def read_line(self, wait_s: float) -> bytes:
        """Return the next line; see `Lines`. ConnectionError when the meter has closed the connection."""
        until_s = time.monotonic() + wait_s
        while (end := self._held.find(b"\n") + 1) == 0 and len(self._held) < MOST_BYTES:
            left_s = until_s - time.monotonic()
            if left_s <= 0:
                raise TimeoutError("no line in time")
            self._receive(left_s)
        line = bytes(self._held[: end or MOST_BYTES])
        del self._held[: len(line)]
        return line

    def waiting(self, settle_s: float) -> bytes:
        """Take what has come, or comes within `settle_s`; see `Lines`."""
        until_s = time.monotonic() + settle_s
        with contextlib.suppress(TimeoutError, BlockingIOError):
            while len(self._held) < MOST_BYTES:
                self._receive(max(0.0, until_s - time.monotonic()))
        taken = bytes(self._held[:MOST_BYTES])
        del self._held[: len(taken)]
        return taken

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()

    def _receive(self, wait_s: float) -> None:
        self._socket.settimeout(wait_s)  # 0.0 does not wait: BlockingIOError
        data = self._socket.recv(MOST_BYTES)
        if not data:
            raise ConnectionResetError("the meter closed the connection")
        self._held += data
