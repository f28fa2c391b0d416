"""The second screen's server over real sockets: who sees what, who may say what, and who is dropped."""

from __future__ import annotations

import asyncio
import io
import json
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from metercap.web import hub as hub_module
from metercap.web import second as second_module
from metercap.web.address import Address, listen
from metercap.web.door import Receive, Scope, Send
from metercap.web.second import PHOTO, Second
from metercap.web.talk import Back, Begin
from tests.web.feed import Page, page
from tests.web.serve import ask, raw, served

pytest.importorskip("uvicorn")
SECRET = "s3cr3t-s3cr3t"
OTHER = "http://elsewhere.example"
GLANCE = b'{"prompt":3}'


class Desk:
    """A server, and what its pages said."""

    def __init__(self, second: Second, at: Address, said: list[Back]) -> None:
        self.second, self.at, self.said = second, at, said
        self.loops: list[asyncio.AbstractEventLoop] = []

    def tell(self, what: Callable[..., None], *data: bytes) -> None:
        """Tell the server something, in its own loop, as its pipe does."""
        self.loops[-1].call_soon_threadsafe(what, *data)

    def word(self, body: bytes, **headers: str) -> int:
        """Post a word, as this page does unless headers say otherwise."""
        fields = {
            "Content-Type": "application/json",
            **{name.replace("_", "-"): value for name, value in headers.items()},
        }
        return ask(self.at, "/word", method="POST", body=body, headers=fields).status


@contextmanager
def desk(
    monkeypatch: pytest.MonkeyPatch,
    *,
    words: bool = True,
    photos: Path | None = None,
    secret: str = "",
    taps: bool = False,
) -> Iterator[Desk]:
    said: list[Back] = []
    monkeypatch.setattr(second_module, "_back", said.append)
    address = Address(port=0, named=True)
    if secret:
        sock, address = listen(Address("0.0.0.0", 0, secret, True))
        sock.close()
    second = Second(Begin(address, words=words, photos="" if photos is None else str(photos), taps=taps))
    second.hub.glance(GLANCE)
    app, loops = second.app(), []

    async def inside(scope: Scope, receive: Receive, send: Send) -> None:
        loops.append(asyncio.get_running_loop())
        await app(scope, receive, send)

    with served(inside, address, {"/photo": PHOTO}) as at:
        found = Desk(second, at, said)
        found.loops = loops
        yield found


def at_prompt(number: int) -> Callable[[Any], bool]:
    """Whether a glance is that of a prompt."""
    return lambda told: bool(told["prompt"] == number)


def word(prompt: int = 3, name: str = "yes") -> bytes:
    return json.dumps({"word": name, "prompt": prompt}).encode()


@pytest.mark.parametrize(
    "path",
    [
        "/../second.py", "/..%2f..%2fsecond.py", "/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd", "/picture/../second.py",
        "/picture/..%2f..%2fsecond.py", "/second.py", "/web/second.html", "/picture/", "/picture/%00", "/feed/x",
        "/second.js/../../second.py", "/.", "/%5c..%5csecond.py",
    ],
)  # fmt: skip
def test_a_path_leads_nowhere_but_to_what_is_served(monkeypatch: pytest.MonkeyPatch, path: str) -> None:
    with desk(monkeypatch) as it:
        answer = ask(it.at, path)
        assert answer.status in (303, 307, 404)
        assert b"import" not in answer.body and b"root:" not in answer.body


@pytest.mark.parametrize(
    "path", ["/", "/film", "/second.css", "/second.js", "/board.js", "/feed.js", "/film.css", "/film.js"]
)
def test_every_file_is_served_and_asks_nothing_from_elsewhere(monkeypatch: pytest.MonkeyPatch, path: str) -> None:
    with desk(monkeypatch) as it:
        answer = ask(it.at, path)
        assert answer.status == 200
        text = answer.body.decode().replace("http://www.w3.org/2000/svg", "")
        assert "http://" not in text and "https://" not in text and "//cdn" not in text
        assert " style=" not in text and "<style" not in text and "onclick" not in text and "innerHTML" not in text


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (word(), 202),
        (b"", 400),
        (b"{", 400),
        (b"[" * 50_000, 400),
        (b'{"word":"yes"}', 400),
        (b'{"word":"yes","prompt":"3"}', 400),
        (b'{"word":"yes","prompt":3,"source":"key"}', 400),
        (b'{"word":"yes\\n","prompt":3}', 400),
        (b'{"word":"\\u001b[2J","prompt":3}', 400),
        (b'{"word":"\\ud800","prompt":3}', 400),
        (word(name="x" * 41), 400),
        (word(prompt=10**30), 400),
        (b" " * 70_000 + word(), 413),
    ],
)
def test_only_a_word_is_a_word(monkeypatch: pytest.MonkeyPatch, body: bytes, status: int) -> None:
    with desk(monkeypatch) as it:
        assert it.word(body) == status
        assert [(each.word, each.prompt) for each in it.said] == ([("yes", 3)] if status == 202 else [])


