"""Teller: an observer that tells a server process what there is to see, and passes on the words that come back.

The loop only leaves the newest view here; everything else happens in a thread of its own, and a pipe that takes nothing
holds up that thread alone: views are whole, so what it cannot take is left out. When the server dies the session does
not notice, and another one is started on the same socket; pages come back by themselves.
"""

from __future__ import annotations

import base64
import contextlib
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from socket import socket
from typing import IO, Protocol, runtime_checkable

import msgspec

from metercap.clock import Now
from metercap.gate import visible
from metercap.records import Cue, Record
from metercap.view import View
from metercap.web.address import Address
from metercap.web.glance import glance
from metercap.web.talk import BEAT, GLANCE, MORE, OVER, READ_BACK, Begin, Kept, PictureFile, Pictures, Tap, Word
from metercap.words import WordSink

BEAT_S = 0.25
"""How often something is told at least; a page that hears nothing for a second says so."""
APART_S = 0.03
"""At most some thirty glances a second: no eye takes in more, and a replay may give thousands."""
TRIES = 3
"""So often in a row a server may die young; then there is no second screen any more."""
AGAIN_S = 1.0
OLD_S = 60.0
CLOSE_S = 0.5
"""Longest wait for the pages' goodbye at the end; the session is over then, and its journal closed."""


@runtime_checkable
class PageSink(Protocol):
    """Where words from a page go."""

    def put_from_page(self, word: str, prompt: int, t_s: float) -> None:
        """Take a word that was said on a page to the prompt of that number."""
        ...

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        """Take a word and its argument."""
        ...


Tapped = Callable[[View, int, float, float, float, float], object]
"""Takes a tap: the newest view, the picture's number, x and y in fractions of it, its width and height."""


