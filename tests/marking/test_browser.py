"""The marking page in a real browser, over the real program. Skipped where there is no Chromium."""

from __future__ import annotations

import base64
import shutil
import signal
import tomllib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("selenium", reason="no selenium here")

from selenium.webdriver import ActionChains
from selenium.webdriver.common.keys import Keys

from metercap.planfile import read_plan
from tests.marking.browser import chromium
from tests.marking.conftest import BACK, FUSES, ROOT, Program
from tests.marking.hand import COUNT, Hand

Start = Callable[..., Program]
SIZES = {"phone": (390, 844), "tablet": (1024, 768), "wide": (1920, 1080)}
PAIR = FUSES.replace(
    "[[step]]",
    """\
[[step]]
id = "rails"
kind = "check"
min = "4.75 V"
max = "5.25 V"
power = "on"
items = [{ name = "TP1", where = "beside the regulator", red = "TP1", black = "GND" }]

[[step]]""",
    1,
)
LABELS = """
return [...document.querySelectorAll('#marks text')].map((each) => {
  const {left, top, right, bottom} = each.getBoundingClientRect();
  return [each.textContent, left, top, right, bottom];
});
"""
OUTSIDE = """
const {innerWidth: w, innerHeight: h} = window, out = [];
const watched = 'header button, #tools button, #zoom button, #next, #count, #begin button';
for (const each of document.querySelectorAll(watched)) {
  if (!each.offsetParent) continue;
  const {left, top, right, bottom, height} = each.getBoundingClientRect();
  const low = each.matches('button') && height < 40;
  if (left < 0 || top < 0 || right > w || bottom > h || low) out.push(each.id || each.textContent);
}
if (document.documentElement.scrollWidth > w) out.push('the page is wider than the window');
return out;
"""


def truth() -> dict[str, tuple[float, float]]:
    """Where the fuses are by the demo's own plan, whose picture this is."""
    plan = tomllib.loads((ROOT / "profiles" / "plans" / "greenhouse-controller.toml").read_text(encoding="utf-8"))
    at = next(each["at"] for each in plan["picture"] if each["side"] == "back")
    return {f"fuses/F{n}": tuple(at[f"fuses/F{n}"]) for n in range(1, 13)}


def box_of(hand: Hand, name: str) -> dict[str, Any]:
    """Where an element is seen, with all that moves and scales it."""
    found: dict[str, Any] = hand.script("return document.getElementById(arguments[0]).getBoundingClientRect()", name)
    return found


def test_twelve_fuses_in_fifteen_clicks(plan: Path, program: Start, tmp_path: Path) -> None:
    """The photo, one tap a fuse, writing and ending: nothing else is asked of a newcomer."""
    at = program(plan)
    with chromium(tmp_path / "profile") as page:
        hand = Hand(page, at.url)
        hand.script(COUNT)
        assert hand.text("next") == "First a photo"
        hand.photo(BACK)
        for n, place in enumerate(truth().values(), 1):
            assert (hand.text("next"), hand.text("count")) == (f"F{n}", f"{n - 1} of 12")
            hand.tap(*place)
        assert hand.text("next") == "All placed"
        hand.press("save")
        hand.until(lambda: "finds nothing wrong" in hand.text("say"))
        hand.press("done")
        hand.until(lambda: "can be closed" in hand.script("return document.body.textContent"))
        assert hand.script("return window.clicks") == 14  # and one on the button that chose the photo
        assert hand.trouble() == []
    assert at.end(0)[0] == 0
    (found,) = read_plan(plan).pictures
    width = 1280  # pixels at most on the screen: a click there is exact to one
    for key, (x, y) in truth().items():
        ((at_x, at_y),) = found.at[key]
        assert at_x == pytest.approx(x, abs=2 / width) and at_y == pytest.approx(y, abs=4 / width), key


