"""The door over real sockets: who is let in, what is refused, and what every answer carries.

Expected statuses are RFC 9110's; what a browser sends with a request of another site is from the Fetch standard and
Fetch Metadata Request Headers (W3C).
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import time
from collections.abc import Iterator

import pytest

from metercap.web import door as door_module
from metercap.web import serving as serving_module
from metercap.web.address import Address, listen
from metercap.web.door import Receive, Scope, Send
from tests.web.serve import answer_of, ask, raw, served

pytest.importorskip("uvicorn")

SECRET = "s3cr3t-s3cr3t"


class Inside:
    """Says what it was asked, and reads the whole body; `asked` lists the paths that reached it."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self.asked.append(scope["path"])
        size = 0
        while True:
            message = await receive()
            size += len(message.get("body", b""))
            if message["type"] == "http.disconnect" or not message.get("more_body", False):
                break
        if scope["path"] == "/broken":
            raise ValueError("/secret/path <script>alert(1)</script>")
        if scope["path"] == "/late":
            await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"text/plain")]})
            raise ValueError("after the beginning")
        body = str(size).encode()
        headers = [(b"cache-control", b"public"), (b"content-length", str(len(body)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": body})


@pytest.fixture(scope="module")
def inside() -> Inside:
    return Inside()


@pytest.fixture(scope="module")
def near(inside: Inside) -> Iterator[Address]:
    """A page on the loopback address, no secret."""
    with served(inside, bodies={"/photo": 200_000}) as at:
        yield at


@pytest.fixture(scope="module")
def far(inside: Inside) -> Iterator[Address]:
    """A page off the loopback address, as far as the door knows, with a secret."""
    sock, at = listen(Address("0.0.0.0", 0, SECRET, True))
    sock.close()
    with served(inside, at) as again:
        yield again


def test_own_requests_come_in_and_every_answer_forbids_what_is_foreign(near: Address) -> None:
    answer = ask(near)
    assert (answer.status, answer.body) == (200, b"0")
    policy = dict(part.strip().split(" ", 1) for part in answer.header("content-security-policy").split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["frame-ancestors"] == policy["form-action"] == policy["base-uri"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert answer.header("x-content-type-options") == "nosniff"
    assert answer.header("referrer-policy") == "no-referrer"
    assert answer.header("cache-control") == "no-store", "what the page inside said is overruled"
    assert answer.header("server") == ""


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:{port}", "192.0.2.7:{port}", ""]
)
def test_another_name_for_this_machine_is_refused(near: Address, inside: Inside, host: str) -> None:
    """A site that makes a browser resolve its own name to this machine still sends that name."""
    before = len(inside.asked)
    answer = ask(near, headers={"Host": host.format(port=near.port)})
    assert answer.status in (400, 421)
    assert len(inside.asked) == before


@pytest.mark.parametrize("host", ["localhost:{port}", "LOCALHOST:{port}", "[::1]:{port}"])
def test_its_own_names_come_in(near: Address, host: str) -> None:
    assert ask(near, headers={"Host": host.format(port=near.port)}).status == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Origin": "https://127.0.0.1:{port}"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": "http://127.0.0.1:{port}.evil.example"},
        {"Origin": "http://127.0.0.1:{port}\r\nOrigin: http://evil.example"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"},
    ],
)
def test_another_site_cannot_post(near: Address, inside: Inside, headers: dict[str, str]) -> None:
    before = len(inside.asked)
    named = {name: value.format(port=near.port) for name, value in headers.items()}
    assert ask(near, "/word", method="POST", body=b"{}", headers=named).status == 403
    assert len(inside.asked) == before


def test_the_page_itself_can_post(near: Address) -> None:
    answer = ask(near, "/word", method="POST", body=b"12345", headers={"Sec-Fetch-Site": "same-origin"})
    assert (answer.status, answer.body) == (200, b"5")


def test_another_site_may_lead_here_but_read_nothing(near: Address) -> None:
    led = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}
    assert ask(near, headers=led).status == 200
    assert ask(near, headers={"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}).status == 403
    assert ask(near, "/feed", headers={"Origin": "http://evil.example"}).status == 403


@pytest.mark.parametrize("method", ["OPTIONS", "TRACE", "CONNECT", "PATCH", "PROPFIND"])
def test_methods_that_nobody_needs(near: Address, method: str) -> None:
    assert ask(near, method=method).status in (400, 405)


def test_larger_bodies_are_refused_before_they_are_read(near: Address, inside: Inside) -> None:
    answer = ask(near, "/word", method="POST", headers={"Content-Length": str(10**12)})
    assert answer.status == 413
    assert b"64 kB" in answer.body
    assert ask(near, "/photo", method="POST", body=b"x" * 150_000).body == b"150000"
    assert ask(near, "/photo", method="POST", body=b"x" * 200_001).status == 413
    assert ask(near, "/photo/", method="POST", body=b"x" * 150_000).status == 413, "the limit is one path's"


def test_a_body_in_chunks_is_counted(near: Address) -> None:
    """RFC 9112, 7.1: no length is announced."""
    head = (
        f"POST /word HTTP/1.1\r\nHost: 127.0.0.1:{near.port}\r\nOrigin: http://127.0.0.1:{near.port}\r\n"
        "Transfer-Encoding: chunked\r\n\r\n"
    ).encode()
    chunks = b"1000\r\n" + b"x" * 4096 + b"\r\n"
    assert answer_of(raw(near, head + chunks * 40 + b"0\r\n\r\n")).status == 413


@pytest.mark.parametrize(
    "request_",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(200),
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET /\x00 HTTP/1.1\r\nHost: x\r\n\r\n",
        b"GET  / HTTP/1.1\r\n\r\n",
        b"G" * 200_000,
        b"GET /" + b"a" * 200_000 + b" HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\n" + b"".join(b"X-%d: y\r\n" % n for n in range(20_000)) + b"\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: -5\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nX: \xff\xfe\x1b[31m\r\n\r\n",
        b"GET /\x1b[2J HTTP/1.1\r\n\r\n",
    ],
)
def test_hostile_request_lines(near: Address, inside: Inside, request_: bytes) -> None:
    before = len(inside.asked)
    status = answer_of(raw(near, request_)).status
    assert status == 0 or 400 <= status < 500
    assert len(inside.asked) == before
    assert ask(near).status == 200


def test_what_breaks_inside_tells_nothing(near: Address) -> None:
    answer = ask(near, "/broken")
    assert answer.status == 500
    assert b"ValueError" in answer.body
    assert b"secret" not in answer.body and b"script" not in answer.body and b"Traceback" not in answer.body
    assert answer.header("content-security-policy")
    assert ask(near, "/late").status in (0, 200)
    assert ask(near).status == 200


# --- the secret


def test_without_the_secret_nothing_is_shown(far: Address, inside: Inside) -> None:
    before = len(inside.asked)
    wrong = [
        ask(far),
        ask(far, "/?key=wrong"),
        ask(far, "/?key="),
        ask(far, f"/?key={SECRET}x"),
        ask(far, "/feed"),
        ask(far, headers={"Cookie": f"metercap-{far.port}={SECRET}"}),
        ask(far, headers={"Cookie": f"metercap-{far.port}="}),
        ask(far, headers={"Cookie": "\x01;;==,;metercap"}),
        ask(far, f"/word?key={SECRET}", method="POST", body=b"{}"),
        ask(far, "/?key=%ff%fe&" + "&".join("a=1" for _ in range(50))),
    ]
    assert [answer.status for answer in wrong] == [403] * len(wrong)
    assert len(inside.asked) == before
    assert SECRET.encode() not in b"".join(answer.body for answer in wrong)


def test_the_secret_becomes_a_cookie_at_once(far: Address) -> None:
    first = ask(far, f"/film?key={SECRET}&turn=90")
    assert (first.status, first.header("location")) == (303, "/film?turn=90")
    cookie = first.header("set-cookie")
    assert SECRET not in cookie
    assert {"httponly", "samesite=lax", "path=/"} <= {part.strip().lower() for part in cookie.split(";")[1:]}
    mine = {"Cookie": f"other=1; {cookie.partition(';')[0]}"}
    assert ask(far, headers=mine).status == 200
    assert ask(far, "/word", method="POST", body=b"{}", headers=mine).status == 200


@pytest.mark.parametrize("path", ["//evil.example/", "///evil.example", "/\\evil.example"])
def test_the_way_on_leads_nowhere_else(far: Address, path: str) -> None:
    """RFC 3986, 4.2: a reference that begins with two slashes names another host."""
    answer = ask(far, f"{path}?key={SECRET}")
    assert answer.status in (303, 400)
    assert not answer.header("location").startswith("//") and "\\" not in answer.header("location")


def test_far_hosts(far: Address) -> None:
    """Off the loopback address any number, or this machine's name; no other name."""
    statuses = {
        host: ask(far, f"/?key={SECRET}", headers={"Host": f"{host}:{far.port}"}).status
        for host in ("192.168.1.5", socket.gethostname(), "evil.example")
    }
    assert list(statuses.values()) == [303, 303, 421]


# --- who is slow


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving_module, "HEADERS_S", 0.3)
    monkeypatch.setattr(door_module, "BODY_S", 0.3)


def _dropped_after(at: Address, *parts: bytes) -> float:
    begun = time.monotonic()
    with socket.create_connection(("127.0.0.1", at.port), 10) as sock, contextlib.suppress(ConnectionError):
        for part in parts:
            sock.sendall(part)
        while sock.recv(65536):
            pass
    return time.monotonic() - begun


def test_heads_and_bodies_that_never_end(impatient: None, inside: Inside) -> None:
    with served(inside) as at:
        own = f"Host: 127.0.0.1:{at.port}\r\nOrigin: http://127.0.0.1:{at.port}\r\n".encode()
        assert _dropped_after(at) < 5
        assert _dropped_after(at, b"GET / HTTP/1.1\r\nX: ") < 5
        assert _dropped_after(at, b"GET / HTTP/1.1\r\n" + own + b"\r\n", b"GET / HT") < 5
        assert _dropped_after(at, b"POST / HTTP/1.1\r\n" + own + b"Content-Length: 99\r\n\r\nabc") < 5
        assert ask(at).status == 200


def test_a_web_socket_is_not_spoken(impatient: None, inside: Inside) -> None:
    """RFC 6455's own example of a handshake, and masked frames after it: an ordinary answer, then the end."""
    frames = bytes([0x88, 0x80, 0x37, 0xFA, 0x21, 0x3D, 0x81, 0x85, 0x37, 0xFA, 0x21, 0x3D, 0x7F, 0x9F, 0x4D, 0x51])
    with served(inside) as at:
        hello = (
            f"GET /chat HTTP/1.1\r\nHost: 127.0.0.1:{at.port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
        ).encode()
        assert answer_of(raw(at, hello + frames)).status == 200
        assert ask(at).status == 200


def test_many_that_say_nothing_keep_nobody_out(impatient: None, inside: Inside) -> None:
    with served(inside) as at, contextlib.ExitStack() as stack:
        for _ in range(serving_module.MOST_CLIENTS):
            stack.enter_context(socket.create_connection(("127.0.0.1", at.port), 10))
        deadline_s = time.monotonic() + 10
        while ask(at).status != 200:
            assert time.monotonic() < deadline_s
            time.sleep(0.05)


def test_a_client_that_reads_nothing_can_be_cut(inside: Inside) -> None:
    """Its answer waits, not the server; `abort_of` cuts it whatever the system still holds for it."""
    cut: list[float] = []

    async def endless(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["path"] != "/endless":
            return await inside(scope, receive, send)
        await send({"type": "http.response.start", "status": 200, "headers": []})
        try:
            for _ in range(1000):
                chunk = {"type": "http.response.body", "body": bytes(65536), "more_body": True}
                await asyncio.wait_for(send(chunk), 0.3)
        except TimeoutError:
            serving_module.abort_of(scope)()
            cut.append(time.monotonic())
        return None

    with served(endless) as at, socket.create_connection(("127.0.0.1", at.port), 10) as sock:
        sock.sendall(f"GET /endless HTTP/1.1\r\nHost: 127.0.0.1:{at.port}\r\n\r\n".encode())
        deadline_s = time.monotonic() + 10
        while not cut and time.monotonic() < deadline_s:
            assert ask(at).status == 200
            time.sleep(0.02)
        assert cut
        got = 0
        with contextlib.suppress(ConnectionResetError):
            while chunk := sock.recv(65536):
                got += len(chunk)
        assert got < 20 * 65536, "what was held back is bounded"


def test_climbing_paths_are_only_words(near: Address, inside: Inside) -> None:
    """The door makes no path of them; that nothing inside does is tested with the pages."""
    for path in ("/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/..%2f..%2fetc/passwd", "//etc/passwd"):
        assert ask(near, path).status == 200
