"""The page's picture tapped in a real browser: turned and zoomed as it may be, the item under the finger is meant.

Skipped where there is no Chromium.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

pytest.importorskip("selenium", reason="no selenium here")
pytest.importorskip("uvicorn")

from metercap.clock import ScaledClock
from metercap.web.address import Address, listen
from metercap.web.teller import Teller
from tests.marking.browser import chromium
from tests.screen.boards import fuses
from tests.screen.greenhouse import fold, sweep_to
from tests.screen.inset_child import PLANS

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="no such browser")]

MARKS = """
return [...document.querySelectorAll('#picture g')].map((group) => {
  const words = [...group.querySelectorAll('text')].map((each) => each.textContent);
  const shape = group.matches('.lit') ? group.querySelector('circle') : group.firstElementChild;
  const {left, top, width, height} = shape.getBoundingClientRect();
  return [words, left + width / 2, top + height / 2];
});
"""

ON_IT = "return document.elementFromPoint(...arguments)?.closest('#picture') != null"


class Here:
    """A second screen on this machine; `taps` came from its page."""

    def __init__(self) -> None:
        self.taps: list[tuple[Any, ...]] = []
        sock, self.at = listen(Address(port=0, named=True))
        self.teller = Teller(sock, self.at, words=True, folders=[PLANS])
        self.teller.tapped = lambda *tap: self.taps.append(tap)
        self.teller.start(self, ScaledClock())
        view = msgspec.structs.replace(fold(sweep_to(6)), board=fuses("F7"))
        self.teller.look(view)
        self.teller.begin()

    def put_from_page(self, word: str, prompt: int, t_s: float) -> None: ...

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None: ...

    def put_stop(self, signal: int) -> None: ...

    def put_fault(self, error: BaseException) -> None: ...


def test_the_place_under_the_finger(tmp_path: Path) -> None:
    """Each of some marks, at each turn, near and whole: the page tells the place that the plan has for that item."""
    here = Here()
    places = {mark.item: (mark.picture, mark.at[0]) for mark in fuses("F7").marks}
    tried = 0
    try:
        with chromium(tmp_path / "profile", 1024, 768) as browser:
            browser.get(f"http://127.0.0.1:{here.at.port}/")
            for turn in range(4):
                for near in (True, False):
                    marks = until(lambda: [mark for mark in browser.execute_script(MARKS) if places.keys() & mark[0]])
                    for words, x, y in [*marks[:3], marks[-1]]:
                        if not browser.execute_script(ON_IT, x, y):
                            continue
                        here.taps.clear()
                        click(browser, x, y)
                        until(lambda: here.taps)
                        _, picture, *numbers = here.taps[-1]
                        (item,) = places.keys() & words
                        wanted, place = places[item]
                        assert picture == wanted and numbers[:2] == pytest.approx(place, abs=0.006), (turn, near, item)
                        assert numbers[2] / numbers[3] == pytest.approx(1.6, abs=0.01), "the board is 160 by 100 mm"
                        tried += 1
                        time.sleep(0.15)
                    browser.find_element("id", "zoom").click()
                browser.find_element("id", "turn").click()
    finally:
        here.teller.close()
    assert tried >= 16


def click(browser: Any, x: float, y: float) -> None:
    for what in ("mousePressed", "mouseReleased"):
        event = {"type": what, "x": x, "y": y, "button": "left", "clickCount": 1}
        browser.execute_cdp_cmd("Input.dispatchMouseEvent", event)


def until(true: Callable[[], Any]) -> Any:
    end_s = time.monotonic() + 15.0
    while not (got := true()):
        assert time.monotonic() < end_s
        time.sleep(0.05)
    return got
