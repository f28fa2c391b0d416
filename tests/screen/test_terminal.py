"""The full screen in a real terminal: an emulator on a pseudo-terminal, keys, signals, defects, hang-ups."""

from __future__ import annotations

import fcntl
import os
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.screen.terminal import WAIT_S, Terminal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Any]:
    """Make terminals that are closed whatever the test does."""
    made: list[Terminal] = []

    def make(*arguments: str, **more: object) -> Terminal:
        made.append(Terminal(["-m", "tests.screen.child", str(tmp_path / "notes"), *arguments], **more))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for one in made:
        one.close()


def notes(tmp_path: Path) -> list[str]:
    return (tmp_path / "notes").read_text().splitlines()


def test_words_and_quit_by_keys(terminal: Any, tmp_path: Path) -> None:
    """The whole way by hand: the item is seen, a word is said, quitting asks, the terminal comes back."""
    run = terminal("sweep", "forever")
    run.until("F7, left edge")
    assert "█" in run.text and " B " in run.text
    run.keys(b"s")
    run.until("heard: skip")
    run.keys(b"Q")
    run.until("closes the journal")
    run.keys(b"y")
    assert run.ended() == 0
    assert notes(tmp_path) == ["closed", "quit None [('skip', ''), ('quit', '')]"]
    assert run.usable()


def test_escape_drops_what_is_typed(terminal: Any, tmp_path: Path) -> None:
    """The escape key by itself, which is also the beginning of every sequence; an arrow at once behind it is one."""
    run = terminal("sweep", "forever")
    run.until("F7, left edge")
    run.keys(b"t")
    run.until("escape drops it")
    run.keys(b"fu\x1b[Dse")
    run.until("to: fuse")
    run.keys(b"\x1b")
    run.until("to dropped")
    run.keys(b"s")
    run.until("heard: skip")


def test_no_colour_is_sent_under_no_color(terminal: Any) -> None:
    """With NO_COLOR the whole output holds no colour sequence, and the answer is there all the same."""
    import re

    run = terminal("tick", "forever", NO_COLOR="1")
    run.until("lift, then F8")
    styles = re.findall(rb"\x1b\[([0-9;]*)m", run.raw)
    assert styles
    for style in styles:
        codes = [int(code or 0) for code in style.split(b";")]
        assert not [code for code in codes if 30 <= code <= 38 or 40 <= code <= 48 or 90 <= code <= 107], style
    run.process.send_signal(signal.SIGTERM)
    assert run.ended() == 0


@pytest.mark.parametrize(
    "number",
    [pytest.param(signal.SIGINT, marks=pytest.mark.slow), signal.SIGTERM,
     pytest.param(signal.SIGHUP, marks=pytest.mark.slow)],
)  # fmt: skip
def test_signal_closes_the_journal_and_gives_the_terminal_back(terminal: Any, tmp_path: Path, number: int) -> None:
    """A signal ends the session well, and the screen with it."""
    run = terminal("sweep", "forever")
    run.until("F7, left edge")
    run.process.send_signal(number)
    assert run.ended() == 0
    assert notes(tmp_path) == ["closed", f"interrupted {int(number)} []"]
    assert run.usable()


@pytest.mark.slow
def test_ctrl_c_is_an_interrupt(terminal: Any, tmp_path: Path) -> None:
    """Ctrl-C does what it does outside a full screen."""
    run = terminal("sweep", "forever")
    run.until("F7, left edge")
    run.keys(b"\x03")
    assert run.ended() == 0
    assert notes(tmp_path) == ["closed", "interrupted 2 []"]
    assert run.usable()


def test_defect_in_the_picture(terminal: Any, tmp_path: Path) -> None:
    """A widget that breaks takes neither the journal nor the terminal with it; the error reaches the caller."""
    run = terminal("sweep", "fault")
    assert run.ended() == 7
    assert notes(tmp_path) == ["closed", "raised AttributeError"]
    assert run.usable() and "Traceback" not in run.text


@pytest.mark.parametrize("hang_up", [True, pytest.param(False, marks=pytest.mark.slow)])
def test_terminal_closed(terminal: Any, tmp_path: Path, hang_up: bool) -> None:
    """When the window goes away, told by a signal or not, the journal is closed and the program ends.

    Nobody takes its output any more, and readings keep coming: drawing must not block it.
    """
    run = terminal("sweep", "busy", hang_up=hang_up)
    run.until("F7, left edge")
    run.read(0.3)
    os.close(run.slave)
    os.close(run.master)
    if not hang_up:
        time.sleep(2.0)
        run.process.send_signal(signal.SIGTERM)
    try:
        run.process.wait(WAIT_S)
    except subprocess.TimeoutExpired:
        pytest.fail("the program hangs without a terminal")
    assert notes(tmp_path)[0] == "closed"


@pytest.mark.slow
def test_ends_by_itself_after_the_last_item(terminal: Any, tmp_path: Path) -> None:
    """Done is shown with the counts, then the terminal is given back."""
    run = terminal("done")
    run.until("session is closed")
    assert run.ended() == 0
    assert notes(tmp_path)[-1].startswith("done")
    assert run.usable()


@pytest.mark.slow
def test_small_and_resized(terminal: Any) -> None:
    """Twenty by six keeps the answer; growing the window draws it large."""
    run = terminal("sweep", "forever", columns=20, rows=6)
    run.until("F7")
    fcntl.ioctl(run.slave, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    run.screen.resize(40, 120)
    run.process.send_signal(signal.SIGWINCH)
    run.until("journal ok")
    assert run.text.count("█") > 100
    run.process.send_signal(signal.SIGTERM)
    assert run.ended() == 0
