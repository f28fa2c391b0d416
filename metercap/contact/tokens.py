"""Recognising a token: two steady conversions on a marked resistor are its word."""

from __future__ import annotations

from metercap.quantity import Quantity
from metercap.reading import Reading

OLD_MARK = "token "
"""How the text of a token's word begins in a journal of schema 1, which did not say where a word came from."""
MATCH_SHARE = 0.02
MATCH_COUNTS = 3.0
"""A reading shows a token within this share of what it read when learned, or within this many counts."""

WORD_OF = {"end": "skip step"}
"""Token names that are no words themselves."""
WRITES = ("open", "absent", "pass", "fail")
"""Words that write a verdict on the item that is open."""
TWICE = (*WRITES, "skip step")
"""Words whose token takes two touches, since a fuse beside a parallel path can read like it."""


class Tokens:
    """What the learned tokens read, by name; recognises two steady conversions on one."""

    __slots__ = ("_name", "_spent", "learned")

    def __init__(self) -> None:
        self.learned: dict[str, float] = {}
        self._name = ""
        self._spent = False

    def off(self) -> None:
        """The tips touch nothing: the next touch of a token is a new one."""
        self._name, self._spent = "", False

    def match(self, reading: Reading) -> str:
        """Return the name of the token that this reading may show, or an empty text."""
        value = reading.value
        if value is None or reading.quantity not in (Quantity.RESISTANCE, Quantity.CONTINUITY):
            return ""
        for name, ohm in self.learned.items():
            if abs(value - ohm) <= max(MATCH_SHARE * ohm, MATCH_COUNTS * reading.resolution) * 1.000001:
                return name
        return ""

    def feed(self, name: str) -> str:
        """Take a new conversion that matches `name`; return the name when it is the second one on it."""
        if self._spent:
            return ""
        if name != self._name:
            self._name = name
            return ""
        self._spent = True
        return name