@pytest.mark.slow
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_every_size(plan: Path, program: Start, tmp_path: Path, size: str, dark: bool) -> None:
    """Nothing to press is out of sight, the picture stays while it is tapped, and no label lies on another."""
    plan.write_text(PAIR, encoding="utf-8")
    at = program(plan)
    with chromium(tmp_path / "profile", *SIZES[size], dark=dark) as page:
        hand = Hand(page, at.url)
        assert hand.script(OUTSIDE) == []
        hand.photo(BACK)
        board, photo = box_of(hand, "board"), box_of(hand, "photo")
        assert (hand.text("next"), hand.text("hint")) == ("TP1", "Tap for the red tip: TP1 (beside the regulator)")
        hand.tap(0.2, 0.3)
        assert hand.text("hint") == "Now the black tip: GND (beside the regulator)"
        hand.tap(0.25, 0.3)
        for place in truth().values():
            hand.tap(*place)
            assert (box_of(hand, "board"), box_of(hand, "photo")) == (board, photo)
        assert hand.text("next") == "All placed"
        assert hand.script(OUTSIDE) == []
        labels = hand.script(LABELS)
        assert "TP1" in [text for text, *_ in labels] and len(labels) >= 8
        for n, (one, left, top, right, bottom) in enumerate(labels):
            for other, left2, top2, right2, bottom2 in labels[n + 1 :]:
                apart = left >= right2 - 1 or right <= left2 + 1 or top >= bottom2 - 3 or bottom <= top2 + 3
                assert apart, f"{one} lies on {other}"
        assert hand.script("return getComputedStyle(document.getElementById('board')).outlineStyle") == "none"
        hand.press("save")
        hand.until(lambda: "finds nothing wrong" in hand.text("say"))
        assert hand.trouble() == []
    assert len(read_plan(plan).pictures[0].at["rails/TP1"]) == 2


@pytest.mark.slow
@pytest.mark.attack
@pytest.mark.parametrize("size", SIZES)
def test_names_that_are_long_or_hostile(plan: Path, program: Start, tmp_path: Path, size: str, attack: Any) -> None:
    """The demo's whole plan, both pictures, and texts that would be markup: shown as they are, nothing pushed aside."""
    for each in (ROOT / "profiles" / "plans").glob("greenhouse-*.png"):
        shutil.copy(each, plan.parent)
    text = (ROOT / "profiles" / "plans" / "greenhouse-controller.toml").read_text(encoding="utf-8")
    name = "<img src=x onerror=document.body.remove()> of sixty-four letters"
    cell = '{ name = "BT1", connected = "removed" }'
    where = "behind the <b>display</b>, below the shield, which is held by four screws and a clip"
    assert cell in text and len(name) == 64
    text = text.replace(cell, f'{cell}, {{ name = "{name}", where = "{where}" }}')
    text = text.replace('title = "Main board, cover off"', 'title = "<script>document.body.remove()</script>"')
    plan.write_text(text, encoding="utf-8")
    at = program(plan)
    with attack("hostile names on the marking page").trial(), chromium(tmp_path / "profile", *SIZES[size]) as page:
        hand = Hand(page, at.url)
        assert (hand.text("next"), hand.text("count")) == (name, "23 of 24")
        assert hand.script("const n = document.getElementById('next'); return n.scrollHeight - n.clientHeight") <= 2
        for button in range(2):
            hand.script("document.querySelectorAll('#sides button')[arguments[0]].click()", button)
            assert hand.script(OUTSIDE) == []
        hand.script("document.querySelectorAll('#sides button')[0].click()")
        assert (
            hand.script("return document.getElementById('called').value") == "<script>document.body.remove()</script>"
        )
        hand.tap(0.6, 0.9)
        hand.until(lambda: len(hand.places()) == 24)
        assert "TP1" in [text for text, *_ in hand.script(LABELS)]
        hand.press("save")
        hand.until(lambda: "Written" in hand.text("say"))
        assert hand.trouble() == []
    assert read_plan(plan).pictures[0].at[f"backup/{name}"][0][0] == pytest.approx(0.6, abs=0.01)


