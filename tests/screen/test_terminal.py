"""The full screen in a real terminal: an emulator on a pseudo-terminal, keys, signals, defects, hang-ups."""

from __future__ import annotations

import contextlib
import fcntl
import os
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pyte
import pytest

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
HERE = Path(__file__).parent
WAIT_S = 15.0


class Terminal:
    """A program in a pseudo-terminal of a size; `screen` is what a person would see."""

    def __init__(
        self, arguments: list[str], columns: int = 80, rows: int = 24, hang_up: bool = True, **environ: str
    ) -> None:
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self.raw = b""
        self.master, slave = os.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.before = termios.tcgetattr(slave)
        env = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "COLORFGBG")}
        env |= {"TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONPATH": str(HERE.parent.parent)} | environ
        self.process = subprocess.Popen(
            [sys.executable, str(HERE / "child.py"), *arguments],
            stdin=slave, stdout=slave, stderr=slave, env=env, start_new_session=True,
            preexec_fn=(lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0)) if hang_up else None,
        )  # fmt: skip
        self.slave = slave

    def read(self, wait_s: float) -> None:
        end_s = time.monotonic() + wait_s
        while (left_s := end_s - time.monotonic()) > 0:
            ready, _, _ = select.select([self.master], [], [], left_s)
            if not ready:
                return
            try:
                data = os.read(self.master, 65536)
            except OSError:
                return
            self.raw += data
            # Private modes with "<" or ">" (kitty keys) are unknown to the emulator.
            self._stream.feed(data.replace(b"\x1b[<u", b"").replace(b"\x1b[>", b"\x1b[?"))

    def until(self, text: str) -> None:
        """Read until the text is on the screen."""
        end_s = time.monotonic() + WAIT_S
        while text not in self.text:
            assert time.monotonic() < end_s and self.process.poll() is None, f"no {text!r} on\n{self.text}"
            self.read(0.05)

    def keys(self, keys: bytes) -> None:
        os.write(self.master, keys)

    @property
    def text(self) -> str:
        return "\n".join(self.screen.display)

    def ended(self) -> int:
        end_s = time.monotonic() + WAIT_S
        while self.process.poll() is None and time.monotonic() < end_s:
            self.read(0.05)
        self.read(0.1)
        code = self.process.poll()
        assert code is not None, "the program hangs"
        return code

    def usable(self) -> bool:
        """Line editing and echo as before, main screen, cursor shown, no modes left on."""
        return (
            termios.tcgetattr(self.slave)[:4] == self.before[:4]
            and self.raw.rfind(b"\x1b[?1049l") > self.raw.rfind(b"\x1b[?1049h")
            and self.raw.rfind(b"\x1b[?25h") > self.raw.rfind(b"\x1b[?25l")
            and self.raw.rfind(b"\x1b[?2004l") > self.raw.rfind(b"\x1b[?2004h")
        )

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        for fd in (self.master, self.slave):
            with contextlib.suppress(OSError):
                os.close(fd)


@pytest.fixture
def terminal(tmp_path: Path):  # type: ignore[no-untyped-def]
    """Make terminals that are closed whatever the test does."""
    made: list[Terminal] = []

    def make(*arguments: str, **more: object) -> Terminal:
        made.append(Terminal([str(tmp_path / "notes"), *arguments], **more))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for one in made:
        one.close()


def notes(tmp_path: Path) -> list[str]:
    return (tmp_path / "notes").read_text().splitlines()


def test_words_and_quit_by_keys(terminal, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
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


def test_no_colour_is_sent_under_no_color(terminal) -> None:  # type: ignore[no-untyped-def]
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
def test_signal_closes_the_journal_and_gives_the_terminal_back(  # type: ignore[no-untyped-def]
    terminal, tmp_path: Path, number: int
) -> None:
    """A signal ends the session well, and the screen with it."""
    run = terminal("sweep", "forever")
    run.until("F7, left edge")
    run.process.send_signal(number)
    assert run.ended() == 0
    assert notes(tmp_path) == ["closed", f"interrupted {int(number)} []"]
    assert run.usable()


@pytest.mark.slow
def test_ctrl_c_is_an_interrupt(terminal, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Ctrl-C does what it does outside a full screen."""
    run = terminal("sweep", "forever")
    run.until("F7, left edge")
    run.keys(b"\x03")
    assert run.ended() == 0
    assert notes(tmp_path) == ["closed", "interrupted 2 []"]
    assert run.usable()


def test_defect_in_the_picture(terminal, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """A widget that breaks takes neither the journal nor the terminal with it; the error reaches the caller."""
    run = terminal("sweep", "fault")
    assert run.ended() == 7
    assert notes(tmp_path) == ["closed", "raised AttributeError"]
    assert run.usable() and "Traceback" not in run.text


@pytest.mark.parametrize("hang_up", [True, pytest.param(False, marks=pytest.mark.slow)])
def test_terminal_closed(terminal, tmp_path: Path, hang_up: bool) -> None:  # type: ignore[no-untyped-def]
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
def test_ends_by_itself_after_the_last_item(terminal, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Done is shown with the counts, then the terminal is given back."""
    run = terminal("done")
    run.until("session is closed")
    assert run.ended() == 0
    assert notes(tmp_path)[-1].startswith("done")
    assert run.usable()


@pytest.mark.slow
def test_small_and_resized(terminal) -> None:  # type: ignore[no-untyped-def]
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
