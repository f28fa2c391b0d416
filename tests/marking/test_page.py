"""The marking page's requests over real sockets: the whole way, and what hostile or hasty ones get."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import quote

import pytest

from metercap.planfile import read_plan
from metercap.web.address import Address
from tests.marking.conftest import FUSES
from tests.marking.test_baking import corners
from tests.report.test_photos import bomb
from tests.web.serve import Answer, ask, raw, served

pytest.importorskip("uvicorn", reason="without the extra web")

from metercap.marking.app import BODIES, FILES, application
from metercap.marking.desk import Desk


class Page(NamedTuple):
    """A marking that is served, and what a page of it does."""

    at: Address
    plan: Path
    ended: threading.Event

    def state(self) -> dict[str, Any]:
        return told(ask(self.at, "/state"))

    def post(self, path: str, body: bytes = b"", **headers: str) -> Answer:
        return ask(self.at, path, method="POST", body=body, headers=headers)

    def move(self, **what: Any) -> Answer:
        return self.post("/move", json.dumps({"rev": self.state()["rev"]} | what).encode())

    def photo(self, data: bytes, more: str = "") -> Answer:
        return self.post(f"/photo?rev={self.state()['rev']}{more or '&side=back'}", data)


def told(answer: Answer, status: int = 200) -> dict[str, Any]:
    assert answer.status == status, answer
    assert answer.header("content-type") == "application/json"
    found: dict[str, Any] = json.loads(answer.body)
    return found


@pytest.fixture
def page(plan: Path) -> Iterator[Page]:
    desk, ended = Desk(plan), threading.Event()
    try:
        with served(application(desk, ended.set), bodies=BODIES) as at:
            yield Page(at, plan, ended)
    finally:
        desk.close()


def test_the_whole_way(page: Page) -> None:
    assert [card["item"] for card in page.state()["cards"]] == [f"F{n}" for n in range(1, 13)]
    shown = told(page.photo(corners()))["pictures"][0]["shown"]
    picture = ask(page.at, f"/picture/{shown}")
    assert (picture.header("content-type"), picture.body[:3]) == ("image/jpeg", b"\xff\xd8\xff")
    for n in range(1, 13):
        told(page.move(do="place", key=f"fuses/F{n}", tips=[[n / 20, 0.25]]))
    state = told(page.post(f"/save?rev={page.state()['rev']}"))
    assert (state["findings"], state["saved"], state["dirty"]) == ([], True, False)
    assert page.plan.read_text(encoding="utf-8").startswith(FUSES)
    assert read_plan(page.plan).pictures[0].at["fuses/F12"] == ((0.6, 0.25),)
    assert told(page.post("/done")) == {"done": True} and page.ended.wait(5)


@pytest.mark.parametrize("path", FILES)
def test_the_page_is_made_of_files_of_its_own(page: Page, path: str) -> None:
    """Nothing stands inside that the content policy would have to allow."""
    answer = ask(page.at, path)
    kinds = {"/": "text/html", "css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
    assert answer.status == 200 and answer.header("content-type").startswith(kinds[path.rpartition(".")[2]])
    assert "default-src 'none'" in answer.header("content-security-policy")
    text = answer.body.decode()
    assert "http:" not in text.replace("http://www.w3.org/2000/svg", "") and "https:" not in text
    assert "style=" not in text and "onclick" not in text and "innerHTML" not in text


def test_two_pages(page: Page) -> None:
    """The later tap is refused with the state as it stands, so that the page shows it at once."""
    rev = told(page.photo(corners()))["rev"]
    first = {"rev": rev, "do": "place", "key": "fuses/F1", "tips": [[0.5, 0.5]]}
    told(page.post("/move", json.dumps(first).encode()))
    late = told(page.post("/move", json.dumps(first | {"key": "fuses/F2"}).encode()), 409)
    assert late["stale"] and list(late["state"]["pictures"][0]["at"]) == ["fuses/F1"]


def test_two_pages_marking_at_once(page: Page) -> None:
    """Each taps on and does what is refused again on the state that it got: every tap of both is there at the end."""
    told(page.photo(corners()))

    def mark(numbers: range) -> None:
        rev = page.state()["rev"]
        for n in numbers:
            for _ in range(50):
                what = {"rev": rev, "do": "place", "key": f"fuses/F{n}", "tips": [[n / 20, 0.5]]}
                answer = page.post("/move", json.dumps(what).encode())
                found = json.loads(answer.body)
                rev = found["rev"] if answer.status == 200 else found["state"]["rev"]
                if answer.status == 200:
                    break

    both = [threading.Thread(target=mark, args=(numbers,)) for numbers in (range(1, 7), range(7, 13))]
    for each in both:
        each.start()
    for each in both:
        each.join(20)
    (picture,) = page.state()["pictures"]
    assert picture["at"] == {f"fuses/F{n}": [[n / 20, 0.5]] for n in range(1, 13)}


def test_one_photograph_twice_is_refused_at_once(page: Page) -> None:
    """It could not be written into the plan, which was said only then, and not what to do."""
    told(page.photo(corners()))
    assert "there already, of the back: choose another" in told(page.photo(corners()), 400)["error"][0]
    assert len(told(page.photo(corners(), "&side=front"))["pictures"]) == 2


@pytest.mark.parametrize("path", ["/move", "/photo", "/photo?rev=x&side=back", "/save", "/save?rev=1e9", "/take-up"])
def test_who_does_not_say_which_state_it_saw_is_refused(page: Page, path: str) -> None:
    assert "cannot be done" in told(page.post(path, b"{}"), 400)["error"][0]


@pytest.mark.parametrize("path", ["/move", "/photo?rev=1", "/save?rev=1", "/take-up?rev=1", "/done"])
def test_what_changes_something_is_only_posted(page: Page, path: str) -> None:
    """A link or a picture's address on another site makes a browser GET it, with everything that it knows."""
    assert ask(page.at, path).status == 405 and not page.ended.is_set()


