"""The second screen in a real browser, through the real server process: its layout, its sleep, its enemies.

Skipped where there is no Chromium. What is shown is a real session's view, read and said by a script.
"""

from __future__ import annotations

import contextlib
import http.server
import io
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

pytest.importorskip("selenium", reason="no selenium here")
pytest.importorskip("uvicorn")

from metercap.clock import ScaledClock
from metercap.pictures import sha256
from metercap.plan import from_builtins, to_builtins
from metercap.plankeys import Item, Picture, SweepStep
from metercap.web import teller as teller_module
from metercap.web.address import Address, listen
from metercap.web.teller import Teller
from tests.marking.browser import chromium
from tests.steps.bench_play import Play, fuses, meter, opening

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="stops processes by signals")

ROOT = Path(__file__).parents[2]
BOARD = ROOT / "profiles" / "plans" / "greenhouse-back.png"
SIZES = {"phone": (390, 844), "tablet": (1024, 768), "wide": (1920, 1080)}
AT: dict[str, tuple[tuple[float, float], ...]] = {f"fuses/F{n}": ((0.3 + 0.03 * n, 0.4),) for n in range(1, 4)}
STATE = "return document.body.className.split(' ').filter((each) => ['live', 'stale', 'over'].includes(each))[0]"
ITEM = "return document.querySelector('.names .mine')?.textContent"
LIT = """
const lit = document.querySelector('#picture .lit');
return lit !== null && getComputedStyle(lit).visibility === 'visible';
"""
OUTSIDE = """
const {innerWidth: w, innerHeight: h} = window, out = [];
for (const each of document.querySelectorAll('header > *, .box > span, p, button, label, footer > span, .stones i')) {
  if (!each.offsetParent || !each.textContent && !each.matches('.stones i')) continue;
  const {left, top, right, bottom} = each.getBoundingClientRect();
  if (left < -1 || top < -1 || right > w + 1 || bottom > h + 1) out.push(each.id || each.textContent);
}
for (const box of document.querySelectorAll('.box')) {
  const inner = box.firstElementChild.getBoundingClientRect(), outer = box.getBoundingClientRect();
  const over = inner.height > outer.height + 1 || inner.width > outer.width + 1;
  if (box.offsetParent && over) out.push(`${box.id} overflows`);
}
if (document.documentElement.scrollWidth > w || document.documentElement.scrollHeight > h) out.push('the page scrolls');
return out;
"""
AT_ONCE = """
window.clicked = false;
new MutationObserver((_, self) => {
  self.disconnect();
  document.querySelector('#words button').click();
  window.clicked = true;
}).observe(document.getElementById('words'), {childList: true});
"""
HERO = "return getComputedStyle(document.querySelector('#hero > span')).fontSize"
RECORD = """
window.seen = [];
const item = () => document.querySelector('.names .mine')?.textContent;
const note = () => seen.push([document.body.classList.contains('live'), item()]);
new MutationObserver(note).observe(document.body, {attributes: true, childList: true, subtree: true});
"""


class Desk:
    """A second screen on this machine, told the views of a session that a script plays; `said` came back from it."""

    def __init__(self, run: Play, *, words: bool, photos: Path | None) -> None:
        self.said: list[tuple[Any, ...]] = []
        sock, self.at = listen(Address(port=0, named=True))
        self.run = run
        self.teller = Teller(sock, self.at, words=words, photos=photos, folders=[BOARD.parent])
        self.teller.start(self, ScaledClock())
        self.teller.begin()
        self("")

    def __call__(self, script: str) -> None:
        """Go on with the session."""
        self.run(script)
        self.teller.look(self.run.view)

    def put_from_page(self, word: str, prompt: int, t_s: float) -> None:
        self.said.append((word, prompt))

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        self.said.append((word, text, source))

    def put_stop(self, signal: int) -> None: ...

    def put_fault(self, error: BaseException) -> None: ...

    @property
    def server(self) -> int:
        """The server's process."""
        child = self.teller._child
        assert child is not None
        return child.pid


