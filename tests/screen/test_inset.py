"""The board's picture in a terminal that can show it, in one that cannot, in one that says nothing, and in a slow one.

Over a real pseudo-terminal; the terminal of the tests draws the pixels, and letters wipe them out as elsewhere.
"""

from __future__ import annotations

import fcntl
import hashlib
import signal
import struct
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from metercap.screen import inset as inset_module
from metercap.screen.answers import Cell
from metercap.screen.inset import Inset, Studio, Wish
from metercap.screen.paint import Box
from metercap.view import Sheet
from tests.screen.boards import board, plain
from tests.screen.drawing import ATTRIBUTES, CELL, CELL_H, CELL_W, COLOURS, WITHOUT, Drawing
from tests.screen.inset_child import PLANS
from tests.test_hostile_pictures import png

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

LIT, TICKED = (255, 225, 77), (124, 188, 255)
QUESTION = b"\x1b[c"
NO_SUCH = {QUESTION: ATTRIBUTES, b"\x1b[16t": b"\x1b[6;0;0t", b"\x1b[14t": b"\x1b[4;9;9t"}
Start = Callable[..., Drawing]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start programs in terminals that are closed whatever the test does."""
    made: list[Drawing] = []

    def begin(*arguments: str, **more: Any) -> Drawing:
        made.append(Drawing(["-m", "tests.screen.inset_child", str(tmp_path / "notes"), *arguments], **more))
        return made[-1]

    yield begin
    for one in made:
        one.close()


def lit(run: Drawing) -> Drawing:
    """Wait until the whole picture is there."""
    run.wait(lambda: run.whole and run.ink(LIT) > 100 and run.rows_sent_now == 0, "lit")
    return run


def words(run: Drawing, tmp_path: Path) -> str:
    """End it, and return the words that were said."""
    run.process.send_signal(signal.SIGTERM)
    assert run.ended() == 0
    return (tmp_path / "notes").read_text().partition("[")[2]


def test_the_neighbourhood_of_the_next_point(start: Start, tmp_path: Path) -> None:
    """It is drawn whole beside the answer, stays while readings come, follows the next point, and gives way to help."""
    run = lit(start(columns=100, rows=30))
    box = run.box
    assert box is not None and box[0] > run.sheet.width * 0.55 and box[2] <= run.sheet.width
    assert run.ink(TICKED) > 50, "F1 to F6 stand around it, ticked"
    left, top, right, bottom = (box[0] // CELL_W, box[1] // CELL_H, box[2] // CELL_W, box[3] // CELL_H)
    rows = run.screen.display[top:bottom]
    assert all(not row[left:right].strip() for row in rows), "no letters under it"
    assert any("█" in row[:left] for row in rows), "the answer stands beside it"
    sent, seen = run.pictures, run.raw
    run.read_for(1.0)
    assert run.pictures == sent, "ten readings later nothing of it was sent again"
    assert len(run.raw) > len(seen) and run.whole
    before = run.sheet.copy()
    run.keys(b"s")
    run.wait(lambda: run.pictures >= sent + bottom - top and run.whole, "the next one")
    assert run.sheet.tobytes() != before.tobytes() and run.ink(LIT) > 100
    run.keys(b"?")
    run.wait(lambda: run.box is None, "gone under the help")
    run.keys(b"?")
    lit(run)
    assert words(run, tmp_path) == "('skip', '')]\n"
    assert run.asked == [QUESTION, b"\x1b[16t", b"\x1b[14t", b"\x1b[?1;1;0S"]


@pytest.mark.slow
def test_letters_of_another_size(start: Start) -> None:
    """After a change of the window the cells are asked again, and the picture stands in its new place."""
    run = lit(start())
    assert run.asked.count(b"\x1b[16t") == 1
    fcntl.ioctl(run.slave, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 110, 0, 0))
    run.resize(110, 40)
    run.process.send_signal(signal.SIGWINCH)
    run.wait(lambda: run.asked.count(b"\x1b[16t") == 2, "asked again")
    lit(run)
    assert run.box is not None and run.box[2] <= 110 * CELL_W
    fcntl.ioctl(run.slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    run.resize(80, 24)
    run.process.send_signal(signal.SIGWINCH)
    run.until("F7")
    sent = run.pictures
    run.read_for(0.6)
    assert run.box is None and run.pictures == sent, "no room beside the answer"


@pytest.mark.parametrize(
    "says",
    [
        pytest.param({QUESTION: WITHOUT}, id="without pictures"),
        pytest.param({QUESTION: b"\x1b[?4;6c"}, id="another kind of four", marks=pytest.mark.slow),
        pytest.param({QUESTION: ATTRIBUTES}, id="no size known", marks=pytest.mark.slow),
        pytest.param(NO_SUCH, id="no such size", marks=pytest.mark.slow),
        pytest.param({}, id="no answer"),
    ],
)  # fmt: skip
def test_terminals_that_show_none(start: Start, tmp_path: Path, says: dict[bytes, bytes]) -> None:
    """Asked once, nothing drawn, no cell kept free, and no answer heard as a word."""
    run = start(says=says)
    run.until("F7")
    run.wait(lambda: run.asked, "asked")
    run.read_for(0.7)
    assert run.asked.count(QUESTION) == 1 and run.pictures == 0
    assert (b"\x1b[16t" in run.asked) == (says.get(QUESTION) == ATTRIBUTES), "sizes are asked where there is a use"
    assert words(run, tmp_path) == "]\n"


def test_turned_off_nothing_is_asked(start: Start) -> None:
    """Without folders, as with --no-pictures, there is not even a question."""
    run = start("-")
    run.until("F7")
    run.read_for(0.5)
    assert not run.asked and run.pictures == 0


def test_a_late_answer_is_no_key(start: Start, tmp_path: Path) -> None:
    """A second late, broken behind its first sign: pictures come, and no word was said."""
    run = start(says={}, columns=100, rows=30)
    run.until("F7")
    run.wait(lambda: run.asked, "asked")
    run.keys(ATTRIBUTES[:1])
    run.read_for(0.4)
    run.keys(ATTRIBUTES[1:])
    run.wait(lambda: b"\x1b[16t" in run.asked, "asked on")
    run.keys(CELL + COLOURS)
    lit(run)
    assert words(run, tmp_path) == "]\n"


@pytest.mark.slow
def test_later_answers_broken_anywhere(start: Start, tmp_path: Path) -> None:
    """After seconds, and broken wherever the line likes, with keys before and after: pictures come, no words do."""
    run = start(says={})
    run.until("F7")
    run.wait(lambda: run.asked, "asked")
    run.keys(b"\x1b")  # the escape key, while an answer may still come: it is no beginning of one
    run.read_for(1.3)
    for piece in (b"\x1b", b"[?64;1;", b"4", b";22c"):
        run.keys(piece)
        run.read_for(0.25)
    run.wait(lambda: b"\x1b[16t" in run.asked, "asked on")
    run.keys(b"\x1b[6;2")
    run.read_for(1.2)
    run.keys(b"0;10t")
    run.keys(COLOURS[:7])
    run.read_for(0.2)
    run.keys(COLOURS[7:])
    lit(run)
    run.keys(ATTRIBUTES[:9])  # and once more, long after anybody waits for it
    run.read_for(1.3)
    run.keys(ATTRIBUTES[9:])
    run.keys(CELL)
    run.keys(b"s")
    run.read_for(0.4)
    assert words(run, tmp_path) == "('skip', '')]\n"


@pytest.mark.parametrize(
    "how", ["another", pytest.param("missing", marks=pytest.mark.slow), pytest.param("broken", marks=pytest.mark.slow)]
)
def test_nothing_is_lit_on_another_file(start: Start, tmp_path: Path, how: str) -> None:
    """The screen says why, and the answer has all its room."""
    folder = tmp_path / "plans"
    folder.mkdir()
    for file in PLANS.glob("*.png"):
        if how == "another":
            (folder / file.name).write_bytes(file.read_bytes() + b"\0")
        elif how == "broken":
            (folder / file.name).symlink_to(folder / file.name)
    run = start(str(folder))
    run.until("picture: ")
    run.read_for(0.4)
    assert run.pictures == 0
    assert {"missing": "is not there", "another": "is another file", "broken": "leads nowhere"}[how] in run.text
    assert sum("█" in row[80:] for row in run.screen.display) > 8, "the answer's letters reach over where it would be"


@pytest.mark.slow
def test_a_terminal_that_stands_still(start: Start, tmp_path: Path) -> None:
    """Nothing is read for a while: the session goes on, and all is whole again when the terminal moves."""
    run = lit(start())
    for key in (b"s", b"a", b"s"):
        run.keys(key)
        time.sleep(0.5)
    before = run.pictures
    lit(run)
    run.wait(lambda: run.pictures - before >= 19 and run.whole, "the picture of now")
    assert words(run, tmp_path) == "('skip', ''), ('absent', ''), ('skip', '')]\n"


class Silent:
    """A terminal's end of the line that only keeps what was written."""

    def __init__(self) -> None:
        self.await_until_s = 0.0
        self.waiting = 0
        self.written: list[str] = []

    def write(self, data: str) -> None:
        self.written.append(data)


