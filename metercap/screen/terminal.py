"""The terminal under the full screen: whatever comes from it is survived, and nothing sent to it is waited for.

Built on the library's own driver for the platform. What it changes: bytes that are no UTF-8, reports that make no
sense and sequences that break the parser cost one key and no session; a terminal that stands still gets no more
pictures until it moves, and then a whole one; one that is gone is told once, and neither read nor written any more.
"""

from __future__ import annotations

import codecs
import contextlib
import os
import select
import sys
import time
from typing import Any

MOST_COLUMNS, MOST_ROWS = 1000, 400
"""No window is larger (a wall of 8 k pixels in the smallest readable letters); what says so is a broken report."""
MOST_SEQUENCE = 32
"""Characters of the longest escape sequence that is read: what the library's parser takes for one."""
MOST_WAITING = 128 * 1024
"""Bytes that may wait for the terminal: a few whole pictures."""
LOOK_S = 0.1
FORGET_S = 1.0
"""After so long without a byte what was begun (a paste, a sequence) is given up."""


def sturdy(driver: type) -> type:
    """Return the driver class to use in place of the library's `driver`."""
    if sys.platform == "win32":
        return driver

    import termios

    from textual import events
    from textual._xterm_parser import XTermParser

    from metercap.outlet import Lane
    from metercap.screen.answers import MOST_ANSWER, is_answer
    from metercap.words.cutting import ESCAPE, REPORT, Cutter

    class SturdyDriver(driver):  # type: ignore[misc]
        """The platform's driver, made to outlast its terminal."""

        def __init__(self, *args: Any, **more: Any) -> None:
            super().__init__(*args, **more)
            self._lane: Lane | None = None
            self._parser = XTermParser(self._debug)
            self.gone = False
            self.torn = False
            """Something was not sent: the next picture must be a whole one."""
            self.await_until_s = 0.0
            """So long, on the monotonic clock, the rest of a broken answer is waited for."""

        @property
        def waiting(self) -> int:
            """How many bytes wait for the terminal."""
            return 0 if self._lane is None else self._lane.held

        @property
        def still(self) -> bool:
            """Whether the terminal takes nothing at the moment."""
            return self.waiting > MOST_WAITING // 2

        def write(self, data: str) -> None:
            """Send text, or leave it when the terminal stands still or is gone."""
            if self.gone:
                return
            if self._lane is None:
                self._lane = Lane(self._file.fileno())
            if self._lane.held > MOST_WAITING:
                self.torn = True
                return
            try:
                self._lane.put(data.encode("utf-8", "backslashreplace"), droppable=False)
            except OSError:
                self._tell_gone()

        def flush(self) -> None:
            """Nothing is held here."""

        def start_application_mode(self) -> None:
            """Take the terminal; keys typed while the program was stopped are no words."""
            if self._must_signal_resume:
                with contextlib.suppress(termios.error):
                    termios.tcflush(self.fileno, termios.TCIFLUSH)
            super().start_application_mode()

        def close(self) -> None:
            """Let the last sequences out, for a moment."""
            if self._lane is not None:
                self._lane.settle(patient=False)
            super().close()

        def _get_terminal_size(self) -> tuple[int, int]:
            columns, rows = super()._get_terminal_size()
            return min(columns, MOST_COLUMNS), min(rows, MOST_ROWS)

        def process_message(self, message: Any) -> None:
            """Pass a message on, unless it reports a size that cannot be."""
            if isinstance(message, events.Resize):
                size = message.size
                if not (0 < size.width <= MOST_COLUMNS and 0 < size.height <= MOST_ROWS):
                    return
            super().process_message(message)

        def run_input_thread(self) -> None:
            """Read keys until the end, of the program or of the terminal."""
            decode = codecs.getincrementaldecoder("utf-8")("replace").decode
            cutter = Cutter(MOST_ANSWER)
            heard_s = time.monotonic()
            while not self.exit_event.is_set():
                text = ""
                try:
                    if select.select([self.fileno], [], [], LOOK_S)[0]:
                        data = os.read(self.fileno, 4096)
                        if not data:
                            self._tell_gone()
                            return
                        text, heard_s = decode(data), time.monotonic()
                except (OSError, ValueError):
                    self._tell_gone()
                    return
                if not text:
                    self._quiet(cutter, time.monotonic(), heard_s)
                for character in text:
                    if key := cutter.feed(character):
                        self._take_key(key)

        def _quiet(self, cutter: Cutter, now_s: float, heard_s: float) -> None:
            """Nothing came: what was begun is the escape key, or nothing, unless it may be an answer on its way.

            No key begins as a report does, so the rest of one is waited for however late it comes.
            """
            long = now_s - heard_s > FORGET_S
            if cutter.held == ESCAPE and (long or now_s > self.await_until_s):
                self._take_key(cutter.quiet())
            elif long and now_s > self.await_until_s and not cutter.held.startswith(REPORT):
                cutter.forget()

        def _take_key(self, key: str) -> None:
            """Pass on what a whole key or report says; one that the library does not know says nothing.

            Its parser gives the characters of a sequence that it does not know, or that is too long, as so many keys;
            they would be words. So it gets whole ones only, and begins anew after one that said nothing.
            """
            if key == ESCAPE:
                self.process_message(events.Key("escape", key))
                return
            if is_answer(key):
                with contextlib.suppress(RuntimeError):
                    self._loop.call_soon_threadsafe(getattr(self._app, "answered", len), key)
                return
            if len(key) > MOST_SEQUENCE:
                return
            try:
                messages = list(self._parser.feed(key))
            except Exception:  # whatever the parser cannot take is no key
                messages = []
            if not messages:
                self._parser = XTermParser(self._debug)  # it may wait for more, and would take the next key for that
            for message in messages:
                self.process_message(message)

        def _tell_gone(self) -> None:
            if not self.gone:
                self.gone = True
                with contextlib.suppress(RuntimeError):
                    self._loop.call_soon_threadsafe(self._app.terminal_gone)

    return SturdyDriver