@contextlib.contextmanager
def desk(step: SweepStep | None = None, *, words: bool = False, photos: Path | None = None) -> Iterator[Desk]:
    step = step or fuses(3, count_check=False)
    picture = Picture(BOARD.name, side="back", title="Main board", sha256=sha256(BOARD.read_bytes()), at=AT)
    plan = msgspec.structs.replace(from_builtins(opening((step,), meter(5.0)).plan), pictures=(picture,))
    found = Desk(Play(step, rate=5.0, plan=to_builtins(plan), tag="B"), words=words, photos=photos)
    try:
        yield found
    finally:
        found.teller.close()


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    with chromium(tmp_path_factory.mktemp("chromium"), *SIZES["tablet"]) as driver:
        yield driver


def until(true: Callable[[], Any], what: str, wait_s: float = 15.0) -> Any:
    end_s = time.monotonic() + wait_s
    while not (got := true()):
        assert time.monotonic() < end_s, what
        time.sleep(0.02)
    return got


def opened(browser: Any, it: Desk, item: str = "F1") -> None:
    """Open the page and wait until it shows an item on the picture, live."""
    until(lambda: it.teller._child is not None, "a server")
    browser.get(it.at.url)
    until(lambda: browser.execute_script(ITEM) == item and browser.execute_script(STATE) == "live", item)


LOOKS = [
    pytest.param(size, dark, marks=() if (size, dark) in (("phone", True), ("tablet", False)) else pytest.mark.slow)
    for size in SIZES
    for dark in (False, True)
]


@pytest.mark.parametrize(("size", "dark"), LOOKS)
def test_nothing_overflows_and_what_matters_is_large(browser: Any, size: str, dark: bool) -> None:
    """At a metre 1° is 17 mm, some 65 CSS pixels of 0.26 mm: letters of the hero are no smaller on any screen."""
    width, height = SIZES[size]
    metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": size == "phone"}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    scheme = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})
    with desk(words=True) as it:
        opened(browser, it)
        for script in ("OL*6", "0.2*2", "OL*12", ":open", "OL*3 0.3"):
            it(script)
            time.sleep(0.25)
            assert browser.execute_script(OUTSIDE) == [], script
        it("0.3 OL*3")
        size_px = browser.execute_script(
            "return parseFloat(getComputedStyle(document.querySelector('#hero > span')).fontSize)"
        )
        assert size_px >= 65
        background, colour = browser.execute_script(
            "const s = getComputedStyle(document.body); return [s.backgroundColor, s.color]"
        )
        assert (lightness(background) < 0.5) is dark
        assert contrast(background, colour) >= 7.0  # WCAG 2, 1.4.6


def lightness(colour: str) -> float:
    """Relative luminance (WCAG 2) of "rgb(1, 2, 3)"."""
    parts = [int(part) / 255 for part in colour[4:-1].split(",")]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((lightness(one), lightness(other)))
    return (high + 0.05) / (low + 0.05)


def test_a_server_that_is_silent_for_a_second_puts_the_point_out(browser: Any) -> None:
    """Stopped in mid-sweep: not live, nothing lit, within 2 s; when it goes on the page has the whole state again."""
    with desk() as it:
        opened(browser, it)
        until(lambda: browser.execute_script(LIT), "a lit point")
        assert [each.text for each in browser.find_elements("css selector", "#picture .lit text")] == ["F1"]
        os.kill(it.server, signal.SIGSTOP)
        try:
            begun_s = time.monotonic()
            until(lambda: browser.execute_script(STATE) == "stale", "not live")
            assert 0.5 < time.monotonic() - begun_s < 2.0
            assert browser.execute_script(LIT) is False
            assert browser.find_element("id", "live").text == "not live"
            it("OL*6 0.2*2 OL*12")
        finally:
            os.kill(it.server, signal.SIGCONT)
        until(lambda: browser.execute_script(ITEM) == "F2" and browser.execute_script(LIT), "F2, lit")


