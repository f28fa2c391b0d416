"""The first screen: what is plugged in, what it reads now, what was open last, and what can be done, each by one key.

`paint_start` draws it; `StartApp` shows it, takes one key and ends with what that key chose.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

import msgspec
from textual import events
from textual.app import App, ComposeResult

from metercap.screen.canvas import Canvas, Ink
from metercap.screen.lettering import draw, fit_rows
from metercap.screen.text import wrapped
from metercap.screen.theme import Theme
from metercap.screen.widget import Board

BEAT_S = 0.25
MARGIN = 2


class Choice(msgspec.Struct, frozen=True):
    """One thing to do: its key, what it is called, and what it does."""

    key: str
    name: str
    does: str


class Plugged(msgspec.Struct, frozen=True):
    """What is known of the meter: `shown` is its value as displayed, empty without one; `told` says the rest."""

    shown: str = ""
    told: str = ""
    well: bool = True


def paint_start(columns: int, rows: int, plugged: Plugged, last: str, choices: tuple[Choice, ...]) -> Canvas:
    """Draw the first screen: the meter's value as large as there is room for, what was last, and the keys."""
    canvas = Canvas(max(1, columns), max(1, rows))
    canvas.text(0, 0, " metercap ", Ink.LABEL)
    canvas.text(11, 0, "ready", Ink.QUIET)
    keys = len(choices)
    below = keys + 2 + (2 if last else 0)
    room = rows - 2 - below - 2
    shown = plugged.shown or "--"
    height = fit_rows(shown, columns - 2 * MARGIN, max(3, min(room, 14)))
    y = 2
    if room >= 3:
        ink = Ink.STRONG if plugged.shown else Ink.QUIET
        canvas.letters(MARGIN, y, draw(shown, height), ink)
        y += height + 1
    else:
        canvas.text(MARGIN, y, shown, Ink.STRONG)
        y += 1
    for line in wrapped(plugged.told, columns - 2 * MARGIN, 2):
        canvas.text(MARGIN, y, line, Ink.TEXT if plugged.well else Ink.UNSURE)
        y += 1
    if last:
        canvas.text(MARGIN, rows - keys - 3, last, Ink.QUIET)
    for n, choice in enumerate(choices):
        at = rows - keys - 1 + n
        canvas.text(MARGIN, at, f" {choice.key} ", Ink.LABEL)
        canvas.text(MARGIN + 5, at, choice.name, Ink.STRONG)
        canvas.text(MARGIN + 18, at, choice.does, Ink.TEXT)
    return canvas


class StartApp(App[str], inherit_bindings=False):
    """Shows the first screen until a key; its result is the key. `look` gives what is plugged in now."""

    ENABLE_COMMAND_PALETTE = False
    CSS: ClassVar[str] = "Screen { overflow: hidden; background: transparent; }"

    def __init__(self, look: Callable[[], Plugged], last: str, choices: tuple[Choice, ...], *, theme: Theme) -> None:
        super().__init__(ansi_color=theme.background is None)
        self._ask = look
        self._last = last
        self._choices = choices
        self._theme_used = theme
        self._board = Board(theme)

    def compose(self) -> ComposeResult:
        """One board."""
        yield self._board

    def on_mount(self) -> None:
        """Draw now, and then at every beat."""
        self._draw()
        self.set_interval(BEAT_S, self._draw)

    def on_resize(self, event: events.Resize) -> None:
        """Draw for the new size."""
        self._draw()

    def on_key(self, event: events.Key) -> None:
        """A choice's key, or the way out."""
        event.stop()
        key = event.character or ""
        if event.key in ("ctrl+c", "escape") or key in ("q", "Q"):
            self.exit("q")
        elif key.lower() in [choice.key for choice in self._choices]:
            self.exit(key.lower())

    def _draw(self) -> None:
        size = self.size
        canvas = paint_start(size.width, size.height, self._ask(), self._last, self._choices)
        self._board.show(canvas, self._theme_used)
