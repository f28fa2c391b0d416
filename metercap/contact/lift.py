"""Lift: have the tips been off for certain, longer than any slip of `recontact_s` could look?

An open stretch of `recontact_s` touches at most ⌈recontact_s/T⌉ + 1 conversions, since both end conversions may be
only partly open. So a lift is certain at the first frame of conversion n = ⌈recontact_s/T⌉ + 2. Conversions are counted
in frames, so that a pause counts for no more than the frames that came: a stalled link makes no lift. The time from the
first of them to the last must agree. Until T is measured, and where frames are not in step with conversions, one more.

While the meter ranges by itself, what hides behind over-range is added (rule of `ranging`): where over-range shows the
range, a range lower than the one before is contact, and the first conversion of a contact may still hide: the longest
stay in a range, one conversion at least. Where it shows nothing the way down may hide as many conversions as the way up
took, which a slip can open, and one more where the meter stays for two in each range: 2n.
"""

from __future__ import annotations

import math

import msgspec

from metercap.contact.gaps import LONG
from metercap.contact.pace import Pace
from metercap.contact.ranging import Ranging, Walk
from metercap.quantity import Quantity
from metercap.reading import Reading

COUNT_TOLERANCE = 0.03
"""Share by which counted frames may fall short, but by less than one frame: the usual gap is a measured one."""
WHOLE = 0.4
"""That part of a frame."""
T_TOLERANCE = 0.015
"""Part of a conversion by which recontact_s may exceed whole ones: T is a measured one."""
TIME_TOLERANCE = 0.1
"""Share by which the time from the first to the last of them may fall short: arrival jitter."""
LONG_S = 0.4
"""Pauses that are `LONG` and longer than this may hide a contact: the lift begins anew."""


class Stay(msgspec.Struct, frozen=True):
    """How long the tips have still to stay off: `conversions` of the `of` that a certain lift takes, about `left_s`."""

    conversions: int
    of: int
    left_s: float


def open_conversions(recontact_s: float, pace: Pace) -> int:
    """n: the open conversion at whose first frame no slip of `recontact_s` can be behind it, without auto range."""
    more = 0 if pace.measured and pace.in_step else 1
    return math.ceil(recontact_s / pace.conversion_s - T_TOLERANCE) + 2 + more


class LiftCount:
    """Counts open frames since the last contact."""

    __slots__ = ("_auto", "_frames", "_from_s", "_last_s", "_range", "_stay", "_stay_from")

    def __init__(self) -> None:
        self._frames = -1
        self._last_s = 0.0
        self._from_s = 0.0
        self._range = 0.0
        self._stay = 0
        self._stay_from = 0
        self._auto = False

    def broken(self) -> None:
        """Contact, or a display that shows nothing: whatever was counted is over."""
        self._frames = -1

    def off(self, reading: Reading, pace: Pace, recontact_s: float, ranging: Ranging, new: bool) -> bool:
        """Take an open frame; return whether the lift is certain now."""
        t_s = reading.t_s
        gap_s = t_s - self._last_s
        self._last_s = t_s
        if self._frames < 0 or gap_s > max(LONG * pace.gap_s, LONG_S):
            self._begin(reading)
            return False
        self._frames += 1
        since_s = t_s - self._from_s
        if new and reading.resolution != self._range and self._auto:
            if reading.resolution < self._range:
                self._begin(reading)  # the meter walks down: that was contact
                return False
            self._stay = max(self._stay, self._frames - self._stay_from)
            self._stay_from, self._range = self._frames, reading.resolution
        if since_s < recontact_s * (1.0 - TIME_TOLERANCE):
            return False  # sooner than any lift can be certain
        span_s, frames = self._needed(pace, recontact_s, ranging)
        return self._frames >= frames and since_s >= span_s * (1.0 - TIME_TOLERANCE)

    def left(self, pace: Pace, recontact_s: float, ranging: Ranging) -> Stay:
        """Return what is still missing."""
        _, frames = self._needed(pace, recontact_s, ranging)
        missing = frames - self._frames
        each = pace.per_conversion
        return Stay(max(0, -(-missing // each)), frames // each + 1, round(max(0, missing) * pace.gap_s, 6))

    def _begin(self, reading: Reading) -> None:
        self._frames = 0
        self._from_s = reading.t_s
        self._range = reading.resolution
        self._stay = self._stay_from = 0
        self._auto = "auto" in reading.flags and reading.quantity is Quantity.RESISTANCE

    def _needed(self, pace: Pace, recontact_s: float, ranging: Ranging) -> tuple[float, int]:
        """Return the time and the gaps between frames from the first open frame to the one that makes it certain."""
        conversions = float(open_conversions(recontact_s, pace) - 1)
        if self._auto:
            if ranging.walk is Walk.HIDDEN:
                conversions = 2.0 * conversions + 1.0
            elif ranging.walk is Walk.RANGED:
                stay = max(self._stay * pace.gap_s, ranging.stay_s) / pace.conversion_s
                conversions += max(1.0, stay)
        span_s = conversions * pace.conversion_s
        frames = conversions * pace.frames
        return span_s, math.ceil(frames - min(COUNT_TOLERANCE * frames, WHOLE))