def test_only_what_was_written_over_is_sent_again(tmp_path: Path) -> None:
    """Rows of cells, by what the library says it displayed; and none while much waits, but the rest a moment later."""
    port, ready = Silent(), threading.Event()
    later: list[tuple[float, Callable[[], None]]] = []
    inset = Inset(port, [tmp_path], ready.set, lambda wait_s, act: later.append((wait_s, act)))
    shown, box = board(plain(tmp_path), {"F1": ((0.5, 0.5),)}, "F1"), Box(70, 5, 24, 10, Cell(10, 20))
    try:
        inset.show(shown, box, grey=False)
        assert ready.wait(10.0)
        assert inset.show(shown, box, grey=False) is None and inset.unsent
        port.waiting = 1 << 20
        inset.send()
        assert not port.written and inset.unsent
        port.waiting = 0
        later[-1][1]()
        assert [row.partition("\x1bP")[0] for row in port.written] == [f"\x1b[{5 + n + 1};71H" for n in range(10)]

        def again(update: object) -> list[int]:
            port.written.clear()
            inset.painted(update)
            inset.send()
            return [int(row[2:].partition(";")[0]) - 6 for row in port.written]

        spans = [(4, 0, 120), (6, 0, 70), (7, 0, 71), (8, 93, 94), (9, 94, 120), (15, 0, 120)]
        assert again(SimpleNamespace(spans=spans)) == [2, 3], "rows that end before it, begin behind it, or lie outside"
        assert again(None) == [] and again(object()) == list(range(10)), "a whole screen, whatever it is called"
        assert inset.show(shown, None, grey=False) == box, "gone: its cells are written blank"
        assert again(object()) == []
    finally:
        inset.close()


