"""Reading a file descriptor so that it can be stopped, and a terminal so that it is given back as it was."""

from __future__ import annotations

import atexit
import contextlib
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

WAKE_S = 0.5
STOP_S = 1.0

_taken: dict[int, list[Any]] = {}
"""Terminals in use, by file descriptor, with the settings they had."""
_ended = False


def restore_terminals() -> None:
    """Give every terminal back as it was, for good: the program is ending. Safe anywhere, in a signal handler too."""
    global _ended
    _ended = True
    while _taken:
        fd, settings = _taken.popitem()
        _set(fd, settings)


atexit.register(restore_terminals)


class Reader:
    """Reads a file descriptor in a thread until it ends or `stop` is called."""

    def __init__(self, fd: int, plain_keys: bool = False) -> None:
        self._fd = fd
        self._plain_keys = plain_keys
        self._stop = threading.Event()
        self._wake: tuple[int, int] | None = None
        self._thread: threading.Thread | None = None

    def start(self, run: Callable[[], None], fault: Callable[[BaseException], None]) -> None:
        """Take the terminal; run `run`, which iterates over `chunks`, in a thread. What it raises goes to `fault`."""

        def guarded() -> None:
            try:
                run()
            except Exception as error:
                fault(error)

        if sys.platform != "win32":
            self._wake = os.pipe()
        if self._plain_keys:
            _take(self._fd)
        self._thread = threading.Thread(target=guarded, name="words", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Give the terminal back and end the thread; within a second, whatever it waits for."""
        self._stop.set()
        if self._plain_keys:
            _give_back(self._fd)
        if self._wake is None or self._thread is None:
            return  # never started, or Windows, where a blocked read cannot be woken and the thread is a daemon
        with contextlib.suppress(OSError):
            os.write(self._wake[1], b"x")
        self._thread.join(STOP_S)
        if self._plain_keys:
            _give_back(self._fd)  # the thread may have been about to take it once more
        if not self._thread.is_alive():
            for fd in self._wake:
                os.close(fd)
            self._wake = None

    def chunks(self, idle_s: float | None = None) -> Iterator[bytes]:
        """Yield what arrives; with `idle_s`, an empty chunk when nothing more came for that long after something."""
        return self._windows(idle_s) if sys.platform == "win32" else self._posix(idle_s)

    def _posix(self, idle_s: float | None) -> Iterator[bytes]:
        import select

        assert self._wake is not None
        wait_s, wake = WAKE_S, self._wake[0]
        while not self._stop.is_set():
            if not _at_the_front(self._fd):
                # In the background neither settings nor keys are ours: touching them would stop the whole program.
                self._stop.wait(WAKE_S)
                continue
            if self._plain_keys and not self._stop.is_set():
                _take(self._fd)  # again after the shell had it, as after Ctrl-Z and fg
            ready, _, _ = select.select([self._fd, wake], [], [], wait_s)
            if wake in ready:
                return
            if not ready:
                if idle_s is not None and wait_s == idle_s:
                    yield b""
                wait_s = WAKE_S
                continue
            try:
                data = os.read(self._fd, 1024)
            except OSError:  # the terminal or the pipe is gone: the end, as for an empty read
                return
            if not data:
                return
            yield data
            wait_s = WAKE_S if idle_s is None else idle_s

    def _windows(self, idle_s: float | None) -> Iterator[bytes]:
        if not self._plain_keys:
            while not self._stop.is_set() and (data := os.read(self._fd, 1024)):
                yield data
            return
        import importlib

        console = importlib.import_module("msvcrt")
        while not self._stop.is_set():
            if console.kbhit():
                yield console.getwch().encode("utf-8", "replace")
            else:
                time.sleep(0.02)
                yield b""


if sys.platform == "win32":

    def _take(fd: int) -> None:
        """The Windows console gives single keys without being set."""

    def _give_back(fd: int) -> None:
        """Nothing was taken."""

    def _set(fd: int, settings: list[Any]) -> None:
        """Nothing was taken."""

    def forget_keys(fd: int) -> None:
        """Keys that wait stay where they are."""

    def _at_the_front(fd: int) -> bool:
        return True

else:
    import termios
    import tty

    def _take(fd: int) -> None:
        """Set the terminal to give single keys, unechoed; Ctrl-C keeps its meaning, Ctrl-Z is a key.

        A session that was stopped would measure nothing, and what is typed meanwhile would be taken for words.
        """
        with contextlib.suppress(termios.error, OSError):
            if _ended or not _at_the_front(fd):
                return
            settings = termios.tcgetattr(fd)
            if settings[3] & termios.ICANON:
                again = fd in _taken
                _taken.setdefault(fd, settings)
                tty.setcbreak(fd, termios.TCSANOW)
                mine = termios.tcgetattr(fd)
                mine[6][termios.VSUSP] = os.fpathconf(fd, "PC_VDISABLE").to_bytes(1, "big")
                termios.tcsetattr(fd, termios.TCSANOW, mine)
                if again:  # a shell had it meanwhile: what was typed then was said to the shell
                    termios.tcflush(fd, termios.TCIFLUSH)

    def forget_keys(fd: int) -> None:
        """Drop what was typed and not read yet."""
        with contextlib.suppress(termios.error, OSError):
            termios.tcflush(fd, termios.TCIFLUSH)

    def _give_back(fd: int) -> None:
        if (settings := _taken.pop(fd, None)) is not None:
            _set(fd, settings)

    def _set(fd: int, settings: list[Any]) -> None:
        with contextlib.suppress(termios.error, OSError):
            if _at_the_front(fd):
                termios.tcsetattr(fd, termios.TCSANOW, settings)

    def _at_the_front(fd: int) -> bool:
        """Tell whether this program is in the terminal's foreground; true of what is not its controlling terminal."""
        try:
            return os.tcgetpgrp(fd) == os.getpgrp()
        except OSError:
            return True
