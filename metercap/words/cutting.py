"""Cutting what a terminal sends into keys. Pure: characters in, keys out.

A terminal sends more than keys: answers, reports, pastes. Cut in the wrong place, their letters would be words.
"""

from __future__ import annotations

ESCAPE = "\x1b"
INTERRUPT = "\x03"
REPORT = "\x1b[?"
"""How a terminal's reports of itself begin (private ones: ECMA-48, 5.4.1), and no key does."""
PASTE = "\x1b[200~"
PASTE_END = "\x1b[201~"

_STRINGS = "]PX^_"
"""What follows escape where a string begins that lasts to its terminator: OSC, DCS, SOS, PM, APC (ECMA-48, 5.6)."""
_MOUSE = "\x1b[M"
"""Three characters follow that say where (the terminals' first mouse report, from memory)."""


class Cutter:
    """Cuts characters into keys: a character, or a whole escape sequence of at most `most` characters.

    Sequences are those of ECMA-48, 5.4 (CSI), the terminal's SS3, and Alt with a key. Longer ones, strings and pastes
    are no keys and are passed over to their end. An escape within begins anew; Ctrl-C is heard, but in a paste.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._held = ""
        self._string = False
        self._pasting = False

    @property
    def held(self) -> str:
        """What was begun and is not whole; of what is no key not more than shows that something was."""
        return self._held

    def feed(self, character: str) -> str:
        """Take one character; return the key that is whole with it, or nothing."""
        if self._pasting:
            self._held = (self._held + character)[-len(PASTE_END) :]
            if self._held == PASTE_END:
                self.forget()
            return ""
        if character == INTERRUPT:
            self.forget()
            return character
        if self._string:
            return self._in_string(character)
        if character == ESCAPE:
            key = self._held if self._held == ESCAPE else ""
            self._held = ESCAPE
            return key
        if not self._held:
            return character
        self._held = self._held[: self._most] + character
        if self._held[1] in _STRINGS:
            self._string = True
            return ""
        if _goes_on(self._held):
            return ""
        key, self._held = self._held, ""
        if key == PASTE:
            self._pasting, self._held = True, PASTE
            return ""
        return key if len(key) <= self._most else ""

    def _in_string(self, character: str) -> str:
        if character == "\a" or (character == "\\" and self._held == ESCAPE):
            self.forget()
        elif self._held == ESCAPE:  # no terminator: another sequence begins where the string was left
            self._string = False
            return self.feed(character)
        else:
            self._held = character
        return ""

    def quiet(self) -> str:
        """Nothing more came for a moment: return what was begun, as the key that it is, and begin anew."""
        held = "" if self._string or self._pasting else self._held
        self.forget()
        return held if len(held) <= self._most else ""

    def forget(self) -> None:
        """Begin anew."""
        self._held, self._string, self._pasting = "", False, False


def _goes_on(key: str) -> bool:
    """Tell whether more characters belong to the sequence."""
    if len(key) == 2:
        return key[1] in "[O"
    if key[1] == "O":
        return False
    if key.startswith(_MOUSE):
        return len(key) < len(_MOUSE) + 3
    if key == "\x1b[[":  # a function key of the Linux console (from memory)
        return True
    return not "\x40" <= key[-1] <= "\x7e"
