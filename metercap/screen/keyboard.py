"""What a key means: pure, so that it can be tested without a terminal.

A keyboard is in one of a few modes: plain words, typing an argument, asking whether to quit, help, learning a pedal.
Each key gives an act, or a notice to show, or nothing. Pedals type keys, so a pedal is nothing special once it is
learned.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum

import msgspec

from metercap.errors import UsageError
from metercap.screen.ports import HAND_KEYS, HAND_SIGNS, PLAYER_KEYS
from metercap.screen.text import visible
from metercap.words import HELP_KEY, NO_STOPPING, Word, key_name, key_table, parse_line
from metercap.words.listen import REPEAT_S
from metercap.words.vocabulary import MOST_TEXT

PEDAL_KEY = "P"
"""Starts learning a pedal."""
THEME_KEY = "T"
"""Goes to the next theme: dark, light, plain."""
HELD_S = 2.0
"""No key is held down for so long by accident: at the session's end it leaves, where it was pressed all the time."""

LIST_KEY = "L"
"""Shows what is open, step by step."""


PAGE_KEY = "B"
"""Shows where the second screen is."""


class Mode(Enum):
    """What the next key is for."""

    WORDS = "words"
    TYPING = "typing"
    QUIT = "quit"
    HELP = "help"
    LIST = "list"
    PAGE = "page"
    PEDAL = "pedal"
    PEDAL_WORD = "pedal word"


PAGES = (Mode.HELP, Mode.LIST, Mode.PAGE)
"""What lies over the moment of the bench, until a key, or until the bench calls."""
QUESTIONS = (Mode.QUIT, Mode.PEDAL, Mode.PEDAL_WORD)
"""What asks in place of the bench's answer, until a key, or until something rings that did not when it was asked."""


class Act(msgspec.Struct, frozen=True):
    """What to do: `kind` is word, hand, player, stop, theme, scroll, pedal or leave; `name` and `text` say which,
    `source` whether a key or a learned pedal said it."""

    kind: str
    name: str = ""
    text: str = ""
    source: str = "key"


