"""The operator's words: what each is called, its key, what it does, and how a line says it."""

from __future__ import annotations

import msgspec

from metercap.errors import UsageError
from metercap.spelling import nearest

MOST_TEXT = 500
"""Characters in a word's argument; longer ones are refused, not cut."""


class Word(msgspec.Struct, frozen=True):
    """A word: its `key` in a terminal, what it does, and what it takes (`ITEM`, `NAME`, `TEXT`, `N`, or nothing).

    `N` is a whole number from 1 on; what stands in brackets may be left out. Words that put aside more than one item
    have a key that needs shift.
    """

    name: str
    key: str
    does: str
    takes: str = ""

    @property
    def optional(self) -> bool:
        """True where what it takes may be left out."""
        return self.takes.startswith("[")


WORDS = (
    Word("yes", "y", "it is so; go on"),
    Word("no", "n", "it is not so"),
    Word("open", "o", "this item is open: no path"),
    Word("skip", "s", "leave this item for the second look"),
    Word("skip step", "S", "leave the rest of this step"),
    Word("absent", "a", "this unit has no such item"),
    Word("back", "b", "open the last item again"),
    Word("again", "r", "repeat: measure this item afresh"),
    Word("at", "@", "go to an item, of another step too: STEP/ITEM", "ITEM"),
    Word("to", "t", "leave this step for another; it comes back", "STEP"),
    Word("pass", "p", "this one passed"),
    Word("fail", "f", "this one failed"),
    Word("missed", "m", "so many presses showed nothing", "N"),
    Word("fixed", "k", "a fix was made: what was done", "TEXT"),
    Word("replaced", "c", "a new part is in: measure it", "[NAME]"),
    Word("target", "v", "where no reference is known: what to turn to", "VALUE"),
    Word("good", "g", "this unit is good for this step: its values serve as reference"),
    Word("accept", "e", "leave a verdict as it is, and say why", "ITEM TEXT"),
    Word("waive", "W", "measure ohms though the unit is not proved dead, and say why", "TEXT"),
    Word("undo", "u", "take the last turn back to as found"),
    Word("take", "U", "park this unit and take another of the job", "TAG"),
    Word("probe", "+", "measure something that is not in the plan", "NAME"),
    Word("say", " ", "say the last value and where we are"),
    Word("clap", "l", "a mark for the film: said while a hand claps before the camera"),
    Word("symptom", "w", "what is wrong with the unit: what is proposed first rests on it", "[TEXT]"),
    Word("name", "=", "name the unit on the mat", "TEXT"),
    Word("note", "#", "write a remark into the journal", "TEXT"),
    Word("quit", "Q", "end the session; what is not done stays so"),
)
HELP_KEY = "?"

_BY_NAME = {word.name: word for word in WORDS}
_KEY_NAMES = {" ": "space", "\r": "enter", "\n": "enter", "\t": "tab", "\x1b": "escape"}


def parse_line(line: str) -> tuple[str, str]:
    """Return the word and its argument that a line says. UsageError, with the nearest word, when it says none.

    Case and spaces around do not matter: `  Skip  STEP ` is ("skip step", ""), `at f3` is ("at", "f3").
    """
    line = line.strip()
    parts = line.split(None, 2)
    if not parts:
        raise UsageError("an empty line is no word", hint=", ".join(_BY_NAME))
    head = parts[0].casefold()
    pair = " ".join(parts[:2]).casefold()
    if len(parts) >= 2 and pair in _BY_NAME:
        name, text = pair, parts[2] if len(parts) > 2 else ""
    else:
        name, text = head, line[len(parts[0]) :].strip()
    word = _BY_NAME.get(name)
    if word is None:
        close = nearest(line, _BY_NAME) or nearest(head, _BY_NAME)
        raise UsageError(f"{line[:40]!a} is no word", hint=close or ", ".join(_BY_NAME))
    if word.takes and not text and not word.optional:
        raise UsageError(f"{word.name} needs its {word.takes}", hint=f"{word.name} {word.takes}")
    if text and not word.takes:
        raise UsageError(f"{word.name} stands alone, without {text[:40]!a}", hint=word.name)
    if word.takes == "N" and not (text.isascii() and text.isdecimal() and 1 <= len(text) <= 3 and int(text) > 0):
        raise UsageError(f"{word.name} needs a whole number, and not {text[:40]!a}", hint=f"{word.name} 2")
    if len(text) > MOST_TEXT:
        raise UsageError(f"more than {MOST_TEXT} characters after {word.name}", hint="several notes")
    return word.name, text


def key_table(changes: dict[str, str] | None = None) -> dict[str, Word]:
    """Return the word of each key, with `changes` (word name to key) made to the table above.

    A key may be what a pedal types, an escape sequence included. UsageError for an unknown word or a key taken twice.
    """
    keys = {word.name: word.key for word in WORDS}
    for name, key in (changes or {}).items():
        if name not in keys:
            raise UsageError(f"{name!a} is no word", hint=nearest(name, keys) or ", ".join(keys))
        keys[name] = key
    table: dict[str, Word] = {}
    for name, key in keys.items():
        if not key or key == HELP_KEY or key in table:
            other = table[key].name if key in table else "help"
            raise UsageError(f"key {key_name(key)} for {name} is already {other}", hint="another key")
        table[key] = _BY_NAME[name]
    return table


def key_name(key: str) -> str:
    """Return how a key is shown: itself, or its name when it prints nothing."""
    return _KEY_NAMES.get(key, key if key.isprintable() and key else ascii(key)[1:-1])


def help_lines(table: dict[str, Word] | None = None) -> list[str]:
    """Return one line for each word: its key, itself and its argument, what it does."""
    rows = [
        (key_name(key), f"{word.name} {word.takes}".strip(), word.does) for key, word in (table or key_table()).items()
    ]
    return [f"{key:>6}  {name:<15} {does}" for key, name, does in rows]