def test_a_session_that_hangs_stays_put_out(browser: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is heard of it: the page connects again by itself, and what it is given then is old. It was lit for a
    second each time."""
    with desk() as it:
        opened(browser, it)
        until(lambda: browser.execute_script(LIT), "a lit point")
        with monkeypatch.context() as hung:
            hung.setattr(teller_module, "BEAT_S", 60.0)
            stays_out(browser)
        it("OL*6")
        until(lambda: browser.execute_script(LIT), "a lit point")


def stays_out(browser: Any) -> None:
    """Look for a while whether a page that hears nothing shows anything as if it were now."""
    until(lambda: browser.execute_script(STATE) == "stale", "not live")
    browser.execute_script(RECORD)
    time.sleep(6.0)  # two of its own connections, each after 2.5 s
    seen = browser.execute_script("return seen")
    assert not any(live for live, _ in seen) and browser.execute_script(LIT) is False
    browser.refresh()
    time.sleep(1.0)
    assert browser.execute_script(STATE) == "stale" and browser.execute_script(LIT) is False


@pytest.mark.slow
def test_a_connection_that_is_cut_comes_back_by_itself(browser: Any) -> None:
    """The server is killed in mid-sweep; a new one at the same port has the page again, with what is then."""
    with desk() as it:
        opened(browser, it)
        killed = it.server
        os.kill(killed, signal.SIGKILL)
        it("OL*6 0.2*2 OL*12")
        until(lambda: browser.execute_script(STATE) == "stale", "not live")
        until(lambda: browser.execute_script(ITEM) == "F2" and browser.execute_script(STATE) == "live", "F2, live")
        assert it.server != killed


@pytest.mark.parametrize(
    "asleep_s", [2.0, pytest.param(6.0, marks=pytest.mark.slow), pytest.param(60.0, marks=pytest.mark.slow)]
)
def test_a_browser_that_wakes_shows_nothing_old_as_if_it_were_now(browser: Any, asleep_s: float) -> None:
    """Frozen while two fuses are ticked: no moment on waking shows F1 live."""
    with desk() as it:
        opened(browser, it)
        time.sleep(2.6)  # a connection that has stood for a while is not opened anew on the way to sleep
        browser.execute_script(RECORD)
        browser.execute_cdp_cmd("Emulation.setFocusEmulationEnabled", {"enabled": False})
        browser.execute_cdp_cmd("Page.setWebLifecycleState", {"state": "frozen"})
        it("OL*6 0.2*2 OL*12")
        time.sleep(asleep_s - 1.2)
        it("0.2*2 OL*12")
        time.sleep(1.2)  # what is younger than a second still counts as now
        browser.execute_cdp_cmd("Page.setWebLifecycleState", {"state": "active"})
        browser.execute_cdp_cmd("Emulation.setFocusEmulationEnabled", {"enabled": True})  # visible again
        until(lambda: browser.execute_script(ITEM) == "F3" and browser.execute_script(STATE) == "live", "F3, live")
        seen = browser.execute_script("return seen")
        assert [True, "F3"] in seen
        assert [True, "F1"] not in seen[1:] and [True, "F2"] not in seen


def test_names_and_notes_are_text_and_never_more(browser: Any) -> None:
    """Markup in every text of a plan and in a note: shown as it is, nothing runs, nothing is fetched."""
    evil = "<img src=x onerror='window.hurt=1'><script>window.hurt=1</script>"
    items = (Item(f"F1{evil}"), Item("F2"))
    step = SweepStep(id="fuses", items=items, max=2.0, unit="ohm", say=evil, cautions=(evil,), count_check=False)
    with desk(step, words=True) as it:
        it(f":note={evil.replace(' ', '_')}")
        until(lambda: it.teller._child is not None, "a server")
        browser.get(it.at.url)
        until(lambda: browser.execute_script(STATE) == "live", "live")
        until(lambda: "<img" in browser.find_element("tag name", "body").text, "the text")
        assert browser.execute_script("return window.hurt") is None
        counts = "return [document.images.length, document.querySelectorAll('script').length]"
        assert browser.execute_script(counts) == [0, 1]
        browser.get(it.at.url + "film")
        until(lambda: "<img" in browser.find_element("id", "item").text, "the text")
        assert browser.execute_script("return [window.hurt, document.images.length]") == [None, 0]


FOREIGN = """<!doctype html><title>elsewhere</title>
<img src="{url}picture/x"><iframe src="{url}" name="inside"></iframe><script src="{url}second.js"></script>
<form action="{url}word" method="post" enctype="text/plain" target="inside">
<input name='{{"word":"open","prompt":' value='{prompt}}}'></form>
<script>
window.done = [];
const body = JSON.stringify({{word: 'open', prompt: {prompt}}});
const how = (answer) => answer instanceof Error ? 'refused' : `${{answer.type}} ${{answer.status}}`;
const told = (name) => (answer) => done.push([name, how(answer)]);
for (const mode of ['cors', 'no-cors']) {{
  fetch('{url}word', {{method: 'POST', mode, body}}).then(told(mode), told(mode));
  fetch('{url}feed', {{mode}}).then(told(`feed ${{mode}}`), told(`feed ${{mode}}`));
}}
navigator.sendBeacon('{url}word', body);
const feed = new EventSource('{url}feed');
feed.onmessage = () => done.push(['heard', 'a glance']);
feed.onerror = () => done.push(['feed', 'refused']);
document.forms[0].submit();
</script>"""


def test_a_page_of_another_site_says_and_sees_nothing(browser: Any) -> None:
    """Its posts, by script, by form and by beacon, come to nothing; it reads no feed and frames no page."""
    with desk(words=True) as it:
        opened(browser, it)
        page = FOREIGN.format(url=it.at.url, prompt=it.run.view.prompts)
        with site(page) as port:
            browser.get(f"http://localhost:{port}/")
            until(lambda: len(browser.execute_script("return done")) >= 5, "every answer")
            time.sleep(0.5)
            done = browser.execute_script("return done")
            assert not any(name == "heard" for name, _ in done)
            assert all(told in ("refused", "opaque 0") for _, told in done), done
            browser.switch_to.frame(0)
            assert "fuses" not in browser.page_source and "second.js" not in browser.page_source
            browser.switch_to.default_content()
        assert it.said == []


@contextlib.contextmanager
def site(page: str) -> Iterator[int]:
    """Another site, on this machine."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(page.encode())

        def log_message(self, *_: Any) -> None: ...

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield server.server_address[1]
        finally:
            server.shutdown()
            thread.join()


def test_a_button_answers_what_it_was_shown_for_and_no_double_touch_answers_the_next(browser: Any) -> None:
    """The word goes with its prompt's number; a finger that was on its way when the question changed says nothing."""
    with desk(words=True) as it:
        it("OL*6")
        opened(browser, it)
        time.sleep(0.5)
        number = it.run.view.prompts
        buttons = {each.text: each for each in browser.find_elements("css selector", "#words button")}
        assert list(buttons) == ["open", "skip", "absent", "back", "again"]
        assert all(each.size["height"] >= 48 and each.size["width"] >= 48 for each in buttons.values())
        buttons["open"].click()
        until(lambda: it.said, "the word")
        time.sleep(1.6)  # as long as no second word is taken whatever is shown
        browser.execute_script(AT_ONCE)
        it(":open")
        until(lambda: browser.execute_script("return window.clicked"), "a touch as the question changes")
        time.sleep(0.5)
        assert it.said == [("open", number)]
        browser.find_element("css selector", "#words button").click()
        until(lambda: len(it.said) == 2, "a word that was meant")
        assert it.said[1] == ("open", it.run.view.prompts)


@pytest.mark.slow
def test_a_photograph_goes_from_the_page_into_the_folder(browser: Any, tmp_path: Path) -> None:
    image = pytest.importorskip("PIL.Image")
    file, folder = tmp_path / "board.jpg", tmp_path / "job"
    folder.mkdir()
    image.new("RGB", (80, 60), "green").save(file)
    with desk(words=True, photos=folder) as it:
        opened(browser, it)
        browser.find_element("css selector", "#photo input").send_keys(str(file))
        until(lambda: it.said, "the note")
        (kept,) = folder.iterdir()
        assert it.said == [("note", f"photograph {kept.name}", "page")]
        assert image.open(io.BytesIO(kept.read_bytes())).size == (80, 60)
