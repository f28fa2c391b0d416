"""What `watch` and `record` show: every reading as it comes, in place on a terminal, one line each elsewhere."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import Any, TextIO

from metercap.clock import Now
from metercap.live import Trace
from metercap.plain import JsonLines, PlainLines
from metercap.plain.style import paint, safe, use_colour
from metercap.quantity import format_value
from metercap.reading import Reading, State, told
from metercap.records import Cue, Record
from metercap.words import KeyWords, Word, WordSink, WordSource, word_source
from metercap.words.vocabulary import WORDS

CLEAR = "\r\x1b[K"
"""Back to the line's beginning, and erase to its end (ECMA-48, EL)."""
UNTOLD = ("link",)
"""Flags that say only what is plain already: that the meter sends."""
ATTENTION = ("hold", "rel", "low_battery", "min", "max", "peak")


def reading_text(reading: Reading) -> str:
    """Return "0.2 Ω  resistance  auto": the value as the display showed it, over-range as OL, a blank as --."""
    if reading.value is None:
        shown = "OL" if reading.state is State.OVER else "--"
    else:
        shown = format_value(reading.value, reading.unit, reading.resolution)
    flags = [flag for flag in told(reading.flags) if flag not in UNTOLD]
    words = " ".join([reading.quantity.value, *flags]).replace("_", " ")
    return f"{shown:>11}  {safe(words)}"


class Readout:
    """An observer that shows readings besides what `PlainLines` shows. `in_place` rewrites one line on a terminal."""

    def __init__(self, *, in_place: bool, out: TextIO | None = None) -> None:
        self._out = sys.stdout if out is None else out
        self._lines = PlainLines(self._out)
        self._colour = use_colour(self._out)
        # NO_COLOR speaks of colour only; a dumb terminal cannot erase a line.
        self._in_place = in_place and self._out.isatty() and os.environ.get("TERM") != "dumb"
        self._pending = False

    @property
    def gone(self) -> bool:
        """Whether nobody reads this any more."""
        return self._lines.gone

    def see(self, record: Record, line: bytes) -> None:
        """Show the record."""
        if not isinstance(record, Reading):
            self._clear()
            self._lines.see(record, line)
            return
        loud = any(flag in ATTENTION for flag in record.flags)
        text = f"{record.t_s:8.1f}  {paint(reading_text(record), 'yellow' if loud else None, self._colour)}"
        if self._in_place:
            self._lines.write(CLEAR + text, end="")
            self._pending = True
        else:
            self._lines.write(text)

    def urgent(self, record: Cue) -> None:
        """A trace has no cues."""

    def say(self, text: str) -> None:
        """Write a line that is no record."""
        self._clear()
        self._lines.say(text)

    def close(self) -> None:
        """Leave the cursor on a line of its own."""
        if self._pending:
            self._lines.write("")
            self._pending = False

    def _clear(self) -> None:
        if self._pending:
            self._lines.write(CLEAR, end="")
            self._pending = False


class UntilGone:
    """An observer that finishes a trace once `count` readings were seen, or when nobody reads what `show` shows."""

    def __init__(self, show: Readout | JsonLines, trace: Trace, count: int | None = None) -> None:
        self._show = show
        self._trace = trace
        self._left = count
        self.seen = 0
        """Readings seen."""

    def see(self, record: Record, line: bytes) -> None:
        """Count the record."""
        if isinstance(record, Reading):
            self.seen += 1
            if self._left is not None:
                self._left -= 1
        if self._show.gone or (self._left is not None and self._left <= 0):
            self._trace.session.finished = True

    def urgent(self, record: Cue) -> None:
        """A trace has no cues."""


class _Some:
    """Passes on the words that mean something here."""

    def __init__(self, sink: WordSink, names: tuple[str, ...], say: Callable[[str], None]) -> None:
        self._sink, self._names, self._say = sink, names, say

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        if word in self._names:
            self._sink.put_word(word, text, t_s, source)
        else:
            self._say(f"the word {word} means nothing here; these do: {', '.join(self._names)}")

    def put_fault(self, error: BaseException) -> None:
        self._sink.put_fault(error)


class SomeWords:
    """A word source of which only some words are taken."""

    def __init__(self, inner: WordSource, names: tuple[str, ...], say: Callable[[str], None]) -> None:
        self._inner, self._names, self._say = inner, names, say

    def start(self, sink: WordSink, clock: Now) -> None:
        """Begin to listen."""
        self._inner.start(_Some(sink, self._names, self._say), clock)

    def stop(self) -> None:
        """End listening."""
        self._inner.stop()


def some_words(stdin: Any, names: tuple[str, ...], *, as_lines: bool, say: Callable[[str], None]) -> WordSource | None:
    """Return what listens on `stdin` for these words: single keys in a terminal, else lines. None without a stdin."""
    source = word_source(stdin, as_lines=as_lines, show=say)
    if source is None:
        return None
    if isinstance(source, KeyWords):
        table: dict[str, Word] = {word.key: word for word in WORDS if word.name in names}
        table["q"] = next(word for word in WORDS if word.name == "quit")
        source = KeyWords(stdin.fileno(), show=say, table=table)
    return SomeWords(source, names, say)
