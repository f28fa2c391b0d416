"""Ranging: what an auto-ranging meter shows of its own walk through the ranges, when the tips come from the air.

In air such a meter stands in its top range. When the tips touch it walks down, a conversion or more in each range, and
three kinds behave differently while it does: one shows finite values (or a blank display) from the top range on; one
goes on showing over-range, with the range it is in; one shows over-range and no range. The last two make a slip look
longer than it was: the walk back down is contact, and reads like air.
"""

from __future__ import annotations

import math
from enum import StrEnum

from metercap.reading import Reading

LOW_OHM = 0.1
"""The last digit of most meters' lowest ohm range (common practice, no source)."""
RANGES = 5
"""Ranges walked through to the lowest of six, where over-range names none (common practice, no source)."""
TOP_OHM = 1000.0
"""A last digit this large belongs to a top range, of a megohm or more (common practice, no source)."""


class Walk(StrEnum):
    """What the meter shows of its walk down."""

    SHOWN = "shown"
    RANGED = "ranged"
    """Over-range, but with the range that it is in."""
    HIDDEN = "hidden"
    """Over-range and nothing else; also what is assumed before anything was seen."""


class Ranging:
    """Learns the kind of walk from contacts that follow a certain lift.

    `walk` is the kind by the last contact that told it; `stay_s` the longest stay in a range that was seen on the last
    walk down under over-range; `ranges` how many times the range changed on the way to the last contact's value;
    `was_seen` is true once a contact showed that the walk hides.
    """

    __slots__ = (
        "_air",
        "_air_s",
        "_blank",
        "_fell",
        "_first",
        "_from_top",
        "_lowest",
        "ranges",
        "stay_s",
        "walk",
        "was_seen",
    )

    def __init__(self) -> None:
        self.walk = Walk.HIDDEN
        self.was_seen = False
        self.stay_s = 0.0
        self.ranges = 0
        self._air: float | None = None
        self._air_s = 0.0
        self._first = 0.0
        self._lowest = math.inf
        self._blank = False
        self._fell = 0
        self._from_top = False

    @property
    def expected(self) -> int:
        """How many ranges the next walk down passes: as many as the last one, or as lie below the one in air."""
        if self.ranges:
            return self.ranges
        return max(0, round(math.log10(self._air / LOW_OHM))) if self._air else RANGES

    @property
    def shown(self) -> bool:
        """True where the walk is seen, so that over-range is air."""
        return self.walk is Walk.SHOWN

    def forget(self) -> None:
        """Another function, or long ago: what is shown next begins a new story; the kind of walk stays."""
        self._air, self._blank, self._fell, self._from_top = None, False, 0, False

    def blank(self) -> None:
        """The display showed nothing."""
        self._blank = True

    def air(self, reading: Reading) -> None:
        """A new conversion reads over-range while the tips are off for certain."""
        self._blank = False
        shown = reading.resolution
        if self._air is None or shown > self._air:
            self._fell, self.stay_s = 0, 0.0
            self._air, self._air_s = shown, reading.t_s
        elif shown < self._air:
            if self._fell:
                self.stay_s = max(self.stay_s, reading.t_s - self._air_s)
            self._fell += 1
            self._air, self._air_s = shown, reading.t_s

    def touched(self, reading: Reading) -> None:
        """A contact begins from the air: its first finite reading tells how the walk looks."""
        first, air = reading.resolution, self._air
        self.ranges = self._fell
        self._from_top = False
        if self._blank:
            self.walk = Walk.SHOWN
        elif self._fell:
            self.walk = Walk.RANGED
        elif first >= (air or TOP_OHM):
            self._from_top = True  # shown from where it stood in air, once it leaves that range
        elif air or self.walk is not Walk.SHOWN or first <= self._lowest:
            self.walk, self.was_seen = Walk.HIDDEN, True
        self._air, self._blank, self._fell = None, False, 0
        self._first = first
        self._lowest = min(self._lowest, first)

    def goes_on(self, resolution: float) -> None:
        """The contact goes on in another range."""
        self.ranges += 1
        self._lowest = min(self._lowest, resolution)
        if self._from_top and resolution < self._first:
            self.walk = Walk.SHOWN
