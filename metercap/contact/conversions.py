"""Conversions, not frames: which readings are new values inside the meter.

A meter may send each conversion several times. Two readings are two conversions when value, range or state differ,
or when they are one conversion time T apart, counted in frames, so that arrival jitter and frames that come in bursts
neither make nor lose one. Agreement between repeats of one conversion would prove nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from metercap.contact.gaps import LONG
from metercap.contact.pace import Pace
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading, State

JITTER = 0.05
"""Share of T by which an arrival may come early and still count as one T later, before frames can be counted."""

_BLANK = State.BLANK

WORTH_SAYING = 0.1
"""Share by which T must differ from what was said last, to be said again."""


class Conversions:
    """Tells new conversions from repeats, and measures T.

    The profile states the slowest rate of the meter. A faster one only costs time; a slower one would turn repeats into
    "agreement". `kept` is T by quantity as it was measured earlier for this profile and port. `pace` is that of the
    quantity which is shown now.
    """

    __slots__ = (
        "_arrived",
        "_asked",
        "_change_at",
        "_change_s",
        "_conversion_at",
        "_conversion_s",
        "_count",
        "_frame_s",
        "_kept",
        "_paces",
        "_profile",
        "_quantity",
        "_resolution",
        "_state",
        "_times",
        "_told",
        "_value",
        "pace",
    )

    def __init__(self, profile: MeterProfile, kept: Mapping[Quantity, float] | None = None) -> None:
        self._profile = profile
        self._kept = dict(kept or {})
        self._paces: dict[Quantity, Pace] = {}
        self._times: dict[Quantity, float] = {q: profile.conversion_s(q) for q in Quantity}
        for quantity, kept_s in self._kept.items():
            self._times[quantity] = max(self._times[quantity], kept_s)
        self._asked = profile.poll is not None or profile.family == "scpi"
        self._value: float | None = None
        self._resolution = -1.0
        self._state: object = None
        self._quantity: Quantity | None = None
        self.pace = Pace(1.0)
        self._arrived = self.pace.gaps.arrived
        self._count = 0
        """Frames so far; `_conversion_at` is the count at the last conversion's first frame."""
        self._conversion_at = 0
        self._conversion_s = -1e9
        self._change_at: int | None = None
        """The count at the last change of what is shown, where the distance to the next one can teach."""
        self._change_s = 0.0
        self._frame_s = 0.0
        self._told: dict[Quantity, float] = {}

    @property
    def times_s(self) -> Mapping[Quantity, float]:
        """T in seconds by quantity, as used now."""
        return self._times

    @property
    def measured_s(self) -> dict[Quantity, float]:
        """T in seconds of the quantities in which this session measured it."""
        return {q: pace.conversion_s for q, pace in self._paces.items() if pace.measured}

    def is_measured(self, quantity: Quantity) -> bool:
        """Return whether T is more than the profile's word for `quantity`."""
        return self.pace_of(quantity).measured

    def pace_of(self, quantity: Quantity) -> Pace:
        """Return what is known of `quantity`."""
        pace = self._paces.get(quantity)
        if pace is None:
            pace = Pace(self._profile.conversion_s(quantity), self._kept.get(quantity), in_step=not self._asked)
            self._paces[quantity] = pace
        return pace

    def begins(self, reading: Reading) -> bool:
        """Return whether `reading` is a new conversion; False for a repeat of the last one.

        A blank display is none, and is not remembered: the same value on both sides of it may be one conversion.
        """
        t_s = reading.t_s
        quantity = reading.quantity
        if quantity is not self._quantity:
            return self._other(reading)
        pace = self.pace
        self._count = count = self._count + 1
        gap_s, self._frame_s = t_s - self._frame_s, t_s
        if self._arrived(t_s):
            pace.regap()
        state = reading.state
        if state is _BLANK:
            return False
        if reading.value == self._value and reading.resolution == self._resolution and state is self._state:
            if pace.is_known:
                if count - self._conversion_at < pace.per_conversion:
                    return False
            elif t_s - self._conversion_s < pace.conversion_s * (1.0 - JITTER):
                return False  # how many frames a conversion takes is not known yet
            self._conversion_at, self._conversion_s = count, t_s
            return True
        if self._change_at is not None:
            move = 0
            if self._value is not None and reading.value is not None and reading.resolution == self._resolution:
                move = 1 if reading.value > self._value else -1
            pace.change(count - self._change_at, t_s - self._change_s, move)
        self._value = reading.value
        self._resolution = reading.resolution
        self._state = state
        self._conversion_at = count
        self._conversion_s = self._change_s = t_s
        # After a pause the conversion's first frames may be lost: the distance to the next change is not its time.
        self._change_at = count if gap_s <= LONG * pace.gap_s else None
        return True

    def take_news(self) -> tuple[Quantity, bool] | None:
        """Return the quantity whose T was just changed, and whether it became longer.

        None where that need not be said: it was said before, and T is about the same still.
        """
        pace, quantity = self.pace, self._quantity
        longer, pace.news = pace.news > 0, 0
        if quantity is None:
            return None
        self._times[quantity] = pace.conversion_s
        told = self._told.get(quantity, self._profile.conversion_s(quantity))
        if abs(pace.conversion_s - told) <= WORTH_SAYING * told:
            return None
        self._told[quantity] = pace.conversion_s
        return quantity, longer

    def _other(self, reading: Reading) -> bool:
        """Take a reading in another quantity than the last; its first change tells no distance."""
        self._quantity = reading.quantity
        self.pace = self.pace_of(reading.quantity)
        self._count += 1
        self._frame_s = reading.t_s
        self.pace.resume()
        self._arrived = self.pace.gaps.arrived
        if self._arrived(reading.t_s):
            self.pace.regap()
        self._change_at = None
        self._value, self._resolution = reading.value, reading.resolution
        if reading.state is State.BLANK:
            self._state = None
            return False
        self._state = reading.state
        self._conversion_at, self._conversion_s = self._count, reading.t_s
        return True
