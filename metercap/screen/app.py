"""The app: it draws, listens and ends well.

A record wakes the screen at once; pictures are at most 30 a second, and only cells that changed are drawn again.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from pathlib import Path as FilePath
from typing import Any, ClassVar

import msgspec
from textual import events
from textual.app import App, ComposeResult
from textual.geometry import Region, Size

from metercap.clock import Now
from metercap.screen.canvas import Canvas
from metercap.screen.face import face, rings
from metercap.screen.inset import Inset
from metercap.screen.keyboard import PAGES, QUESTIONS, Act, Keyboard, Mode
from metercap.screen.model import Face, Line, Path, Place, Tone
from metercap.screen.observer import ScreenObserver
from metercap.screen.pages import SecondScreen, paint_help, paint_list, paint_second, pedal_view, quit_view
from metercap.screen.paint import Box, paint
from metercap.screen.ports import Controls, Hands, WordPort, sign_of
from metercap.screen.text import visible
from metercap.screen.theme import THEMES, Theme
from metercap.screen.widget import Board

FRAME_S = 1 / 30
"""Least real time between two pictures."""
BEAT_S = 0.5
"""How often the picture is looked at without any record: clocks run, marks fade."""
NOTICE_S = 2.0


class BenchApp(App[None], inherit_bindings=False):
    """The full screen. Ends when the session has ended and a key was pressed, or `linger_s` real seconds later."""

    ENABLE_COMMAND_PALETTE = False
    CSS: ClassVar[str] = "Screen { overflow: hidden; background: transparent; }"

    def __init__(
        self,
        observer: ScreenObserver,
        *,
        theme: Theme,
        words: WordPort | None = None,
        clock: Now | None = None,
        problem: Callable[[], str | None] = lambda: None,
        controls: Controls | None = None,
        hands: Hands | None = None,
        keyboard: Keyboard | None = None,
        learned: Callable[[str, str], None] = lambda key, word: None,
        linger_s: float = 30.0,
        second: SecondScreen | None = None,
        pictures: Sequence[FilePath] = (),
    ) -> None:
        super().__init__(ansi_color=theme.background is None)
        self.fault: BaseException | None = None
        self.gone = False
        """Whether the terminal went away."""
        self.painted: Callable[[float], None] | None = None
        """Called with the real time after each picture was handed to the terminal; for measuring."""
        self._observer = observer
        self._look = theme
        self._words = words
        self._clock = clock
        self._problem = problem
        self._controls = controls
        self._hands = hands
        self._keyboard = keyboard or Keyboard(hands=hands is not None, replay=controls is not None)
        self._learned = learned
        self._linger_s = linger_s
        self._second = second
        self._pictures = pictures
        self._inset: Inset | None = None
        self._box: Box | None = None
        self._board = Board(theme)
        self._scroll = 0
        self._seen = observer.view
        """The bench as it was when no page lay over it last."""
        self._notice_s = float("-inf")
        self._waking = False
        self._drawn_s = float("-inf")
        self._over_s: float | None = None
        self._loop_here: asyncio.AbstractEventLoop | None = None

    def compose(self) -> ComposeResult:
        """One widget, as large as the terminal."""
        yield self._board

    def on_mount(self) -> None:
        """Begin to listen to the records."""
        self._ground()
        self._loop_here = asyncio.get_running_loop()
        if self._pictures and hasattr(self._driver, "waiting"):
            self._inset = Inset(self._driver, self._pictures, self._wake, self._later)  # type: ignore[arg-type]
        self._observer.changed = self._wake
        self.set_interval(BEAT_S, self._beat)
        if self._over_s == float("-inf"):  # the session ended before there was a screen
            self.exit()
        self._draw()

    def on_unmount(self) -> None:
        """Let the session go on without a screen."""
        self._observer.changed = None
        if self._inset is not None:
            self._inset.close()

    def on_resize(self, event: events.Resize) -> None:
        """Draw anew in the new size."""
        if self._inset is not None:
            self._inset.resized(event.size.width, event.size.height)
        self._draw(event.size)

    # --- being woken

    def _wake(self) -> None:
        """Something changed; from any thread."""
        if not self._waking and self._loop_here is not None:
            self._waking = True
            try:
                self._loop_here.call_soon_threadsafe(self._due)
            except RuntimeError:  # the loop has ended; the session has not
                self._observer.changed = None

    def _due(self) -> None:
        wait_s = FRAME_S - (time.monotonic() - self._drawn_s)
        if wait_s > 0 and self._loop_here is not None:
            self._loop_here.call_later(wait_s, self._draw_in_app)
        else:
            self._draw_in_app()

    def _draw_in_app(self) -> None:
        with self._context():
            self._draw()

    def _beat(self) -> None:
        if self._over_s is not None and time.monotonic() - self._over_s > self._linger_s:
            self.exit()
        self._draw()

    def session_over(self, *, at_once: bool = False) -> None:
        """The session has ended: any key leaves now. From any thread."""
        self._over_s = float("-inf") if at_once else time.monotonic()
        self._keyboard.over = self._controls is None
        if self._loop_here is not None:
            try:
                self._loop_here.call_soon_threadsafe(self._leave if at_once else self._due)
            except RuntimeError:
                return

    def _leave(self) -> None:
        with self._context():
            self.exit()

    # --- drawing

    def _ground(self) -> None:
        self.screen.styles.background = self._look.background or "ansi_default"

    def _draw(self, size: Size | None = None) -> None:
        self._waking = False
        if getattr(self._driver, "still", False):
            return  # the newest picture is drawn when the terminal moves again
        try:
            if self._observer.view.broken:
                raise RuntimeError(self._observer.view.broken)
            area = size or self.size
            if getattr(self._driver, "torn", False):
                self._driver.torn = False  # type: ignore[union-attr]
                self.screen.refresh()
                self._board.refresh()
            self._box = None
            self._board.show(self._picture(area.width, area.height), self._look)
            self._place()
            self._drawn_s = time.monotonic()
        except Exception as error:
            self._fail(error)
            return
        if self.painted is not None:
            self.call_after_refresh(self._tell_painted)

    def _tell_painted(self) -> None:
        if self.painted is not None:
            self.painted(time.monotonic())

    def _picture(self, columns: int, rows: int) -> Canvas:
        keyboard = self._keyboard
        self._look_up()
        if keyboard.mode is Mode.HELP:
            return paint_help(columns, rows, keyboard.help_rows(), self._scroll)
        if keyboard.mode is Mode.LIST:
            return paint_list(columns, rows, self._observer.view, self._scroll)
        if keyboard.mode is Mode.PAGE and self._second is not None:
            return paint_second(columns, rows, self._second, light=self._look.name == "light")
        now_s = self._clock.now_s() if self._clock is not None else None
        shown = face(self._observer.view, now_s=now_s, problem=self._problem() or "")
        if keyboard.mode is Mode.QUIT:
            shown = quit_view(shown, _open_items(shown))
        elif keyboard.mode in (Mode.PEDAL, Mode.PEDAL_WORD):
            shown = pedal_view(shown, keyboard.mode is Mode.PEDAL_WORD)
        elif keyboard.notice and time.monotonic() - self._notice_s < NOTICE_S and not shown.alarm:
            shown = msgspec.structs.replace(shown, next=Line(keyboard.notice, Tone.UNSURE))
        if self._second is not None:
            shown = msgspec.structs.replace(shown, status=(*shown.status, Line(f"page {self._second.url}", Tone.QUIET)))
        if self._controls is not None:
            status = (Line(self._controls.status, Tone.PLAIN), *shown.status)
            words = ("pause", "step", "before", "next", "slower", "faster", "quit")
            shown = msgspec.structs.replace(shown, status=status, words=words)
        keys = keyboard.keys
        if self._hands is not None:
            offers = self._hands.offers if keyboard.mode is Mode.WORDS else ()
            status = (Line(self._hands.status, Tone.PLAIN), *shown.status)
            shown = msgspec.structs.replace(shown, status=status, words=(*(does for _, does in offers), *shown.words))
            keys = keys | {does: sign_of(move) for move, does in offers}
        if self._inset is not None:
            board = self._observer.view.board
            if why := self._inset.why(board):
                status = (Line(f"picture: {visible(why)}", Tone.UNSURE), *shown.status)
                shown = msgspec.structs.replace(shown, status=status)
            self._box = self._inset.room(shown, board, columns, rows)
        return paint(shown, columns, rows, keys, keyboard.entry, self._box)

    # --- the board's picture

    def answered(self, key: str) -> None:
        """The terminal has answered a question."""
        if self._inset is not None:
            self._inset.hear(key)

    def _place(self) -> None:
        if self._inset is None:
            return
        gone = self._inset.show(self._observer.view.board, self._box, grey=self._look.background is None)
        if gone is not None:
            self._board.refresh(Region(gone.x, gone.y, gone.columns, gone.rows))
        if self._inset.unsent:
            self.call_after_refresh(self._inset.send)

    def _later(self, wait_s: float, act: Callable[[], None]) -> None:
        if self._loop_here is not None:
            self._loop_here.call_later(wait_s, act)

    def _display(self, screen: Any, renderable: Any) -> None:
        """The library shows letters: the rows of the picture that it wrote over come after them."""
        super()._display(screen, renderable)
        if self._inset is not None:
            self._inset.painted(renderable)
            self._inset.send()

    def _look_up(self) -> None:
        """Take away what lies over the bench: a page when tips touch something, a link goes, or an alarm stands; a
        question when a link goes or an alarm begins."""
        view, mode = self._observer.view, self._keyboard.mode
        if mode not in PAGES and mode not in QUESTIONS:
            self._seen = view
            return
        page, rang = mode in PAGES, rings(self._seen)
        touched = page and view.touch is not None and view.touch != self._seen.touch
        unheard = view.link is not None and self._seen.link is None
        if touched or unheard or (rings(view) and (page or not rang)):
            self._keyboard.come_back()
            self._seen = view

    # --- keys

    def on_key(self, event: events.Key) -> None:
        """Take a key; what it means is the keyboard's."""
        event.stop()
        event.prevent_default()
        name = event.character if event.character and event.character.isprintable() else event.key
        try:
            act = self._keyboard.press(name, time.monotonic())
            if self._keyboard.notice:
                self._notice_s = time.monotonic()
            if act is not None:
                self._do(act)
            if self._keyboard.mode is not Mode.HELP:
                self._scroll = 0
        except Exception as error:
            self._fail(error)
            return
        self._wake()

    def _do(self, act: Act) -> None:
        if act.kind == "word" and self._words is not None:
            self._words.put_word(act.name, act.text, self._now_s(), act.source)
        elif act.kind == "stop":
            self._stop()
        elif act.kind == "leave":
            self.exit()
        elif act.kind == "theme":
            names = list(THEMES)
            self._look = THEMES[names[(names.index(self._look.name) + 1) % len(names)]]
            self.ansi_color = self._look.background is None
            self._ground()
        elif act.kind == "scroll":
            self._scroll = max(0, self._scroll + int(act.text))
        elif act.kind == "pedal":
            self._learned(act.name, act.text)
        elif act.kind == "hand" and self._hands is not None:
            self._keyboard.notice = self._hands.move(act.name)
            self._notice_s = time.monotonic()
        elif act.kind == "player" and self._controls is not None:
            _steer(self._controls, act.name)

    def _stop(self) -> None:
        """Ctrl-C: what SIGINT does outside a full screen."""
        if self._words is not None and self._over_s is None:
            self._words.put_stop(2)
        else:
            self.exit()

    def _now_s(self) -> float:
        return self._clock.now_s() if self._clock is not None else self._observer.view.t_s

    def _fail(self, error: Exception) -> None:
        """Something in the picture broke: leave the terminal as it was found; whoever ran us goes on without it."""
        self.fault = self.fault or error
        self._observer.changed = None
        self.exit()

    def _handle_exception(self, error: Exception) -> None:
        """The library's own last resort: as `_fail`, with no traceback over the technician's screen."""
        self.fault = self.fault or error
        self._observer.changed = None
        self._return_code = 1
        if self._exception is None:  # what the library's pilot looks at
            self._exception = error
            self._exception_event.set()
        self._close_messages_no_wait()

    def terminal_gone(self) -> None:
        """Nobody looks any more: leave; the session goes on to its own end."""
        self.gone = True
        self._observer.changed = None
        with self._context():
            self.exit()


def _steer(controls: Controls, name: str) -> None:
    if name == "pause":
        controls.pause()
    elif name == "step":
        controls.step()
    elif name in ("faster", "slower"):
        controls.faster(2.0 if name == "faster" else 0.5)
    else:
        controls.jump(1 if name == "next" else -1)


def _open_items(shown: Face) -> int:
    if not isinstance(shown.ground, Path):
        return 0
    return sum(stone.place in (Place.AHEAD, Place.HERE, Place.SKIPPED) for stone in shown.ground.stones)
