"""The marking page's requests, each answered with the whole state; the door in front of it says who may ask."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

import msgspec

from metercap.errors import MetercapError, UsageError
from metercap.marking.desk import Desk, Move, Stale, problems_of
from metercap.marking.saving import Changed
from metercap.pictures import LARGEST
from metercap.web.door import App, page, pages
from metercap.web.serving import HINT

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

BODIES = {"/photo": LARGEST, "/move": 1 << 20}
"""Larger bodies than the door lets through else: a photograph, an order of many items."""
ROOM = "metercap.marking"
FILES = {
    "/": ("page/mark.html", ROOM),
    "/mark.css": ("page/mark.css", ROOM),
    "/mark.js": ("page/mark.js", ROOM),
    "/board.js": ("page/board.js", ROOM),
    "/dom.js": ("page/dom.js", ROOM),
    "/ways.js": ("page/ways.js", ROOM),
    "/icon.svg": ("icon.svg", "metercap.web"),
}
"""All that is served of files, and whose they are."""
Answer = Callable[["Request"], Awaitable["Response"]]


def application(desk: Desk, done: Callable[[], None]) -> App:
    """Return the application; `done` is called, from the server's thread, once a page has said that it is done.

    UsageError where the libraries are not installed.
    """
    try:
        from starlette.background import BackgroundTask
        from starlette.concurrency import run_in_threadpool
        from starlette.responses import Response
        from starlette.routing import Route
    except ImportError as error:
        raise UsageError("pages need starlette and uvicorn, which are not installed", hint=HINT) from error

    def answer(data: Any, status: int = 200, after: BackgroundTask | None = None) -> Response:
        return Response(msgspec.json.encode(data), status, media_type="application/json", background=after)

    def guarded(does: Callable[[Request, bytes], dict[str, Any]]) -> Answer:
        async def endpoint(request: Request) -> Response:
            body = await request.body()
            try:
                return answer(await run_in_threadpool(does, request, body))
            except Stale as error:
                return answer({"error": [error.what], "stale": True, "state": desk.state()}, 409)
            except Changed as error:
                return answer({"error": list(problems_of(error)), "changed": True}, 409)
            except MetercapError as error:
                return answer({"error": list(problems_of(error))}, 422)
            except (ValueError, msgspec.MsgspecError, RecursionError) as error:
                return answer({"error": [f"that cannot be done: {error}"]}, 400)

        return endpoint

    def rev_of(request: Request) -> int:
        said = request.query_params.get("rev", "")
        if not (said.isascii() and said.isdigit()):
            raise ValueError("it does not say which state the page shows")
        return int(said)

    def state(request: Request, body: bytes) -> dict[str, Any]:
        return desk.state()

    def move(request: Request, body: bytes) -> dict[str, Any]:
        return desk.move(msgspec.json.decode(body, type=Move))

    def photo(request: Request, body: bytes) -> dict[str, Any]:
        instead = request.query_params.get("instead")
        side = request.query_params.get("side", "front")
        return desk.upload(rev_of(request), body, side, None if instead is None else int(instead))

    def save(request: Request, body: bytes) -> dict[str, Any]:
        return desk.save(rev_of(request))

    def take_up(request: Request, body: bytes) -> dict[str, Any]:
        return desk.take_up(rev_of(request))

    async def picture(request: Request) -> Response:
        try:
            data = await run_in_threadpool(desk.picture, request.path_params["sha"])
        except MetercapError as error:
            return answer({"error": [error.what]}, 404)
        kind = "image/png" if data.startswith(b"\x89PNG") else "image/jpeg"
        return Response(data, media_type=kind)

    async def end(request: Request) -> Response:
        return answer({"done": True}, after=BackgroundTask(done))

    async def of_file(request: Request) -> Response:
        data, kind = page(*FILES[request.url.path])
        return Response(data, media_type=kind)

    routes = [
        *(Route(path, of_file) for path in FILES),
        Route("/state", guarded(state)),
        Route("/picture/{sha}", picture),
        Route("/move", guarded(move), methods=["POST"]),
        Route("/photo", guarded(photo), methods=["POST"]),
        Route("/save", guarded(save), methods=["POST"]),
        Route("/take-up", guarded(take_up), methods=["POST"]),
        Route("/done", end, methods=["POST"]),
    ]
    return pages(routes)
