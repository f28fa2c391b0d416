"""Rounds: which item of a walk is next, what was passed over, and what the next count check is about.

The first look takes every item in order; the second those that were skipped. A look that ticked anything by contact
ends with a count check. Items are numbers here, in the order in which they are probed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec


class Uncounted(msgspec.Struct, frozen=True):
    """What a count check that has no answer yet is about, by name: see `Rounds.ticked` and `Rounds.since`."""

    ticked: tuple[str, ...]
    since: tuple[str, ...]


class Rounds:
    """Keeps count of `n` items; those in `done` were decided before.

    `ticked` lists what was decided by contact since the last count check, `since` all that was decided in any way.
    `groups` gives each item's group: a count check stands between two of them, and where the walk leaves a gap.
    """

    __slots__ = ("_first", "_groups", "_history", "_look", "_skipped", "done", "second", "since", "ticked")

    def __init__(self, n: int, done: Iterable[int] = (), groups: Sequence[int] = ()) -> None:
        self.done: dict[int, None] = dict.fromkeys(done)
        self._groups = groups or [0] * n
        self.second = False
        self.ticked: list[int] = []
        self.since: list[int] = []
        self._look = list(range(n))
        self._skipped: list[int] = []
        self._history: list[int] = []
        self._first: int | None = None

    @property
    def has_behind(self) -> bool:
        """Return whether anything was decided or skipped that can be opened again."""
        return bool(self._history)

    def begin_with(self, item: int) -> None:
        """Open an item, whatever became of it, before all others."""
        self.reopen(item)
        self._first = item

    @property
    def next(self) -> int | None:
        """The first item of this look that is open, or None when the look is over."""
        if self._first is not None and self._first not in self.done and self._first not in self._skipped:
            return self._first
        for item in self._look:
            if item not in self.done and (self.second or item not in self._skipped):
                return item
        return None

    def ends_group(self, item: int) -> bool:
        """Return whether the walk goes on in another group than `item`'s, or elsewhere than at its neighbour.

        Over a gap hands go by the name that is asked for, which makes up for a double touch unawares.
        """
        after = self.next
        return after is not None and (after != item + 1 or self._groups[after] != self._groups[item])

    def owe(self, ticked: Iterable[int], since: Iterable[int]) -> None:
        """Take over a count check that was never answered."""
        self.ticked, self.since = list(ticked), list(since)

    def decided(self, item: int, *, by_contact: bool) -> None:
        """An item got its verdict; a later one takes the earlier one's place in the count."""
        self.done[item] = None
        self._history.append(item)
        for kept in (self.since, self.ticked):
            if item in kept:
                kept.remove(item)
        self.since.append(item)
        if by_contact:
            self.ticked.append(item)

    def skipped(self, item: int) -> None:
        """An item is left for the second look."""
        if item not in self._skipped:
            self._skipped.append(item)
        self._history.append(item)

    def back(self) -> int | None:
        """Reopen and return the item that was decided or skipped last; None when there is none."""
        if not self._history:
            return None
        item = self._history.pop()
        self.reopen(item)
        return item

    def reopen(self, item: int) -> None:
        """Open an item again, whatever became of it; it belongs to the present look."""
        self.done.pop(item, None)
        if item in self._skipped:
            self._skipped.remove(item)
        if item not in self._look:
            self._look = sorted([*self._look, item])

    def counted(self) -> list[int]:
        """The count check was answered: return every item that it was about, and begin anew."""
        items, self.since, self.ticked = self.since, [], []
        return items

    @property
    def left(self) -> list[int]:
        """What a second look would take: the skipped ones that are open; nothing once it was had."""
        return [] if self.second else sorted(item for item in self._skipped if item not in self.done)

    def second_look(self) -> int | None:
        """Begin the second look and return its first item; None when nothing is left, or it was had already."""
        left = self.left
        if not left:
            return None
        self.second = True
        self._look = left
        return left[0]
