"""Two ways to hear the operator: lines on a pipe, and single keys in a terminal."""

from __future__ import annotations

import codecs
import os
import time
from collections.abc import Callable, Iterator
from typing import Any, Protocol

from metercap.clock import Now
from metercap.errors import UsageError
from metercap.words.cutting import Cutter
from metercap.words.terminal import Reader
from metercap.words.vocabulary import HELP_KEY, MOST_TEXT, Word, help_lines, key_name, key_table, parse_line

MOST_LINE_BYTES = 4096
REPEAT_S = 0.7
"""The same key again within this many real seconds is its own repeat: a foot left on a pedal must not answer the next
question. Keyboards start to repeat after 0.25 to 0.66 s (common practice, no source)."""
ESCAPE_S = 0.05
"""How long the rest of a key's escape sequence may take to arrive."""
MOST_KEY = 16
STOP_KEY = "\x1a"
NO_STOPPING = "Ctrl-Z would stop the measuring: not done; Q ends the session, another window does other things"


class WordSink(Protocol):
    """Where words go; may be called from any thread. `t_s` is session time."""

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        """Take a word and its argument (empty when it has none); `source` is how it was given: key, line, …"""
        ...

    def put_fault(self, error: BaseException) -> None:
        """Take an exception nobody foresaw."""
        ...


class WordSource(Protocol):
    """Something the operator speaks through."""

    def start(self, sink: WordSink, clock: Now) -> None:
        """Begin to listen."""
        ...

    def stop(self) -> None:
        """End listening and give back what was taken; returns within a second. Twice is harmless."""
        ...


def word_source(stdin: Any, *, as_lines: bool, show: Callable[[str], None]) -> WordSource | None:
    """Return what listens on `stdin`: keys when it is a terminal and `as_lines` is false, else lines.

    None when there is nothing to listen on. `show` gets what the operator should read: refusals, help, what is typed.
    """
    try:
        fd = stdin.fileno()
    except (AttributeError, OSError, ValueError):
        return None
    if not as_lines and os.isatty(fd):
        return KeyWords(fd, show=show)
    return LineWords(fd, complain=show)


class LineWords:
    """Words as lines on a pipe, a file or a terminal. The end of it is no word: listening just ends.

    `complain` is called with the reason and a suggestion for each line that says no word. `read` turns a line into a
    word and its argument, None when it is nobody's, or a UsageError; empty lines are passed over unless it is given.
    """

    def __init__(
        self, fd: int, *, complain: Callable[[str], None], read: Callable[[str], tuple[str, str] | None] | None = None
    ) -> None:
        self._fd = fd
        self._complain = complain
        self._read = read or (lambda line: parse_line(line) if line.strip() else None)
        self._reader = Reader(fd)
        self.ended = False
        """Whether the lines have come to their end, so that no word can come any more."""

    def start(self, sink: WordSink, clock: Now) -> None:
        """Begin to listen in a thread of its own."""
        self._reader.start(lambda: self._run(sink, clock), sink.put_fault)

    def stop(self) -> None:
        """End listening."""
        self._reader.stop()

    def _run(self, sink: WordSink, clock: Now) -> None:
        rest = b""
        too_long = False
        for data in self._reader.chunks():
            *lines, rest = (rest + data).split(b"\n")
            for line in lines:
                if too_long:
                    too_long = False
                else:
                    self._say(line, sink, clock.now_s())
            if len(rest) > MOST_LINE_BYTES:
                if not too_long:
                    self._complain(f"a line of more than {MOST_LINE_BYTES} bytes is no word")
                too_long, rest = True, b""
        if rest and not too_long:
            self._say(rest, sink, clock.now_s())
        self.ended = True

    def _say(self, line: bytes, sink: WordSink, t_s: float) -> None:
        try:
            said = self._read(line.decode("utf-8", "replace"))
        except UsageError as error:
            self._complain(str(error))
        else:
            if said is not None:
                sink.put_word(*said, t_s, "line")


class KeyWords:
    """Words as single keys in a terminal. `show` is called with help, with what is being typed, and with refusals.

    A word that takes an argument is typed to its end: enter says it, escape drops it, backspace takes a character back.
    """

    def __init__(
        self,
        fd: int,
        *,
        show: Callable[[str], None],
        table: dict[str, Word] | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._show = show
        self._table = table or key_table()
        self._monotonic = monotonic
        self._reader = Reader(fd, plain_keys=True)
        self._typing: Word | None = None
        self._typed = ""
        self._last = ("", float("-inf"))

    def start(self, sink: WordSink, clock: Now) -> None:
        """Take the terminal and begin to listen in a thread of its own."""
        self._reader.start(lambda: self._run(sink, clock), sink.put_fault)

    def stop(self) -> None:
        """Give the terminal back, then end listening."""
        self._reader.stop()

    def _run(self, sink: WordSink, clock: Now) -> None:
        for key in keys_of(self._reader.chunks(ESCAPE_S)):
            said = self._typed_key(key) if self._typing else self._single_key(key)
            if said is not None:
                sink.put_word(*said, clock.now_s(), "key")

    def _single_key(self, key: str) -> tuple[str, str] | None:
        now_s = self._monotonic()
        last, last_s = self._last
        self._last = (key, now_s)
        if key == last and now_s - last_s < REPEAT_S:
            return None
        if key == STOP_KEY:
            self._show(NO_STOPPING)
            return None
        if key == HELP_KEY:
            self._show("\n".join(help_lines(self._table)))
            return None
        word = self._table.get(key)
        if word is None:
            self._show(f"key {key_name(key)} is no word; {HELP_KEY} shows the keys")
            return None
        if word.takes:
            self._typing, self._typed = word, ""
            self._show(f"{word.name} {word.takes}, then enter (escape drops it):")
            return None
        return word.name, ""

    def _typed_key(self, key: str) -> tuple[str, str] | None:
        word = self._typing
        assert word is not None
        if key in ("\r", "\n"):
            self._typing = None
            self._last = ("", float("-inf"))
            try:
                return parse_line(f"{word.name} {self._typed}")
            except UsageError as error:
                self._show(str(error))
        elif key == "\x1b":
            self._typing = None
            self._show(f"{word.name} dropped")
        elif key in ("\x7f", "\b"):
            self._typed = self._typed[:-1]
            self._show(f"{word.name} {self._typed}")
        elif key.isprintable() and len(key) == 1 and len(self._typed) < MOST_TEXT:
            self._typed += key
            self._show(f"{word.name} {self._typed}")
        return None


def keys_of(chunks: Iterator[bytes]) -> Iterator[str]:
    """Yield each key of a terminal's bytes: a character, or a whole escape sequence (an arrow, a function key).

    An empty chunk says that nothing more came for a moment, so that what is begun is whole: a lone escape is then the
    escape key. One of more than 16 characters is no key: see `cutting`.
    """
    decode = codecs.getincrementaldecoder("utf-8")("replace").decode
    cutter = Cutter(MOST_KEY)
    for chunk in chunks:
        if not chunk and (key := cutter.quiet()):
            yield key
        for character in decode(chunk):
            if key := cutter.feed(character):
                yield key
    if key := cutter.quiet():
        yield key
