"""What the screen needs from the rest of the house, as shapes: it is handed these and imports none of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from metercap.view import View


class Looks(Protocol):
    """Somebody who sees views."""

    def look(self, view: View) -> None:
        """Take the newest view."""
        ...


class Runner(Protocol):
    """A session, live or replayed, that runs in a thread of its own."""

    def run(self) -> str:
        """Run to the end and return why it ended."""
        ...


class WordPort(Protocol):
    """Where words and the wish to end go; safe from any thread."""

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        """Take a word and its argument, said at session time `t_s` by a key or a pedal."""
        ...

    def put_stop(self, signal: int) -> None:
        """Take the wish to end."""
        ...


class Controls(Protocol):
    """A replay that can be steered."""

    @property
    def status(self) -> str:
        """Return speed, or that it is paused or at its end, in a few words."""
        ...

    def pause(self) -> None:
        """Stop the time, or let it go on."""
        ...

    def step(self) -> None:
        """Pause, and show one event more with all that came of it."""
        ...

    def faster(self, factor: float) -> None:
        """Multiply the speed by `factor`."""
        ...

    def jump(self, verdicts: int) -> None:
        """Go to the verdict so many further on (negative: back) and pause there."""
        ...


class Hands(Protocol):
    """Virtual hands on a practice bench; a move is one of the names in `HAND_KEYS`."""

    @property
    def status(self) -> str:
        """Return where the tips are and what the other hand does, in a few words."""
        ...

    @property
    def offers(self) -> Sequence[tuple[str, str]]:
        """Return the moves that mean something now, the likeliest first, each with what it would do."""
        ...

    def move(self, move: str) -> str:
        """Do it now; return what was felt or seen, or why it cannot be done, or nothing."""
        ...


HAND_KEYS = {
    "up": ("touch", "touch the item that is asked for"),
    "down": ("lift", "lift both tips"),
    "tab": ("touch next", "slip to the item after it"),
    "enter": ("short", "hold the tips together"),
    "right": ("turn up", "turn the trimmer up a little"),
    "left": ("turn down", "turn the trimmer down a little"),
    "shift+right": ("turn up far", "turn the trimmer up a lot"),
    "shift+left": ("turn down far", "turn the trimmer down a lot"),
    "pageup": ("press", "press the switch, flex the cable, put the load on, start the unit"),
    "pagedown": ("release", "let go of it, take the load off"),
    "d": ("dial", "turn the meter's dial as it is asked for; HOLD and REL go off"),
    "x": ("swap", "swap the tips, red for black"),
}
"""Key, move and what it does, for practice by hand. None of them is a word's key."""

HAND_SIGNS = {
    "up": "↑", "down": "↓", "left": "←", "right": "→", "shift+left": "⇧←", "shift+right": "⇧→",
    "pageup": "PgUp", "pagedown": "PgDn",
}  # fmt: skip
"""How those keys are shown where their names would be long."""


def sign_of(move: str) -> str:
    """Return the key of a move as it is shown."""
    key = next(key for key, (name, _) in HAND_KEYS.items() if name == move)
    return HAND_SIGNS.get(key, key)


PLAYER_KEYS = {
    "h": ("pause", "hold the time, or let it go on"),
    "e": ("step", "one event more"),
    "+": ("faster", "double the speed"),
    "-": ("slower", "halve the speed"),
    "v": ("next", "jump to the next verdict"),
    "V": ("before", "jump to the verdict before"),
    "Q": ("quit", "leave the replay"),
}
"""Keys of a replay, where there is nobody to say a word."""
