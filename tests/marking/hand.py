"""A person before the marking page: what is tapped, dragged and typed, and what is seen."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from selenium.webdriver import ActionChains
from selenium.webdriver.common.by import By

COUNT = "window.clicks = 0; addEventListener('click', (event) => { if (event.isTrusted) window.clicks += 1; }, true)"
BUTTON = "return [...document.querySelectorAll('button')].find((each) => each.textContent === arguments[0]) ?? null"
WHERE = """
const p = document.getElementById('photo').getBoundingClientRect();
return [p.left + arguments[0] * p.width, p.top + arguments[1] * p.height];
"""


class Hand:
    """One page in one browser window."""

    def __init__(self, page: Any, url: str) -> None:
        self.page = page
        page.get(url)
        self.until(lambda: self.text("plan"))

    def until(self, true: Callable[[], Any], wait_s: float = 10.0) -> Any:
        """Look again and again until something is true, and return it."""
        end_s = time.monotonic() + wait_s
        while not (found := true()):
            assert time.monotonic() < end_s, f"never came true; the page says {self.text('say')!r}"
            time.sleep(0.02)
        return found

    def script(self, code: str, *given: Any) -> Any:
        """Run a line in the page."""
        return self.page.execute_script(code, *given)

    def element(self, name: str) -> Any:
        """Return an element by its id."""
        return self.page.find_element(By.ID, name)

    def text(self, name: str) -> str:
        """Return the text that is seen in an element."""
        found: str = self.element(name).text
        return found

    def photo(self, path: Any, side: str = "back") -> None:
        """Choose a photo as the system's own dialogue would hand it over."""
        self.script("const s = document.getElementById('side'); s.value = arguments[0]", side)
        self.element("file").send_keys(str(path))
        self.until(lambda: self.script("const p = document.getElementById('photo'); return p.complete && p.width > 1"))
        self.until(lambda: self.element("board").is_displayed())

    def press(self, name: str) -> None:
        """Click a button by its id."""
        self.element(name).click()

    def choose(self, text: str) -> None:
        """Click a button by what stands on it."""
        self.button(text).click()

    def button(self, text: str) -> Any:
        """Return the button on which that stands, once there is one."""
        return self.until(lambda: self.script(BUTTON, text))

    def slow_line(self, latency_ms: int) -> None:
        """Let every answer from now on come that much later."""
        line = {"offline": False, "latency": latency_ms, "downloadThroughput": -1, "uploadThroughput": -1}
        self.page.execute_cdp_cmd("Network.enable", {})
        self.page.execute_cdp_cmd("Network.emulateNetworkConditions", line)

    def spot(self, x: float, y: float) -> tuple[float, float]:
        """Return where a place of the picture is in the window."""
        found = self.script(WHERE, x, y)
        return found[0], found[1]

    def tap(self, x: float, y: float) -> None:
        """Click at a place of the picture."""
        self.drag((x, y))

    def drag(self, start: tuple[float, float], end: tuple[float, float] | None = None) -> None:
        """Press the mouse's button at a place of the picture, go to another, and let go."""
        board = self.element("board")
        box = board.rect
        hand = ActionChains(self.page, duration=0)
        for n, place in enumerate((start, end)):
            if place is not None:
                x, y = self.spot(*place)
                from_middle = x - box["x"] - box["width"] / 2, y - box["y"] - box["height"] / 2
                hand.move_to_element_with_offset(board, round(from_middle[0]), round(from_middle[1]))
            if n == 0:
                hand.click_and_hold()
        hand.release().perform()

    def finger(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Go over the picture with one finger."""
        (x, y), (x2, y2) = self.spot(*start), self.spot(*end)
        steps = [(x + (x2 - x) * n / 5, y + (y2 - y) * n / 5) for n in range(6)]
        for n, (at_x, at_y) in enumerate(steps):
            kind = "touchStart" if n == 0 else "touchMove"
            self._touch(kind, [{"x": at_x, "y": at_y}])
        self._touch("touchEnd", [])

    def pinch(self, middle: tuple[float, float], apart: float, to: float) -> None:
        """Put two fingers on the window, on either side of a point, and draw them apart."""
        x, y = middle
        for n in range(6):
            way = apart + (to - apart) * n / 5
            fingers = [{"x": x - way, "y": y, "id": 1}, {"x": x + way, "y": y, "id": 2}]
            self._touch("touchMove" if n else "touchStart", fingers)
        self._touch("touchEnd", [])

    def _touch(self, kind: str, points: list[dict[str, float]]) -> None:
        self.page.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def places(self) -> dict[str, Any]:
        """Return what the program knows of the pictures' places, all in one."""
        state = self.page.execute_async_script(
            "const done = arguments[0]; fetch('/state').then((a) => a.json()).then(done)"
        )
        return {key: tips for pic in state["pictures"] for key, tips in pic["at"].items()}

    def trouble(self) -> list[str]:
        """Return what the browser logged against the page."""
        return [each["message"] for each in self.page.get_log("browser")]