@pytest.mark.slow
def test_hasty_taps_over_a_slow_line(plan: Path, program: Start, tmp_path: Path) -> None:
    """Each answer comes long after the next taps: none of them is undone by it or goes to another item."""
    at = program(plan)
    with chromium(tmp_path / "profile") as page:
        hand = Hand(page, at.url)
        hand.photo(BACK)
        hand.slow_line(150)
        for place in truth().values():
            hand.tap(*place)
        assert hand.text("next") == "All placed"
        hand.until(lambda: len(hand.places()) == 12)
        hand.until(lambda: hand.text("count") == "12 of 12" and hand.text("next") == "All placed")
        for key, (x, y) in truth().items():
            assert hand.places()[key][0] == [pytest.approx(x, abs=0.002), pytest.approx(y, abs=0.004)], key


@pytest.mark.slow
def test_an_answer_under_a_pressed_button(plan: Path, program: Start, tmp_path: Path) -> None:
    """A click is felt though the answer to the tap before it comes between pressing and letting go."""
    at = program(plan)
    with chromium(tmp_path / "profile") as page:
        hand = Hand(page, at.url)
        hand.photo(BACK)
        hand.slow_line(200)
        hand.tap(0.5, 0.5)
        ActionChains(page, duration=0).click_and_hold(hand.button("F9")).perform()
        hand.until(lambda: "fuses/F1" in hand.places())  # asked after that tap, and answered after it
        ActionChains(page, duration=0).release().perform()
        assert hand.text("next") == "F9"


@pytest.mark.slow
def test_a_plan_that_was_changed_is_offered_where_it_is_refused(plan: Path, program: Start, tmp_path: Path) -> None:
    at = program(plan)
    with chromium(tmp_path / "profile") as page:
        hand = Hand(page, at.url)
        hand.photo(BACK)
        hand.script("for (let n = 0; n < 100; n += 1) clearInterval(n)")  # it does not look by itself any more
        hand.tap(0.5, 0.5)
        by_hand = FUSES.replace("twelve", "all twelve")
        plan.write_text(by_hand, encoding="utf-8")
        hand.press("save")
        hand.until(lambda: "was changed" in hand.text("say"))
        assert plan.read_text(encoding="utf-8") == by_hand
        hand.choose("Take up the new file")
        hand.until(lambda: hand.text("say") == "")
        hand.press("save")
        hand.until(lambda: "Written" in hand.text("say"))
    assert plan.read_text(encoding="utf-8").startswith(by_hand) and len(read_plan(plan).pictures[0].at) == 1


@pytest.mark.slow
def test_mouse_finger_and_keys(plan: Path, program: Start, tmp_path: Path) -> None:
    """A mouse moves a mark; a finger moves the picture, unless its mark is chosen; keys do all that hands do."""
    at = program(plan)
    with chromium(tmp_path / "profile", *SIZES["phone"]) as page:
        hand = Hand(page, at.url)
        hand.photo(BACK)
        hand.tap(0.5, 0.5)
        hand.until(lambda: hand.places() == {"fuses/F1": [[pytest.approx(0.5, abs=0.004)] * 2]})
        hand.drag((0.5, 0.5), (0.7, 0.5))
        hand.until(
            lambda: hand.places()["fuses/F1"] == [[pytest.approx(0.7, abs=0.004), pytest.approx(0.5, abs=0.004)]]
        )
        before, x = hand.places(), box_of(hand, "photo")["x"]
        hand.finger((0.7, 0.5), (0.5, 0.5))
        assert hand.until(lambda: x - box_of(hand, "photo")["x"]) > 20 and hand.places() == before
        hand.press("fit")
        hand.choose("F1")
        hand.finger((0.7, 0.5), (0.6, 0.5))
        hand.until(lambda: hand.places()["fuses/F1"][0][0] < 0.65)
        hand.press("undo")
        hand.until(lambda: hand.places() == before)
        board = hand.element("board")
        hand.choose("F2")
        hand.script("document.getElementById('board').focus()")
        board.send_keys(Keys.ARROW_LEFT, Keys.ARROW_UP, Keys.ENTER)
        hand.until(lambda: "fuses/F2" in hand.places())
        assert hand.script("return getComputedStyle(document.getElementById('board')).outlineStyle") == "solid"
        assert hand.text("next") == "F3"
        board.send_keys(Keys.PAGE_DOWN)
        assert hand.text("next") == "F4"
        board.send_keys(Keys.CONTROL, "z")
        hand.until(lambda: "fuses/F2" not in hand.places())
        assert hand.text("next") == "F2"


