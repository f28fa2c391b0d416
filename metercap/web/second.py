"""The second screen's server, a process of its own: `python -m metercap.web.second`, told by a pipe what to show.

It knows no session. It passes glances on as they come, and what a page says back to the program that began it. It ends
when its pipe does.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import datetime
import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from socket import socket
from typing import TYPE_CHECKING, BinaryIO

import msgspec

from metercap.errors import MetercapError
from metercap.web.door import App, Door, Refused, page, pages
from metercap.web.hub import Hub
from metercap.web.serving import Serving
from metercap.web.talk import (
    BEAT,
    GLANCE,
    MORE,
    OVER,
    READ_BODY,
    READ_TAP,
    READ_TOLD,
    Back,
    Begin,
    Kept,
    Pictures,
    Word,
)

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

WORDS_APART_S = 0.2
"""No finger says two words in less time."""
TAPS_APART_S = 0.1
PHOTO = 25 * 1024 * 1024
"""Bytes of a photograph: a telephone's has 2 to 12 MB."""
PHOTO_SIDE = 2400
"""Pixels of what is kept of it."""
PICTURE_SIDE = 2000
FILES = {
    "/": "second.html",
    "/icon.svg": "icon.svg",
    "/film": "film.html",
    "/second.css": "second.css",
    "/second.js": "second.js",
    "/board.js": "board.js",
    "/feed.js": "feed.js",
    "/film.css": "film.css",
    "/film.js": "film.js",
}
"""All that is served of files; nothing a request says becomes a path."""


class Second:
    """The pages, the feed, and what pages may do. `back` is where words go."""

    def __init__(self, begin: Begin) -> None:
        self.hub = Hub()
        self.hub.hello = msgspec.json.encode({"words": begin.words, "photos": bool(begin.photos), "taps": begin.taps})
        self._begin = begin
        self._pictures: dict[str, bytes] = {}
        self._busy = asyncio.Lock()
        self._word_s = self._tap_s = float("-inf")

    def app(self) -> App:
        """Return the ASGI application, without its door."""
        from starlette.responses import Response
        from starlette.routing import Route

        async def of_file(request: Request) -> Response:
            data, kind = page(FILES[request.url.path])
            return Response(data, media_type=kind)

        return pages(
            [
                *(Route(path, of_file) for path in FILES),
                Route("/feed", self.hub, methods=["GET"]),
                Route("/picture/{sha}", self._picture),
                Route("/word", self._word, methods=["POST"]),
                Route("/photo", self._photo, methods=["POST"]),
                Route("/tap", self._tap, methods=["POST"]),
            ]
        )

    async def _picture(self, request: Request) -> Response:
        from starlette.responses import Response

        data = self._pictures.get(request.path_params["sha"])
        if data is None:
            raise Refused(404, "There is no such picture.")
        return Response(data, media_type="image/jpeg")

    async def _word(self, request: Request) -> Response:
        """Pass a word on; whether it is taken only the session knows, and its prompt's number decides."""
        from starlette.responses import Response

        if not self._begin.words:
            raise Refused(403, "This page may only be looked at.")
        try:
            body = READ_BODY.decode(await request.body())
        except (msgspec.DecodeError, RecursionError, UnicodeDecodeError):
            raise Refused(400, "That is no word.") from None
        if len(body.word) > 40 or not body.word.isprintable():
            raise Refused(400, "That is no word.")
        now_s = time.monotonic()
        if now_s - self._word_s < WORDS_APART_S:
            raise Refused(429, "That was too fast for a finger.")
        self._word_s = now_s
        _back(Word(body.word, body.prompt))
        return Response(status_code=202)

    async def _tap(self, request: Request) -> Response:
        """Pass a tap on; what it means, and whether it means anything, the practice knows."""
        from starlette.responses import Response

        if not self._begin.taps:
            raise Refused(403, "This page may only be looked at.")
        try:
            tap = READ_TAP.decode(await request.body())
        except (msgspec.DecodeError, RecursionError, UnicodeDecodeError):
            raise Refused(400, "That is no tap.") from None
        now_s = time.monotonic()
        if now_s - self._tap_s < TAPS_APART_S:
            raise Refused(429, "That was too fast for a finger.")
        self._tap_s = now_s
        _back(tap)
        return Response(status_code=202)

    async def _photo(self, request: Request) -> Response:
        """Keep a photograph, drawn anew from its pixels, without what a camera writes into it."""
        from starlette.responses import JSONResponse

        if not self._begin.photos:
            raise Refused(403, "This page may only be looked at.")
        data = await request.body()
        async with self._busy:  # one at a time: each takes memory
            try:
                name = await asyncio.to_thread(_kept, data, Path(self._begin.photos))
            except MetercapError as error:
                raise Refused(415, error.what) from None
        _back(Kept(name))
        return JSONResponse({"name": name})

    def take_pictures(self, told: Pictures, loop: asyncio.AbstractEventLoop) -> None:
        """Read the plan's pictures, in a thread of its own, and tell the pages."""
        from metercap.pictures import clean, matching

        shown = []
        for each in told.pictures:
            one: dict[str, object] = {"side": each.side, "title": each.title, "id": "", "why": ""}
            try:
                data = matching(each.file, each.sha256, [Path(folder) for folder in told.folders])
                drawn = clean(data, Path(each.file), PICTURE_SIDE, upright=False)
            except MetercapError as error:
                one["why"] = f"{each.file}: {error.what}"
            else:
                self._pictures[each.sha256] = drawn.data
                one |= {"id": each.sha256, "width": drawn.width, "height": drawn.height}
            shown.append(one)
        loop.call_soon_threadsafe(self.hub.pictures, msgspec.json.encode(shown))