def test_a_hand_in_the_file(page: Page) -> None:
    told(page.photo(corners()))
    by_hand = FUSES.replace("twelve", "all twelve")
    page.plan.write_text(by_hand, encoding="utf-8")
    refused = told(page.post(f"/save?rev={page.state()['rev']}"), 409)
    assert refused["changed"] and page.plan.read_text(encoding="utf-8") == by_hand
    assert told(page.post(f"/take-up?rev={page.state()['rev']}"))["changed"] is False
    told(page.post(f"/save?rev={page.state()['rev']}"))
    assert page.plan.read_text(encoding="utf-8").startswith(by_hand)


@pytest.mark.attack
def test_posts_from_another_site(page: Page, attack: Any) -> None:
    """What a browser says of a page elsewhere (Fetch; Fetch Metadata): nothing is done."""
    told(page.photo(corners()))
    before = page.state()
    body = json.dumps({"rev": before["rev"], "do": "place", "key": "fuses/F1", "tips": [[0.5, 0.5]]}).encode()
    trials = attack("posts from another site to the marking page")
    for headers in (
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Origin": f"http://localhost:{page.at.port}"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Host": f"evil.example:{page.at.port}", "Origin": f"http://evil.example:{page.at.port}"},
    ):
        for path in ("/move", f"/save?rev={before['rev']}", "/done", f"/photo?rev={before['rev']}"):
            with trials.trial():
                assert page.post(path, body, **headers).status in (403, 421)
    assert page.state() == before and not page.ended.is_set()


@pytest.mark.attack
def test_hostile_uploads(page: Page, attack: Any, tmp_path: Path) -> None:
    before = page.state()
    trials = attack("hostile uploads to the marking page")
    cases = {
        "bomb": (bomb(tmp_path / "x.png", 60_000, 60_000).read_bytes(), ""),
        "gif": (corners(kind="GIF"), ""),
        "page": (b"<script>alert(1)</script>", ""),
        "empty": (b"", ""),
        "climbs": (corners(), "&side=../../etc"),
        "no picture": (corners(), "&instead=7"),
        "no number": (corners(), "&instead=-1"),
        "words": (corners(), "&instead=x"),
    }
    for name, (data, more) in cases.items():
        with trials.trial():
            answer = page.photo(data, more)
            assert answer.status in (400, 422) and json.loads(answer.body)["error"], name
    with trials.trial():
        head = (
            f"POST /photo?rev=1 HTTP/1.1\r\nHost: 127.0.0.1:{page.at.port}\r\nOrigin: http://127.0.0.1:{page.at.port}"
        )
        assert b" 413 " in raw(page.at, f"{head}\r\nContent-Length: 999999999999\r\n\r\n".encode())[:20]
    assert page.state()["pictures"] == before["pictures"]
    assert [path.name for path in page.plan.parent.iterdir() if not path.name.startswith(".")] == ["gc8.toml"]


@pytest.mark.attack
def test_hostile_requests(page: Page, attack: Any) -> None:
    """Paths that climb, moves that are none, numbers that are none: refused, and nothing is done."""
    told(page.photo(corners()))
    before = page.state()
    trials = attack("hostile requests to the marking page")
    for path in ("../gc8.toml", "..%2fgc8.toml", "%2e%2e/gc8.toml", "gc8.toml", "a" * 64, quote("\0"), ""):
        with trials.trial():
            assert ask(page.at, f"/picture/{path}").status == 404
    for body in (
        b"",
        b"[]",
        b"{}",
        b'{"rev": 1}',
        b'{"rev": "1", "do": "undo"}',
        b'{"rev": 1, "do": "undo", "more": 1}',
        b'{"rev": 1, "do": "place", "tips": [["0", 1]]}',
        b"\xff\xfe",
        b"[" * 100_000,
        f'{{"rev": {before["rev"]}, "do": "place", "key": "fuses/F1", "tips": [[1e999, 0]]}}'.encode(),
        f'{{"rev": {before["rev"]}, "do": "__init__"}}'.encode(),
    ):
        with trials.trial():
            assert page.post("/move", body).status in (400, 409)
    for rev in ("", "x", "-1", "1" * 5000, "%C2%B2", "1e3"):
        with trials.trial():
            assert page.post(f"/save?rev={rev}").status in (400, 409)
    with trials.trial():
        assert page.post("/move", b"x" * (1 << 20) + b"x").status == 413
    assert page.state() == before
    assert page.plan.read_text(encoding="utf-8") == FUSES


def test_hostile_names_are_shown_escaped(plan: Path) -> None:
    """A plan's texts: what drives a terminal or hides is an escape, and tags are text, for the page sets text only."""
    plan.write_text(FUSES.replace("GC-8, fuses", "<b>GC-8</b> \\u202e\\u001b[31m"), encoding="utf-8")
    desk = Desk(plan)
    try:
        title = desk.state()["title"]
        assert title.startswith("<b>GC-8</b>") and title.isprintable()
    finally:
        desk.close()
