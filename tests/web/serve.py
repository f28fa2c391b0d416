"""Serving for tests: an application on a real socket in a thread of its own, and raw requests over real sockets."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from typing import NamedTuple

from metercap.web.address import Address, listen
from metercap.web.door import App, Door
from metercap.web.serving import Serving


class Answer(NamedTuple):
    """What came back."""

    status: int
    headers: dict[str, list[str]]
    body: bytes

    def header(self, name: str) -> str:
        """Return the only header of that name; empty when there is none."""
        found = self.headers.get(name, [])
        assert len(found) < 2, f"{name}: {found}"
        return found[0] if found else ""


@contextlib.contextmanager
def served(inside: App, address: Address | None = None, bodies: dict[str, int] | None = None) -> Iterator[Address]:
    """Serve `inside` behind its door on a free port, and yield the address it got."""
    sock, at = listen(address or Address(port=0, named=True))
    ready = threading.Event()
    serving = Serving(Door(inside, at, bodies), sock, ready=ready.set, signals=False)
    thread = threading.Thread(target=serving.run, daemon=True)
    thread.start()
    assert ready.wait(10)
    try:
        yield at
    finally:
        serving.stop()
        thread.join(10)
        assert not thread.is_alive()


def raw(at: Address, request: bytes, *, wait_s: float = 10.0, host: str = "127.0.0.1") -> bytes:
    """Send bytes and return all that comes until the other side closes."""
    got = b""
    with socket.create_connection((host, at.port), wait_s) as sock:
        with contextlib.suppress(ConnectionError):
            sock.sendall(request)
        with contextlib.suppress(ConnectionError):
            while chunk := sock.recv(65536):
                got += chunk
    return got


def ask(
    at: Address,
    path: str = "/",
    *,
    method: str = "GET",
    body: bytes | None = None,
    headers: dict[str, str] | None = None,
) -> Answer:
    """One request as a browser of this page makes it, but for `headers`; an empty header is left out."""
    fields = {"Host": f"127.0.0.1:{at.port}", "Connection": "close"}
    if method not in ("GET", "HEAD"):
        fields["Origin"] = f"http://127.0.0.1:{at.port}"
        fields["Content-Length"] = str(len(body or b""))
    fields |= headers or {}
    head = [f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in fields.items() if value)]
    return answer_of(raw(at, "\r\n".join([*head, "", ""]).encode("latin-1") + (body or b"")))


def answer_of(data: bytes) -> Answer:
    """Take an answer apart."""
    head, _, body = data.partition(b"\r\n\r\n")
    lines = head.decode("latin-1").split("\r\n")
    headers: dict[str, list[str]] = {}
    for line in lines[1:]:
        name, _, value = line.partition(": ")
        headers.setdefault(name.lower(), []).append(value)
    return Answer(int(lines[0].split()[1]) if lines[0] else 0, headers, body)