def _kept(data: bytes, folder: Path) -> str:
    from metercap.files import new_file
    from metercap.pictures import clean

    drawn = clean(data, Path("photograph"), PHOTO_SIDE, upright=True)
    stem = f"photo-{datetime.datetime.now().astimezone():%Y%m%d-%H%M%S}"
    names = (f"{stem}{f'-{number}' if number > 1 else ''}.jpg" for number in range(1, 100))
    name = next(name for name in names if not (folder / name).exists())
    with new_file(folder / name) as temporary:
        temporary.write_bytes(drawn.data)
    return name


_LOCK = threading.Lock()


def _back(what: Back) -> None:
    with _LOCK:
        sys.stdout.buffer.write(msgspec.json.encode(what) + b"\n")
        sys.stdout.buffer.flush()


def _socket(begin: Begin) -> socket:
    if begin.share:
        import socket as system

        found: socket = system.fromshare(base64.b64decode(begin.share))  # type: ignore[attr-defined]
        return found
    return socket(fileno=begin.fd)


def _listen(lines: BinaryIO, second: Second, loop: asyncio.AbstractEventLoop, stop: Callable[[], None]) -> None:
    """Hand on what the session's program tells, until it tells no more."""
    hub, tell = second.hub, loop.call_soon_threadsafe
    with contextlib.suppress(RuntimeError):  # the loop has ended
        for line in lines:
            kind, rest = line[:1], line[1:-1]
            if kind == GLANCE:
                tell(hub.glance, rest)
            elif kind == BEAT:
                tell(hub.beat)
            elif kind == OVER:
                tell(hub.over)
            elif kind == MORE and isinstance(told := READ_TOLD.decode(rest), Pictures):
                threading.Thread(target=second.take_pictures, args=(told, loop), daemon=True).start()
        tell(hub.gone)
    stop()


def main() -> None:
    """Serve until stdin ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    lines = sys.stdin.buffer
    begin = READ_TOLD.decode(lines.readline().removeprefix(MORE))
    assert isinstance(begin, Begin)
    second = Second(begin)

    def ready() -> None:
        loop = asyncio.get_running_loop()
        threading.Thread(target=_listen, args=(lines, second, loop, serving.stop), daemon=True).start()

    serving = Serving(Door(second.app(), begin.address, {"/photo": PHOTO}), _socket(begin), ready=ready, signals=False)
    serving.run()


if __name__ == "__main__":
    main()
