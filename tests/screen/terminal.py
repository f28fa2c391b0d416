"""A terminal emulator around a program: what it draws, what it is typed, what it leaves behind."""

from __future__ import annotations

import contextlib
import fcntl
import os
import select
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pyte

HERE = Path(__file__).parent
WAIT_S = 60.0
"""Far beyond what anything here takes, for a loaded machine; what does not come fails with what was shown."""


class Terminal:
    """A Python program in a pseudo-terminal of a size; `screen` is what a person would see."""

    emulator: type[pyte.Screen] = pyte.Screen

    def __init__(
        self, arguments: list[str], columns: int = 80, rows: int = 24, hang_up: bool = True, **environ: str
    ) -> None:
        self.screen = self.emulator(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self.raw = b""
        self.master, slave = os.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.before = termios.tcgetattr(slave)
        unset = ("NO_COLOR", "COLORFGBG", "COLUMNS", "LINES")
        env = {key: value for key, value in os.environ.items() if key not in unset}
        env |= {"TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONPATH": str(HERE.parent.parent)} | environ
        self.process = subprocess.Popen(
            [sys.executable, *arguments],
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
            self.take(data)

    def take(self, data: bytes) -> None:
        """Show what the program sent; private modes with "<" or ">" (kitty keys) are unknown to the emulator."""
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
