"""The hub: the newest glance and heartbeat for every page that listens, each at its own pace.

A page that is slow misses glances, and one that takes nothing for a while is cut; nobody else waits for either.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Iterator

from metercap.web.door import Receive, Scope, Send
from metercap.web.serving import abort_of

SLOW_S = 5.0
"""A page that takes nothing for so long is cut; it comes back by itself when it can."""
MOST_FEEDS = 40


class Hub:
    """What pages hear; used in the server's loop alone."""

    def __init__(self) -> None:
        self.hello = b""
        self._glance = b""
        self._pictures = b""
        self._over = self._gone = False
        self._heard_ms = now_ms()
        self._number = self._beats = 0
        self._listening: set[asyncio.Event] = set()

    def glance(self, data: bytes) -> None:
        """A new glance, as JSON."""
        self._glance = data
        self._number += 1
        self.beat()

    def pictures(self, data: bytes) -> None:
        """Which pictures there are, as JSON."""
        self._pictures = data
        self._wake()

    def over(self) -> None:
        """The session is over; every feed ends."""
        self._over = True
        self._wake()

    def gone(self) -> None:
        """The session's program said no more, and no goodbye: every feed is cut."""
        self._gone = True
        self._wake()

    def beat(self) -> None:
        """Something was heard of the session."""
        self._heard_ms = now_ms()
        self._beats += 1
        self._wake()

    def _wake(self) -> None:
        for event in self._listening:
            event.set()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one page with server-sent events (HTML Living Standard, 9.2), until it goes or is cut."""
        if len(self._listening) >= MOST_FEEDS:
            await _plain(send, 503)
            return
        headers = [(b"content-type", b"text/event-stream")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        with self._woken() as news:
            gone = asyncio.create_task(_gone(receive))
            gone.add_done_callback(lambda _: news.set())
            try:
                async for data in self._events(news):
                    if gone.done():
                        return
                    if data:
                        await asyncio.wait_for(send(_body(data)), SLOW_S)
                await asyncio.wait_for(send({"type": "http.response.body", "body": b""}), SLOW_S)
            except TimeoutError:
                abort_of(scope)()
            finally:
                gone.cancel()

    async def _events(self, news: asyncio.Event) -> AsyncIterator[bytes]:
        """Yield what there is to send whenever it is woken, if only nothing."""
        yield _event(b"hello", self.hello, now_ms())
        number, beats, pictures = 0, 0, b""
        news.set()
        while True:
            await news.wait()
            news.clear()
            if self._pictures != pictures:
                pictures = self._pictures
                yield _event(b"pictures", pictures, now_ms())
            if self._number != number:
                number, beats = self._number, self._beats
                yield _event(b"", self._glance, self._heard_ms)
            elif self._beats != beats:
                beats = self._beats
                yield _event(b"beat", b"", self._heard_ms)
            else:
                yield b""
            if self._over:
                yield _event(b"over", b"", now_ms())
            if self._over or self._gone:
                return

    @contextlib.contextmanager
    def _woken(self) -> Iterator[asyncio.Event]:
        event = asyncio.Event()
        self._listening.add(event)
        try:
            yield event
        finally:
            self._listening.discard(event)


def now_ms() -> int:
    """Return this machine's clock, in milliseconds."""
    return time.monotonic_ns() // 1_000_000


def _event(kind: bytes, data: bytes, at_ms: int) -> bytes:
    """One event; its id is when the session was heard, by this machine's clock.

    A page knows by it how late it is, and that the last glance of a session that says nothing is no news, however often
    it is sent to who asks for it.
    """
    head = b"event: " + kind + b"\n" if kind else b""
    return head + b"id: %d\ndata: " % at_ms + data + b"\n\n"


def _body(data: bytes) -> dict[str, object]:
    return {"type": "http.response.body", "body": data, "more_body": True}


async def _gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


async def _plain(send: Send, status: int) -> None:
    await send({"type": "http.response.start", "status": status, "headers": [(b"content-length", b"0")]})
    await send({"type": "http.response.body", "body": b""})
