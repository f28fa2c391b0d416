"""The door: what every page of ours goes through, so that no page has to think of who asks.

An ASGI application around another one. It lets in only who calls this page by its own name, comes from this page itself
and, off the loopback address, knows the secret; it bounds what a body may hold and how long it may take; and every
answer forbids the browser to fetch, run or frame anything from elsewhere (Content Security Policy Level 3; Fetch
Metadata Request Headers; RFC 6265 for the cookie). What goes wrong inside is told in one line, never as a traceback.
"""

from __future__ import annotations

import asyncio
import hmac
import html
from collections.abc import Awaitable, Callable, Mapping, MutableMapping, Sequence
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING, Any, NamedTuple
from urllib.parse import parse_qsl, urlencode, urlsplit

from metercap.web.address import Address

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import BaseRoute

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

BODY = 64 * 1024
"""Bytes of a request's body where nothing else is said."""
BODY_S = 60.0
"""Longest time for a whole body: a large photograph over a weak radio link."""
SAFE = ("GET", "HEAD")
"""Methods that change nothing (RFC 9110, 9.2.1)."""
METHODS = (*SAFE, "POST", "PUT", "DELETE")
HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}
"""On every answer. Pages carry no style or script inside; both come as files of their own."""
NO_KEY = "This page needs the whole address, with its key: scan the code in the terminal, or open what it says there."


class Refused(Exception):
    """A request that gets `status` and one line that says why."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status = status
        self.why = why


class Door:
    """An ASGI application: `inside` behind the door of `address`. `bodies` are larger limits, by path."""

    def __init__(self, inside: App, address: Address, bodies: Mapping[str, int] | None = None) -> None:
        self._inside = inside
        self._address = address
        self._bodies = dict(bodies or {})
        # The same for a server that takes another one's place, so that pages come back by themselves.
        self._cookie = hmac.new(address.secret.encode(), b"cookie", "sha256").hexdigest()
        # A name for each port: a browser keeps one jar for all ports of a host (RFC 6265, 8.5).
        self._name = f"metercap-{address.port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._inside(scope, receive, send)
            return
        begun = False

        async def sealed(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                own = {name.encode() for name in HEADERS}
                kept = [(name, value) for name, value in message.get("headers", ()) if name.lower() not in own]
                message["headers"] = [*kept, *((name.encode(), value.encode()) for name, value in HEADERS.items())]
            await send(message)

        try:
            moved = self._check(scope)
            if moved is not None:
                await _answer(sealed, 303, "", [("location", moved), ("set-cookie", self._set_cookie())])
                return
            limit = self._bodies.get(scope["path"], BODY)
            await self._inside(scope, _bounded(receive, _asked(scope), limit), sealed)
        except Refused as refused:
            if begun:
                raise
            await _answer(sealed, refused.status, refused.why)
        except Exception as error:
            if begun:
                raise
            await _answer(sealed, 500, f"Something went wrong here ({type(error).__name__}). The session goes on.")

    def _check(self, scope: Scope) -> str | None:
        """Refuse who must not come in; return where to go instead for who brings the secret in the address."""
        asked = _asked(scope)
        if scope["method"] not in METHODS:
            raise Refused(405, "That is not done here.")
        if asked.host is None or not self._address.knows(asked.host):
            raise Refused(421, "That is not the name of this page.")
        _same_site(asked, scope["method"])
        if not self._address.secret:
            return None
        try:
            fields = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True, max_num_fields=20)
        except ValueError:
            raise Refused(403, NO_KEY) from None
        given = [value for name, value in fields if name == "key"]
        if given and scope["method"] in SAFE:
            if not _same(given[0], self._address.secret):
                raise Refused(403, NO_KEY)
            rest = urlencode([(name, value) for name, value in fields if name != "key"])
            return _local(scope["raw_path"].decode("latin-1")) + (f"?{rest}" if rest else "")
        if not any(_same(value, self._cookie) for value in _cookies(asked.cookies, self._name)):
            raise Refused(403, NO_KEY)
        return None

    def _set_cookie(self) -> str:
        # Lax, not Strict: a Strict one is not sent to the page that a scanned or clicked link leads to.
        return f"{self._name}={self._cookie}; Path=/; HttpOnly; SameSite=Lax"


class Asked(NamedTuple):
    """What the door looks at in a request; None where a header is not there, or is there more than once."""

    host: str | None
    origin: str | None
    origins: int
    site: str
    mode: str
    length: str
    cookies: tuple[str, ...]


def _asked(scope: Scope) -> Asked:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))

    def one(name: str) -> str | None:
        values = found.get(name, [])
        return values[0] if len(values) == 1 else None

    return Asked(
        one("host"),
        one("origin"),
        len(found.get("origin", [])),
        one("sec-fetch-site") or "",
        one("sec-fetch-mode") or "",
        one("content-length") or "",
        tuple(found.get("cookie", [])),
    )


def _same_site(asked: Asked, method: str) -> None:
    """Only this page itself may post; a page of another site may lead here by a link, and see and do nothing."""
    foreign = asked.origins > 0 and not _own_origin(asked)
    if method not in SAFE and (foreign or asked.origins != 1):
        raise Refused(403, "Only this page itself may do that.")
    led_here = asked.mode == "navigate" and method in SAFE
    if foreign or (asked.site not in ("", "same-origin", "none") and not led_here):
        raise Refused(403, "Only this page itself may ask for that.")


def _own_origin(asked: Asked) -> bool:
    if asked.origin is None or asked.host is None:
        return False
    parts = urlsplit(asked.origin)
    return parts.scheme == "http" and parts.netloc.lower() == asked.host.lower()


def _cookies(headers: tuple[str, ...], name: str) -> list[str]:
    found = []
    for header in headers:
        try:
            jar: SimpleCookie = SimpleCookie(header)
        except CookieError:
            continue
        if name in jar:
            found.append(jar[name].value)
    return found


def _same(given: str, secret: str) -> bool:
    """Compare in a time that tells nothing of the secret."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), secret.encode())


