"""Hazards: a trimmer followed past a hazardous side of its band, and how it stands there until it is seen inside."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from metercap.plankeys.tune import Band
from metercap.quantity import format_value

TRACK = 10.0
"""A value further than this factor from the last one is not on the trimmer's track: tips or track."""


class Past(msgspec.Struct, frozen=True):
    """An excursion that ended, or as it stands: see the record of that name."""

    side: Literal["below", "above"]
    limit: float
    worst: float
    from_s: float
    duration_s: float


class Standing(msgspec.Struct, frozen=True):
    """A trimmer that stands past a hazard limit, SI; `value` is the last that was believed."""

    side: Literal["below", "above"]
    limit: float
    value: float
    resolution: float
    unit: str
    believed: bool = True
    """False while the alarm rings for a value that may be none of the trimmer's."""

    def said(self, item: str) -> str:
        """Return it in words."""
        limit = format_value(self.limit, self.unit)
        value = format_value(self.value, self.unit, self.resolution)
        return f"{item} stands past its limit: {value}, {self.side} {limit}"


class Hazard:
    """Follows a value past a hazardous side of its band.

    The alarm waits for nothing. It stands until a believed value lies back inside, whatever comes between: doubted
    values, other cues, lost contact. An excursion takes two believed values in one contact.

    `side` is that of the alarm that stands, or None; `past` whether a believed value lies there, `value` the last that
    does. `excursions` are those that have ended.
    """

    __slots__ = ("_from_s", "_worst", "excursions", "n", "past", "side", "value")

    def __init__(self) -> None:
        self.excursions: list[Past] = []
        self.n = 0
        """How many believed values the present excursion has."""
        self.side: Literal["below", "above"] | None = None
        self.past = False
        self.value = 0.0
        self._from_s = 0.0
        self._worst = 0.0

    def stands(self, side: Literal["below", "above"], value: float) -> None:
        """It was past the limit when it was left: it stands there until it is seen inside."""
        self.side, self.past, self.value = side, True, value

    def goes_on(self, other: Hazard) -> None:
        """Stand as `other` does, which followed the value in the meantime."""
        self.side, self.past, self.value = other.side, other.past, other.value

    def feed(
        self, band: Band, t_s: float, value: float, resolution: float, believed: Sequence[tuple[float, float]]
    ) -> bool:
        """Take a conversion, and what is believed by it as (t_s, value); return True when the alarm must sound now."""
        side = band.beyond(value, resolution)
        if side is None:
            back = [at_s for at_s, each in believed if band.beyond(each, resolution) is None]
            if back:
                self.over(band, back[0])
            return False
        alarm = side != self.side
        if alarm:
            self.over(band, t_s)
            self.side = side
        worse = min if side == "below" else max
        for at_s, each in believed:
            if band.beyond(each, resolution) != side:
                continue
            if not self.n:
                self._from_s, self._worst = at_s, each
            self.n += 1
            self._worst = worse(self._worst, each)
            self.past, self.value = True, each
        return alarm

    def so_far(self, band: Band, t_s: float) -> Past | None:
        """Return the present excursion as it stands; None while there is none."""
        side = self.side
        if side is None or self.n < 2:
            return None
        limit = band.never_below if side == "below" else band.never_above
        return Past(side, limit or 0.0, self._worst, self._from_s, round(t_s - self._from_s, 6))

    def part(self, band: Band, t_s: float) -> None:
        """Contact was lost, or the item is left: the excursion ends, and the alarm with it unless it was believed."""
        past = self.so_far(band, t_s)
        if past is not None:
            self.excursions.append(past)
        self.n = 0
        if not self.past:
            self.side = None

    def over(self, band: Band, t_s: float) -> None:
        """The value is back."""
        self.part(band, t_s)
        self.side, self.past = None, False


def on_track(value: float, last: float, resolution: float) -> bool:
    """Return whether a trimmer could have gone from `last` to `value` in one conversion: within a factor of 10."""
    a, b = abs(value), abs(last)
    if a <= TRACK * b and b <= TRACK * a:
        return True
    small = 2.0 * resolution
    a, b = max(a, small), max(b, small)
    return a <= TRACK * b and b <= TRACK * a
