"""A page without a browser: reads the second screen's feed over a real socket, and says words as a page would."""

from __future__ import annotations

import json
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any, NamedTuple

from metercap.web.address import Address

PATIENCE_S = 30.0
URL = re.compile(r"second screen: http://([^:/]+):(\d+)/(?:\?key=(\S+))?")


class Event(NamedTuple):
    """One event of the feed, when it came (`time.monotonic`), and its id: when the session was heard, in ms."""

    kind: str
    data: Any
    at_s: float
    id: int


class Page:
    """Reads the feed in a thread; `events` are all that came, `glance` is the newest."""

    def __init__(self, port: int, *, cookie: str = "", host: str = "127.0.0.1") -> None:
        self.events: list[Event] = []
        self.ended = False
        self._changed = threading.Condition()
        self._sock = socket.create_connection((host, port), PATIENCE_S)
        more = f"Cookie: {cookie}\r\n" if cookie else ""
        self._sock.sendall(f"GET /feed HTTP/1.1\r\nHost: {host}:{port}\r\n{more}\r\n".encode())
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    @property
    def glance(self) -> Any:
        """What the page shows; None before the first."""
        return next((event.data for event in reversed(self.events) if event.kind == "message"), None)

    def until(self, true: Callable[[list[Event]], Any], what: str, wait_s: float = PATIENCE_S) -> Any:
        """Wait until `true(events)` gives something."""
        end_s = time.monotonic() + wait_s
        with self._changed:
            while not (got := true(self.events)):
                left_s = end_s - time.monotonic()
                assert left_s > 0 and not self.ended, f"no {what}; last: {self.glance or self.events[-2:]}"
                self._changed.wait(left_s)
        return got

    def glances(self, true: Callable[[Any], Any], what: str) -> Any:
        """Wait for a glance of which something is true, and return it."""
        return self.until(
            lambda events: next((e.data for e in events if e.kind == "message" and true(e.data)), None), what
        )

    def close(self) -> None:
        """Go away."""
        with suppress(OSError):
            self._sock.shutdown(socket.SHUT_RDWR)
        self._sock.close()
        self._thread.join(PATIENCE_S)

    def _read(self) -> None:
        kind, number = "", 0
        for line in self._lines():
            if line.startswith("event: "):
                kind = line[7:]
            elif line.startswith("id: "):
                number = int(line[4:])
            elif line.startswith("data: "):
                data = json.loads(line[6:]) if line[6:] else None
                with self._changed:
                    self.events.append(Event(kind or "message", data, time.monotonic(), number))
                    self._changed.notify_all()
                kind = ""
        with self._changed:
            self.ended = True
            self._changed.notify_all()

    def _lines(self) -> Iterator[str]:
        """The lines of the events: heads and the sizes of chunks are no line that begins as theirs do."""
        held = b""
        while True:
            try:
                data = self._sock.recv(65536)
            except OSError:
                return
            if not data:
                return
            *lines, held = (held + data).split(b"\n")
            yield from (line.decode().rstrip("\r") for line in lines)


@contextmanager
def page(port: int, *, cookie: str = "") -> Iterator[Page]:
    """A page for the length of a block."""
    opened = Page(port, cookie=cookie)
    try:
        yield opened
    finally:
        opened.close()


def address_of(text: str) -> Address | None:
    """Return the address that a command said, if it did."""
    found = URL.search(text)
    return None if found is None else Address(found[1], int(found[2]), found[3] or "", True)