def _local(path: str) -> str:
    """Return a path that leads nowhere but here: two slashes in front would name another host (RFC 3986, 4.2)."""
    return f"/{path.lstrip('/')}" if "\\" not in path else "/"


def _bounded(receive: Receive, asked: Asked, limit: int) -> Receive:
    """Let through a body of `limit` bytes at most, which comes whole in `BODY_S`."""
    if asked.length and not (asked.length.isascii() and asked.length.isdigit()):
        raise Refused(400, "That length is no number.")
    if asked.length and int(asked.length[:20]) > limit:
        raise Refused(413, f"That is too large: {limit // 1024} kB at most.")
    taken, whole = 0, False
    loop = asyncio.get_running_loop()
    end_s = loop.time() + BODY_S

    async def bounded() -> Message:
        nonlocal taken, whole
        if whole:  # what comes now is the client's leaving, whenever that is
            return await receive()
        try:
            message = await asyncio.wait_for(receive(), end_s - loop.time())
        except TimeoutError:
            raise Refused(408, "That took too long.") from None
        taken += len(message.get("body", b""))
        whole = not message.get("more_body", False)
        if taken > limit:
            raise Refused(413, f"That is too large: {limit // 1024} kB at most.")
        return message

    return bounded


async def _answer(send: Send, status: int, why: str, headers: list[tuple[str, str]] | None = None) -> None:
    body = refusal(status, why)
    fields = [("content-type", "text/html; charset=utf-8"), ("content-length", str(len(body))), *(headers or [])]
    if status >= 400:
        fields.append(("connection", "close"))  # what is left of a refused body is not read
    encoded = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in fields]
    await send({"type": "http.response.start", "status": status, "headers": encoded})
    await send({"type": "http.response.body", "body": body})


def refusal(status: int, why: str) -> bytes:
    """Return a short page that says what is refused and why, and needs nothing else."""
    title = html.escape(HTTPStatus(status).phrase)
    return (
        f"<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content='width=device-width'>"
        f"<title>{title}</title><h1>{title}</h1><p>{html.escape(why)}</p></html>"
    ).encode()


def pages(routes: Sequence[BaseRoute]) -> Starlette:
    """Return an application of routes that may raise `Refused`; still without its door."""
    from starlette.applications import Starlette
    from starlette.responses import Response

    async def refused(_: Request, error: Exception) -> Response:
        assert isinstance(error, Refused)
        headers = {"connection": "close"}
        return Response(refusal(error.status, error.why), error.status, headers, "text/html; charset=utf-8")

    async def unknown(request: Request, _: Exception) -> Response:
        return await refused(request, Refused(404, "There is no such page."))

    return Starlette(routes=routes, exception_handlers={Refused: refused, 404: unknown})


def page(path: str, room: str = "metercap.web") -> tuple[bytes, str]:
    """Return a file of ours by its name in a room, with its type; what a request says never becomes a path."""
    from importlib.resources import files

    kinds = {"html": "text/html", "css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
    return files(room).joinpath(path).read_bytes(), f"{kinds[path.rpartition('.')[2]]}; charset=utf-8"