def test_a_stale_point_goes_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another point is next and its picture does not come: the old one is wiped out, no lit point is a wrong one."""
    port, ready = Silent(), threading.Event()
    inset = Inset(port, [tmp_path], ready.set, lambda wait_s, act: None)
    places = {"F1": ((0.4, 0.5),), "F2": ((0.6, 0.5),)}
    sheet, box = plain(tmp_path), Box(70, 5, 24, 10, Cell(10, 20))
    try:
        inset.show(board(sheet, places, "F1"), box, grey=False)
        assert ready.wait(10.0)
        inset.show(board(sheet, places, "F1"), box, grey=False)
        inset.send()
        monkeypatch.setattr(Studio, "want", lambda self, wish: None)
        assert inset.show(board(sheet, places, "F2"), box, grey=False) is None, "for a moment it may stay"
        monkeypatch.setattr(inset_module, "STALE_S", 0.0)
        assert inset.show(board(sheet, places, "F2"), box, grey=False) == box
    finally:
        inset.close()


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "no picture that can be read"),
        (png(5001, 5000, rows=b"\0"), "more than a photograph has"),
        (png(400, 300, rows=b"\0" * 300), "no picture that can be read"),
    ],
    ids=["nothing", "too large", "torn"],
)
def test_hostile_files_are_named_and_cost_nothing(tmp_path: Path, data: bytes, why: str) -> None:
    """Drawn in a thread of its own: what is none is named, and the next wish is served all the same."""
    path = tmp_path / "front.png"
    path.write_bytes(data)
    bad = Sheet(path.name, "front", "", hashlib.sha256(data).hexdigest())
    good = plain(tmp_path / "good")
    served = threading.Event()
    studio = Studio([tmp_path, tmp_path / "good"], served.set)
    try:
        for sheet in (bad, good):
            served.clear()
            studio.want(Wish(board(sheet, {"F1": ((0.5, 0.5),)}, "F1"), 24, 10, (10, 20), 16, False))
            assert served.wait(10.0)
            assert studio.done is not None and len(studio.done.rows) == (10 if sheet is good else 0)
        assert why in studio.failed[bad] and good not in studio.failed
    finally:
        studio.close()