DROP = """
const [text, name, type] = arguments, data = new DataTransfer();
data.items.add(new File([Uint8Array.from(atob(text), (each) => each.charCodeAt(0))], name, {type}));
document.body.dispatchEvent(new DragEvent('drop', {dataTransfer: data, bubbles: true, cancelable: true}));
"""


def tabs_are(hand: Hand, names: list[str]) -> bool:
    found = hand.script("return [...document.querySelectorAll('#sides button')].map((each) => each.textContent)")
    return bool(found == names)


@pytest.mark.slow
def test_both_sides_an_order_and_groups(plan: Path, program: Start, tmp_path: Path) -> None:
    """A photo is dropped on each side; fingers bring the second closer; the way and the groups reach the plan."""
    at = program(plan)
    with chromium(tmp_path / "profile", *SIZES["tablet"]) as page:
        hand = Hand(page, at.url)
        both = ((["Front", "+ picture"], "greenhouse-front.png"), (["Front", "Back", "+ picture"], BACK.name))
        for names, name in both:
            data = (ROOT / "profiles" / "plans" / name).read_bytes()
            hand.script(DROP, base64.b64encode(data).decode(), name, "image/png")
            hand.until(partial(tabs_are, hand, names))
        hand.script(DROP, base64.b64encode(b"<svg/>").decode(), "x.svg", "image/svg+xml")
        hand.until(lambda: "no picture that can be read" in hand.text("say"))
        hand.until(lambda: hand.script("return document.getElementById('photo').complete"))
        wide, (x, y) = box_of(hand, "photo")["width"], hand.spot(0.5, 0.45)
        hand.pinch((x, y), 40, 80)
        assert box_of(hand, "photo")["width"] == pytest.approx(2 * wide, rel=0.02)
        there = hand.spot(0.5, 0.45)  # what was between the fingers stays there
        assert there[0] == pytest.approx(x, abs=3) and there[1] == pytest.approx(y, abs=3)
        for place in truth().values():
            hand.tap(*place)
        hand.until(lambda: len(hand.places()) == 12)
        hand.choose("Tap the order")
        back = [*range(6, 0, -1), *range(12, 6, -1)]
        for n in back:
            assert hand.text("next") == "Tap in order"
            hand.tap(*truth()[f"fuses/F{n}"])
        hand.until(lambda: "probed in the order" in hand.text("say"))
        hand.choose("Take these groups")
        hand.choose("No groups")
        hand.choose("Take these groups")
        hand.press("save")
        hand.until(lambda: "finds nothing wrong" in hand.text("say"))
    written = read_plan(plan)
    assert [(each.side, len(each.at)) for each in written.pictures] == [("front", 0), ("back", 12)]
    assert written.steps[0].item_names == tuple(f"F{n}" for n in back)
    assert [len(each) for each in written.steps[0].clusters] == [6, 6]


