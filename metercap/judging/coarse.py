"""Ranges too coarse to say anything: the meter is still walking, or its range has to be changed.

`0.000 MΩ` says nothing about 2 Ω, however often it is sent: its digit is larger than the limit. Such readings are no
plateau and no settled contact. Without limits a value of next to no digits is as empty where the meter has a finer
range.
"""

from __future__ import annotations

from metercap.meter import MeterProfile
from metercap.metrology.ranges import resolution_at
from metercap.quantity import Quantity
from metercap.reading import Reading

STAYS = 3
"""Whole conversions in a range that says nothing after which a finer one is asked for."""
SETTLES = 8
"""Whole conversions after which few digits are taken for all there are, where no finer range was seen yet."""
EMPTY_COUNTS = 2.0
"""So few counts are no value where there is a finer range."""
WALKS_SHARE = 0.04
"""A meter on auto range leaves a range before it shows less than this share of its counts (from a tenth or a twentieth
on; common practice, no source)."""
_NEARLY = 1.000001


def too_coarse(digit: float, low: float | None, high: float | None) -> bool:
    """Return whether a range's digit is larger than the limit, or than half the band. SI, scalars.

    Degenerate: without limits, or where they leave no width, False.
    """
    one = high if high is not None else low or 0.0
    fine = 0.5 * (high - low) if high is not None and low is not None else abs(one)
    return fine > 0.0 and digit > fine * _NEARLY


def walks_on(first: Reading | None, low: float | None, high: float | None) -> bool:
    """Whether a contact gave no more than a blend with air, in the range in which an auto-ranging meter stood in air.

    `first` is the first finite reading of it; `low` and `high` in SI. Over-range after it may be the walk down.
    """
    return first is not None and "auto" in first.flags and too_coarse(first.resolution, low, high)


def undecidable(digit: float, value: float, low: float | None, high: float | None) -> bool:
    """Return whether a range's digit is larger than the limit, or than half the band, and the value does not tell.

    SI, scalars; `value` is corrected. One that lies outside the limits by more than two of its coarse digits tells.
    Degenerate: without limits, or where they leave no width, False.
    """
    if not too_coarse(digit, low, high):
        return False
    margin = EMPTY_COUNTS * digit
    return (high is None or value - margin <= high) and (low is None or value + margin >= low)


class Ranges:
    """Remembers the finest range of each quantity, as the profile tells it and as it was seen."""

    __slots__ = ("_counts", "_finest", "_seen")

    def __init__(self, profile: MeterProfile) -> None:
        self._counts = profile.counts
        self._seen: dict[Quantity, float] = {}
        told = resolution_at(profile, Quantity.RESISTANCE, 0.0)
        self._finest = {} if told is None else {Quantity.RESISTANCE: told}

    def see(self, reading: Reading) -> None:
        """Take a reading that holds a value."""
        digit = reading.resolution
        if digit < self._seen.get(reading.quantity, 1e99):
            self._seen[reading.quantity] = digit

    def empty(self, reading: Reading, whole: int, *, limitless: bool) -> bool:
        """Return whether a reading in ohms says nothing, or next to nothing, that a finer range would not say.

        On auto range the meter is about to leave a range where it shows few digits. In a fixed one zero digits are
        empty where no limit tells what they are good for (`limitless`). `whole`: conversions in this range so far.
        """
        if reading.quantity is not Quantity.RESISTANCE:
            return False
        digit, seen = reading.resolution, self._seen.get(Quantity.RESISTANCE, 1e99)
        finest = min(seen, self._finest.get(Quantity.RESISTANCE, 1e99))
        if digit <= finest * _NEARLY:
            return False
        counts = EMPTY_COUNTS
        if "auto" in reading.flags:
            counts = max(counts, WALKS_SHARE * (self._counts or 0))
        elif not limitless:
            return False
        if abs(reading.value or 0.0) > counts * digit * _NEARLY:
            return False
        return whole < SETTLES or (limitless and digit > seen * _NEARLY)