class Teller:
    """An observer and a source of words for `live.Live`; also of use alone, with `look` and `clock` set.

    `folders` is where the plan's pictures are looked for, `photos` where photographs go, `problem` what the journal
    cannot do at the moment.
    """

    def __init__(
        self,
        sock: socket,
        address: Address,
        *,
        words: bool = False,
        photos: Path | None = None,
        folders: Sequence[Path] = (),
        problem: Callable[[], str | None] = lambda: None,
    ) -> None:
        self.clock: Now | None = None
        self.tapped: Tapped | None = None
        """What takes taps on the board's picture, where pages may say words; set before `begin`."""
        self.problem = problem
        self.folders = tuple(folders)
        self._sock = sock
        self._begin = Begin(address, words=words, photos="" if photos is None else str(photos))
        self._view, self._at_s = View(), 0.0
        self._news = threading.Event()
        self._over = threading.Event()
        self._sink: PageSink | None = None
        self._child: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._run, name="second screen", daemon=True)

    def begin(self) -> None:
        """Start the server, and tell it from now on."""
        self._thread.start()

    # --- Looker

    def look(self, view: View) -> None:
        """Take the newest view."""
        self._at_s = 0.0 if self.clock is None else self.clock.now_s()
        self._view = view
        self._news.set()

    def see(self, record: Record, line: bytes) -> None:
        """All that a record says is in the view that came before it."""

    def urgent(self, record: Cue) -> None:
        """A hazard's view comes before it as well."""

    # --- WordSource

    def start(self, sink: WordSink, clock: Now) -> None:
        """Pass words on from now on."""
        self._sink, self.clock = sink if isinstance(sink, PageSink) else None, clock

    def stop(self) -> None:
        """Pass on no word any more; the page stays until `close`."""
        self._sink = None

    # --- the end

    def close(self) -> None:
        """Tell the pages that it is over, and end the server."""
        self._over.set()
        self._news.set()
        if self._thread.ident is not None:
            self._thread.join(2 * CLOSE_S)
            child = self._child
            if child is not None and child.poll() is None:
                child.kill()  # a pipe that nobody reads still holds the thread; this frees it
                self._thread.join(CLOSE_S)
        self._sock.close()

    # --- the thread

    def _run(self) -> None:
        young = 0
        while young < TRIES:
            began_s = time.monotonic()
            with contextlib.suppress(OSError, ValueError):
                self._serve()
            self._end_child()
            if self._over.wait(AGAIN_S):
                return
            young = young + 1 if time.monotonic() - began_s < OLD_S else 0
        self._sock.close()  # who calls now is refused at once, and not left waiting

    def _serve(self) -> None:
        pipe = self._spawn()
        told: View | None = None
        last, pictures = b"", None
        last_s = 0.0
        while not self._over.is_set():
            if not self._news.wait(BEAT_S):
                told = None  # clocks run on in it
            elif (rest_s := last_s + APART_S - time.monotonic()) > 0:
                self._over.wait(rest_s)
            self._news.clear()
            view = self._view
            if (named := _pictures(view)) is not None and named != pictures:
                pictures = named
                folders = tuple(str(folder) for folder in self.folders)
                _write(pipe, MORE + msgspec.json.encode(Pictures(named, folders)))
            if view is told:
                continue
            told, last_s = view, time.monotonic()
            now_s = None if self.clock is None else view.t_s + max(0.0, self.clock.now_s() - self._at_s)
            line = GLANCE + self._drawn(view, now_s)
            _write(pipe, BEAT if line == last else line)
            last = line
        _write(pipe, GLANCE + self._drawn(self._view, None))
        _write(pipe, OVER)

    def _drawn(self, view: View, now_s: float | None) -> bytes:
        return msgspec.json.encode(
            glance(view, now_s=now_s, problem=self.problem() or "", words=self._begin.words and self._sink is not None)
        )

    def _spawn(self) -> IO[bytes]:
        shares = hasattr(self._sock, "share")  # where a socket is no file that a process can inherit
        fds = [] if shares else [self._sock.fileno()]
        self._child = child = subprocess.Popen(
            [sys.executable, "-m", "metercap.web.second"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            pass_fds=fds,
            start_new_session=not shares,  # a Ctrl-C is the session's to heed; the server ends with its pipe
        )
        assert child.stdin is not None
        begin = self._begin
        if shares:
            given = self._sock.share(child.pid)  # type: ignore[attr-defined]
            begin = msgspec.structs.replace(begin, share=base64.b64encode(given).decode())
        else:
            begin = msgspec.structs.replace(begin, fd=fds[0])
        begin = msgspec.structs.replace(begin, taps=begin.words and self.tapped is not None)
        threading.Thread(target=self._hear, args=(child,), name="page words", daemon=True).start()
        _write(child.stdin, MORE + msgspec.json.encode(begin))
        return child.stdin

    def _end_child(self) -> None:
        child = self._child
        if child is None:
            return
        with contextlib.suppress(OSError):
            if child.stdin is not None:
                child.stdin.close()
        try:
            child.wait(CLOSE_S)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()

    def _hear(self, child: subprocess.Popen[bytes]) -> None:
        assert child.stdout is not None
        with child.stdout:
            for line in child.stdout:
                sink, clock = self._sink, self.clock
                if sink is None or clock is None:
                    continue
                try:
                    said = READ_BACK.decode(line)
                except msgspec.DecodeError:
                    continue
                if isinstance(said, Word):
                    sink.put_from_page(said.word, said.prompt, clock.now_s())
                elif isinstance(said, Tap):
                    if self.tapped is not None and self._begin.words:
                        self.tapped(self._view, said.picture, said.x, said.y, said.width, said.height)
                elif isinstance(said, Kept):
                    sink.put_word("note", f"photograph {said.name}", clock.now_s(), "page")


def _write(pipe: IO[bytes], line: bytes) -> None:
    pipe.write(line + b"\n")
    pipe.flush()


def _pictures(view: View) -> tuple[PictureFile, ...] | None:
    """Which pictures the plan has; None where no plan is known yet, or it has none."""
    if view.board is None:
        return None
    return tuple(
        PictureFile(each.file, each.sha256, visible(each.side), visible(each.title)) for each in view.board.pictures
    )