def test_a_page_of_another_site_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """As a form, as a simple request without a preflight, and as a request that leaves its origin out."""
    with desk(monkeypatch) as it:
        assert it.word(word(), Origin=OTHER) == 403
        assert it.word(word(), Origin="null") == 403
        assert it.word(word(), Origin="") == 403
        assert it.word(word(), Origin=OTHER, Content_Type="text/plain") == 403
        assert it.word(word(), Host="elsewhere.example", Origin=OTHER) == 421
        assert ask(it.at, "/feed", headers={"Origin": OTHER}).status == 403
        assert ask(it.at, "/feed", headers={"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}).status == 403
        assert ask(it.at, "/word").status == 405
        assert it.said == []


def test_more_words_than_a_finger_can_say_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with desk(monkeypatch) as it:
        statuses = [it.word(word(n)) for n in range(8)]
        assert statuses[0] == 202 and 429 in statuses
        assert len(it.said) == statuses.count(202)


def test_without_its_key_nothing_is_seen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No page, feed, picture, word or photograph; a wrong key is none, and the right one becomes a cookie at once."""
    with desk(monkeypatch, secret=SECRET, photos=tmp_path) as it:
        for path in ("/", "/feed", "/film", "/picture/x", "/second.js", "/?key=", "/?key=wrong", f"/?key={SECRET}x"):
            answer = ask(it.at, path)
            assert answer.status == 403 and GLANCE not in answer.body
        for path in ("/word", "/photo", f"/word?key={SECRET}"):
            assert ask(it.at, path, method="POST", body=word()).status == 403
        moved = ask(it.at, f"/film?key={SECRET}")
        assert (moved.status, moved.header("location")) == (303, "/film")
        cookie = moved.header("set-cookie").partition(";")[0]
        assert SECRET not in cookie and "HttpOnly" in moved.header("set-cookie")
        assert ask(it.at, "/", headers={"Cookie": cookie}).status == 200
        assert ask(it.at, "/", headers={"Cookie": f"{cookie}x"}).status == 403
        with page(it.at.port, cookie=cookie) as shown:
            shown.glances(lambda told: told["prompt"] == 3, "the glance")
        assert it.said == []


# --- the feed


def test_a_page_gets_the_whole_state_at_once_then_what_is_new(monkeypatch: pytest.MonkeyPatch) -> None:
    with desk(monkeypatch) as it, page(it.at.port) as shown:
        shown.glances(lambda told: told["prompt"] == 3, "the state")
        assert shown.events[0].kind == "hello" and shown.events[0].data == {
            "words": True,
            "photos": False,
            "taps": False,
        }
        hub = it.second.hub
        it.tell(hub.glance, b'{"prompt":4}')
        shown.glances(lambda told: told["prompt"] == 4, "what is new")
        it.tell(hub.beat)
        shown.until(lambda events: events[-1].kind == "beat", "a heartbeat")
        it.tell(hub.over)
        shown.until(lambda events: events[-1].kind == "over", "the goodbye")


def test_the_last_glance_of_a_silent_session_is_no_news(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked for 0.4 s after the session was heard last: the glance comes with that time, hello with that of now."""
    with desk(monkeypatch) as it:
        time.sleep(0.4)
        with page(it.at.port) as shown:
            shown.glances(lambda told: told["prompt"] == 3, "the state")
            ids = {event.kind: event.id for event in shown.events}
            assert ids["hello"] - ids["message"] >= 400
            it.tell(it.second.hub.pictures, b"[]")
            shown.until(lambda events: events[-1].kind == "pictures", "pictures")
            assert "beat" not in [event.kind for event in shown.events], "nothing was heard of the session"


def test_a_session_that_is_gone_says_no_goodbye(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its program was killed: the feed is cut, and does not say that it is over."""
    with desk(monkeypatch) as it, page(it.at.port) as shown:
        shown.glances(lambda told: told["prompt"] == 3, "the state")
        it.tell(it.second.hub.gone)
        end_s = time.monotonic() + 10
        while it.second.hub._listening:
            assert time.monotonic() < end_s
            time.sleep(0.01)
        assert "over" not in [event.kind for event in shown.events]


def test_who_never_reads_is_cut_and_nobody_else_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Large glances to one that reads and five that do not: the first gets the newest at once, the others are cut."""
    monkeypatch.setattr(hub_module, "SLOW_S", 0.5)
    with desk(monkeypatch) as it:
        mutes = [mute(it.at.port) for _ in range(5)]
        with page(it.at.port) as shown:
            shown.glances(lambda told: told, "the state")
            waits = []
            for n in range(10, 70):
                begun_s = time.monotonic()
                it.tell(it.second.hub.glance, json.dumps({"prompt": n, "more": "x" * 40_000}).encode())
                shown.glances(at_prompt(n), f"glance {n}")
                waits.append(time.monotonic() - begun_s)
            assert sorted(waits)[len(waits) // 2] < 0.1
            end_s = time.monotonic() + 10
            while len(it.second.hub._listening) > 1:
                assert time.monotonic() < end_s
                time.sleep(0.01)
            assert all(ends(sock) for sock in mutes)


def test_so_many_pages_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hub_module, "MOST_FEEDS", 3)
    with desk(monkeypatch) as it:
        pages = [Page(it.at.port) for _ in range(3)]
        for each in pages:
            each.glances(lambda told: told, "the state")
        assert ask(it.at, "/feed").status == 503
        pages[0].close()
        end_s = time.monotonic() + 5
        while len(it.second.hub._listening) > 2:
            assert time.monotonic() < end_s
            time.sleep(0.01)
        with page(it.at.port) as again:
            again.glances(lambda told: told, "the state")
        for each in pages[1:]:
            each.close()


@pytest.mark.parametrize(
    "request_line",
    [
        b"GET /feed HTTP/9.9\r\n\r\n",
        b"\x00\xff\xfe\r\n\r\n",
        b"GET " + b"/" * 70_000 + b" HTTP/1.1\r\n\r\n",
        b"GET http://elsewhere.example/feed HTTP/1.1\r\nHost: elsewhere.example\r\n\r\n",
        b"GET /feed HTTP/1.1\r\n\r\n",
        b"CONNECT 10.0.0.1:22 HTTP/1.1\r\nHost: 10.0.0.1:22\r\n\r\n",
        b"GET /feed HTTP/1.1\r\nHost: 127.0.0.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        b"Sec-WebSocket-Key: x\r\nSec-WebSocket-Version: 13\r\n\r\n\x81\xff",
    ],
)
def test_hostile_requests_get_nothing_and_hurt_nobody(monkeypatch: pytest.MonkeyPatch, request_line: bytes) -> None:
    with desk(monkeypatch) as it:
        got = raw(it.at, request_line)
        assert b" 200 " not in got.partition(b"\r\n")[0] and GLANCE not in got
        with page(it.at.port) as shown:
            shown.glances(lambda told: told["prompt"] == 3, "the state")


# --- photographs


def jpeg(**more: object) -> bytes:
    image = pytest.importorskip("PIL.Image")
    out = io.BytesIO()
    image.new("RGB", (64, 48), "green").save(out, "JPEG", **more)
    return out.getvalue()


def test_a_photograph_is_drawn_anew_and_kept_once(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """What a camera writes into it (EXIF 2.3: here a maker's text) is gone; two in one second have two names."""
    image = pytest.importorskip("PIL.Image")
    exif = image.Exif()
    exif[0x010F] = "the maker of the camera"
    with desk(monkeypatch, photos=tmp_path) as it:
        for _ in range(2):
            assert ask(it.at, "/photo", method="POST", body=jpeg(exif=exif)).status == 200
        kept = sorted(path.name for path in tmp_path.iterdir())
        assert len(kept) == 2 and kept == sorted(each.name for each in it.said)
        for name in kept:
            data = (tmp_path / name).read_bytes()
            assert b"maker" not in data and image.open(io.BytesIO(data)).size == (64, 48)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"no picture",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"\xff\xd8\xff\xe0" + b"\0" * 500,
        b"GIF89a" + b"\1" * 99,
    ],
)
def test_what_is_no_photograph_is_not_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, body: bytes) -> None:
    pytest.importorskip("PIL.Image")
    with desk(monkeypatch, photos=tmp_path) as it:
        assert ask(it.at, "/photo", method="POST", body=body).status == 415
        assert list(tmp_path.iterdir()) == [] and it.said == []


def test_a_photograph_that_is_too_large_is_refused_by_its_length(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with desk(monkeypatch, photos=tmp_path) as it:
        answer = ask(it.at, "/photo", method="POST", body=b"", headers={"Content-Length": str(PHOTO + 1)})
        assert answer.status == 413
        assert list(tmp_path.iterdir()) == []


def mute(port: int) -> socket.socket:
    """A client that asks for the feed and never reads."""
    sock = socket.socket()
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    sock.connect(("127.0.0.1", port))
    sock.sendall(f"GET /feed HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    return sock


def ends(sock: socket.socket) -> bool:
    """Whether the connection was cut: what lay in between is read, then it ends or is reset."""
    sock.settimeout(5.0)
    with sock:
        try:
            while sock.recv(1 << 20):
                pass
        except ConnectionError:
            return True
        except TimeoutError:
            return False
        return True