@pytest.mark.slow
def test_a_turn_and_a_cut_in_the_page(plan: Path, program: Start, tmp_path: Path) -> None:
    """The mark stays on the fuse: x' = 1 - y, y' = x; then the lower half, y'' = (y' - 0.5) / 0.5."""
    at = program(plan)
    with chromium(tmp_path / "profile") as page:
        hand = Hand(page, at.url)
        hand.photo(BACK)
        hand.tap(0.75, 0.25)
        hand.until(hand.places)
        ((x, y),) = hand.places()["fuses/F1"]
        hand.press("turn")
        hand.until(lambda: hand.places()["fuses/F1"] == [[pytest.approx(1 - y, abs=2e-4), pytest.approx(x, abs=2e-4)]])
        hand.until(
            lambda: hand.script("const p = document.getElementById('photo'); return p.complete && p.height > p.width")
        )
        hand.press("cut")
        hand.drag((0.0, 0.5), (0.999, 0.999))
        hand.press("cut")
        half = pytest.approx((x - 0.5) / 0.5, abs=0.02)
        hand.until(lambda: hand.places()["fuses/F1"] == [[pytest.approx(1 - y, abs=0.01), half]])
        hand.press("undo")
        hand.press("undo")
        hand.until(lambda: hand.places()["fuses/F1"] == [[x, y]])


@pytest.mark.slow
def test_who_looks_closely_looks_on_at_the_same_spot(plan: Path, program: Start, tmp_path: Path) -> None:
    at = program(plan)
    with chromium(tmp_path / "profile") as page:
        hand = Hand(page, at.url)
        hand.photo(BACK)
        for _ in range(3):
            hand.press("in")
        wide, board = box_of(hand, "photo")["width"], box_of(hand, "board")
        middle = hand.spot(0.5, 0.5)
        assert middle[0] == pytest.approx(board["x"] + board["width"] / 2, abs=1)
        assert middle[1] == pytest.approx(board["y"] + board["height"] / 2, abs=1)
        size = {"width": 1000, "height": 700, "deviceScaleFactor": 1, "mobile": False}
        page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        hand.until(lambda: box_of(hand, "board")["width"] < board["width"])
        board = box_of(hand, "board")
        hand.until(lambda: hand.spot(0.5, 0.5)[0] == pytest.approx(board["x"] + board["width"] / 2, abs=1))
        assert box_of(hand, "photo")["width"] == pytest.approx(wide)


@pytest.mark.slow
def test_two_pages_a_hand_in_the_file_and_a_program_begun_again(plan: Path, program: Start, tmp_path: Path) -> None:
    """What one page marks, the other shows; a changed plan is offered; a new run of the program is gone on with."""
    at = program(plan)
    with chromium(tmp_path / "profile") as page:
        first = Hand(page, at.url)
        first.photo(BACK)
        first.tap(0.5, 0.5)
        first.until(first.places)
        one = page.current_window_handle
        page.switch_to.new_window("window")
        second = Hand(page, at.url)
        assert second.text("count") == "1 of 12"
        second.until(lambda: second.script("return document.getElementById('photo').complete"))
        second.tap(0.3, 0.5)
        second.until(lambda: len(second.places()) == 2)
        two = page.current_window_handle
        page.switch_to.window(one)
        first.tap(0.4, 0.5)  # perhaps before it has looked
        first.until(lambda: first.text("count") in ("2 of 12", "3 of 12"))
        assert first.places()["fuses/F2"][0][0] == pytest.approx(0.3, abs=0.01)
        page.switch_to.window(two)
        plan.write_text(FUSES.replace("twelve", "all twelve"), encoding="utf-8")
        second.choose("Take up the new file")
        second.until(lambda: second.text("say") == "")
        at.end(signal.SIGKILL)
        again = program(plan, port=at.at.port)
        second.press("save")
        second.until(lambda: "another page" in second.text("say") or "Written" in second.text("say"))
        second.until(lambda: second.element("save").is_enabled() or "Written" in second.text("say"))
        if "Written" not in second.text("say"):
            second.press("save")
            second.until(lambda: "Written" in second.text("say"))
        assert again.end()[0] == 130
    assert "all twelve" in plan.read_text(encoding="utf-8")
    assert read_plan(plan).pictures[0].at["fuses/F2"][0][0] == pytest.approx(0.3, abs=0.01)
