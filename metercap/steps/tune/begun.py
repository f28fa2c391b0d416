"""Begun: whether a hand turns a trimmer already while it should be read as found.

What a hand moves is no value as found, however soon it stops; a contact that gets better, a capacitor that charges and
a noisy wiper are none of its doing.
"""

from __future__ import annotations

import itertools

from metercap.contact.burst import PLATEAU_COUNTS, WIDE_COUNTS

MOVES = 3
"""Moves one way that make a hand: a contact gets better in one leap or two."""
GOES_ON = 0.7
"""A charge goes on by less and less; a hand's last move is at least this share of its first."""


class Begun:
    """Looks at the conversions of one contact before as found has settled."""

    __slots__ = ("_blend", "_resolution", "_values")

    def __init__(self) -> None:
        self._blend = True
        self._resolution = 0.0
        self._values: list[float] = []

    def feed(self, value: float, resolution: float) -> bool:
        """Take a new conversion; return whether a hand turns. The first of a contact may be a blend, and is passed."""
        if self._blend:
            self._blend = False
            return False
        if resolution != self._resolution:
            self._resolution = resolution
            self._values.clear()
        self._values = [*self._values[-MOVES:], value]
        if len(self._values) <= MOVES:
            return False
        if abs(value - self._values[0]) <= WIDE_COUNTS * resolution:
            return False
        moves = [later - earlier for earlier, later in itertools.pairwise(self._values)]
        one_way = min(moves) > PLATEAU_COUNTS * resolution or max(moves) < -PLATEAU_COUNTS * resolution
        return one_way and abs(moves[-1]) >= GOES_ON * abs(moves[0])