class Keyboard:
    """Turns keys into acts. `mode`, `typed` and `notice` are what the screen shows of it.

    `pedals` maps keys learned before to words. With `hands` the arrow keys and a few more move virtual hands; in a
    `replay` the player's keys replace the words. `paged`: there is a second screen, and `scanned`: its address, which
    has to be scanned, comes first.
    """

    def __init__(
        self,
        *,
        pedals: Mapping[str, str] | None = None,
        hands: bool = False,
        replay: bool = False,
        paged: bool = False,
        scanned: bool = False,
    ) -> None:
        self.mode = Mode.PAGE if scanned else Mode.WORDS
        self.paged = paged
        self.typing: Word | None = None
        self.typed = ""
        self.notice = ""
        self.over = False
        """Set when the session has ended: any key leaves."""
        self._table = key_table()
        self._pedals = dict(pedals or {})
        self._hands = hands
        self._replay = replay
        self._pedal = ""
        self._last = ("", float("-inf"))
        self._run_s = float("-inf")
        """When the last key was pressed first, of the presses that followed each other as its repeats do."""

    @property
    def keys(self) -> dict[str, str]:
        """Return the key of each word, as it is shown."""
        if self._replay:
            return {name: key_name(key) for key, (name, _) in PLAYER_KEYS.items()}
        return {word.name: key_name(key) for key, word in self._table.items()}

    def press(self, key: str, now_s: float) -> Act | None:
        """Take a key (a character, or a name such as "left" or "f13") pressed at real time `now_s`."""
        self.notice = ""
        last, last_s = self._last
        self._last = (key, now_s)
        repeated = key == last and now_s - last_s < REPEAT_S
        if not repeated:
            self._run_s = now_s
        if key == "ctrl+c":
            return Act("stop")
        if key == "ctrl+z":
            self.notice = NO_STOPPING
            return None
        if self.mode is Mode.TYPING:
            return self._type(key)
        if self._hands and key in HAND_KEYS and self.mode is Mode.WORDS and not self.over:
            return Act("hand", HAND_KEYS[key][0])
        listed = self.mode in PAGES
        if repeated and not self._replay and not listed and not self._insists(now_s):
            return None
        return _MODES[self.mode](self, key)

    def _insists(self, now_s: float) -> bool:
        """Whether somebody presses a key again and again, and only wants to leave: begun before the end, each press of
        it is a repeat of the one before."""
        return self.over and now_s - self._run_s > HELD_S

    # --- one method a mode

    def _words(self, key: str) -> Act | None:
        if self.over:
            return Act("leave")
        if key in (HELP_KEY, "f1"):
            self.mode = Mode.HELP
            return None
        if key == LIST_KEY:
            self.mode = Mode.LIST
            return None
        if key == PAGE_KEY and self.paged:
            self.mode = Mode.PAGE
            return None
        if key in ("ctrl+q", "escape"):
            self.mode = Mode.QUIT if key == "ctrl+q" else Mode.WORDS
            return None
        if key == THEME_KEY:
            return Act("theme")
        if self._replay:
            move = PLAYER_KEYS.get(key)
            if move is not None:
                return Act("leave") if move[0] == "quit" else Act("player", move[0])
            self.notice = f"key {visible(key_name(key))} does nothing here; {HELP_KEY} shows the keys"
            return None
        if key == PEDAL_KEY:
            self.mode = Mode.PEDAL
            return None
        word = self._word(key)
        if word is None:
            self.notice = f"key {visible(key_name(key))} is no word; {HELP_KEY} shows the keys"
            return None
        if word.name == "quit":
            self.mode = Mode.QUIT
            return None
        if word.takes:
            self.mode, self.typing, self.typed = Mode.TYPING, word, ""
            return None
        return Act("word", word.name, source="pedal" if key in self._pedals else "key")

    def _word(self, key: str) -> Word | None:
        name = self._pedals.get(key)
        if name is not None:
            return next((word for word in self._table.values() if word.name == name), None)
        return self._table.get(key)

    def _quit(self, key: str) -> Act | None:
        self.mode = Mode.WORDS
        if key in ("y", "Q", "enter"):
            return Act("leave") if self._replay else Act("word", "quit")
        self.notice = "not quit; the session goes on"
        return None

    def _help(self, key: str) -> Act | None:
        step = {"down": 1, "up": -1, "pagedown": 10, "pageup": -10, " ": 10}.get(key)
        if step is not None:
            return Act("scroll", text=str(step))
        self.mode = Mode.WORDS
        if self._word(key) is not None and not self._replay:  # nobody saw what it would have answered
            self.notice = f"key {visible(key_name(key))} closed the page; press it again to say its word"
        return None

    def come_back(self) -> None:
        """The bench calls: whatever page or question lies over it goes."""
        if self.mode in (*PAGES, *QUESTIONS):
            self.mode = Mode.WORDS

    def _press_pedal(self, key: str) -> Act | None:
        self.mode = Mode.WORDS
        if key == "escape":
            return None
        if key in (HELP_KEY, PEDAL_KEY, THEME_KEY, LIST_KEY, PAGE_KEY):
            self.notice = f"{key_name(key)} is one of the screen's own keys; a pedal cannot type it"
            return None
        self._pedal, self.mode = key, Mode.PEDAL_WORD
        return None

    def _pedal_word(self, key: str) -> Act | None:
        self.mode = Mode.WORDS
        word = self._table.get(key)
        if key == "escape" or word is None or word.takes:
            self.notice = "no pedal was learned"
            return None
        self._pedals[self._pedal] = word.name
        self.notice = f"the pedal says {word.name}"
        return Act("pedal", self._pedal, word.name)

    def _type(self, key: str) -> Act | None:
        word = self.typing
        assert word is not None
        if key in ("enter", "\r", "\n"):
            self.mode = Mode.WORDS
            self._last = ("", float("-inf"))
            try:
                name, text = parse_line(f"{word.name} {self.typed}")
            except UsageError as error:
                self.notice = error.what
                return None
            return Act("word", name, text)
        if key == "escape":
            self.mode = Mode.WORDS
            self.notice = f"{word.name} dropped"
        elif key == "backspace":
            self.typed = self.typed[:-1]
        elif len(key) == 1 and key.isprintable() and len(self.typed) < MOST_TEXT:
            self.typed += key
        return None

    # --- what the screen shows

    @property
    def entry(self) -> str:
        """Return the line being typed, or empty."""
        if self.mode is not Mode.TYPING or self.typing is None:
            return ""
        return f"{self.typing.name}: {visible(self.typed)}▏  enter says it, escape drops it"

    def help_rows(self) -> list[tuple[str, str, str]]:
        """Return key, name and meaning of everything that can be pressed."""
        if self._replay:
            rows = [(key_name(key), name, does) for key, (name, does) in PLAYER_KEYS.items()]
        else:
            rows = [
                (key_name(key), f"{word.name} {word.takes}".strip(), word.does) for key, word in self._table.items()
            ]
            rows += [(key_name(key), name, "learned pedal") for key, name in self._pedals.items()]
            rows.append((PEDAL_KEY, "pedal", "learn a pedal: press it, then the key of its word"))
        if self._hands:
            rows = [*((HAND_SIGNS.get(key, key), name, does) for key, (name, does) in HAND_KEYS.items()), *rows]
        rows.append((LIST_KEY, "list", "every step, and what is open in it"))
        if self.paged:
            rows.append((PAGE_KEY, "page", "where the second screen is"))
        return [*rows, (THEME_KEY, "theme", "dark, light, or no colour"), (HELP_KEY, "help", "this page")]


_MODES = {
    Mode.WORDS: Keyboard._words,
    Mode.QUIT: Keyboard._quit,
    Mode.HELP: Keyboard._help,
    Mode.LIST: Keyboard._help,
    Mode.PAGE: Keyboard._help,
    Mode.PEDAL: Keyboard._press_pedal,
    Mode.PEDAL_WORD: Keyboard._pedal_word,
}
