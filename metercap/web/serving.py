"""Serving an ASGI application on a socket that listens already, with clients that may be slow, mute or hostile."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from socket import socket
from typing import TYPE_CHECKING, Any

from metercap.errors import UsageError
from metercap.web.door import App

if TYPE_CHECKING:
    import asyncio

HINT = "pip install 'metercap[web]'"
HEADERS_S = 10.0
"""Longest time from a connection, or the end of an answer, to the end of a request's head once it has begun."""
MOST_CLIENTS = 64
HELD_BYTES = 32 * 1024
"""What may wait in the program for one client before its answer has to wait."""
STOP_S = 1


class Serving:
    """A server for `app` on `sock`. `ready` is called once it takes requests, in the server's thread.

    With `signals` a signal to end ends it (main thread only); else only `stop`, from any thread.
    UsageError where the libraries are not installed.
    """

    def __init__(self, app: App, sock: socket, *, ready: Callable[[], None] = lambda: None, signals: bool) -> None:
        try:
            import uvicorn
        except ImportError as error:
            raise UsageError("pages need starlette and uvicorn, which are not installed", hint=HINT) from error
        config = uvicorn.Config(
            app,
            http=_protocol(),
            ws="none",
            lifespan="off",
            loop="asyncio",
            log_config=None,
            log_level="critical",
            access_log=False,
            server_header=False,
            date_header=False,
            proxy_headers=False,
            limit_concurrency=MOST_CLIENTS,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=STOP_S,
        )

        class Server(uvicorn.Server):
            async def startup(self, sockets: list[socket] | None = None) -> None:
                await super().startup(sockets)
                ready()

            @contextlib.contextmanager
            def capture_signals(self) -> Iterator[None]:
                with super().capture_signals() if signals else contextlib.nullcontext():
                    yield

        self._server = Server(config)
        self._sock = sock

    def run(self) -> None:
        """Serve until stopped."""
        self._server.run(sockets=[self._sock])

    def stop(self) -> None:
        """Let it end soon; from any thread."""
        self._server.should_exit = True


def _protocol() -> type[asyncio.Protocol]:
    """Return the server's protocol with what it lacks: an end to heads that never end and answers that nobody reads."""
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class Impatient(H11Protocol):
        _late: asyncio.TimerHandle | None = None

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            transport.set_write_buffer_limits(high=HELD_BYTES)
            self._wait()

        def connection_lost(self, exc: Exception | None) -> None:
            self._calm()
            super().connection_lost(exc)

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            if self.cycle is not None and not self.cycle.response_complete:
                self._calm()
            else:
                self._wait()

        def on_response_complete(self) -> None:
            super().on_response_complete()
            # What is still held back goes at the client's own pace, and the beginning of another head may have come
            # already; neither takes for ever.
            if self.transport.is_closing() or self.conn.trailing_data[0]:
                self._calm()
                self._wait()

        def handle_events(self) -> None:
            super().handle_events()
            if self.scope is not None:
                scope: Any = self.scope
                scope.setdefault("extensions", {})["metercap.abort"] = self.transport.abort

        def _wait(self) -> None:
            if self._late is None:
                self._late = self.loop.call_later(HEADERS_S, self.transport.abort)

        def _calm(self) -> None:
            if self._late is not None:
                self._late.cancel()
                self._late = None

    return Impatient


def abort_of(scope: Any) -> Callable[[], None]:
    """Return what cuts a request's connection at once, whatever still waits for its client."""
    found: Callable[[], None] = scope.get("extensions", {}).get("metercap.abort", lambda: None)
    return found
