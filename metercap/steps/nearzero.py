"""Near zero: voltage and current do not show contact, since open tips read about zero.

A value about zero becomes a verdict only by the operator's `yes` while both tips are on the point, and by what the
meter shows after it: what it showed before may still have been of the air.
"""

from __future__ import annotations

from metercap.contact import Burst
from metercap.quantity import Quantity
from metercap.reading import Reading

ABOUT_ZERO_V = 0.1
"""Open tips read about zero in volts: below this a voltage does not show contact (common practice, no source)."""
ABOUT_ZERO_COUNTS = 20.0

_SHOWN = (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.DIODE, Quantity.CAPACITANCE)


def shows_contact(quantity: Quantity) -> bool:
    """Return whether open tips read over-range or nothing, rather than about zero."""
    return quantity in _SHOWN


def about_zero(reading: Reading) -> bool:
    """Return whether a reading is no more than open tips may show; over-range is more."""
    value = reading.value
    return value is not None and abs(value) < max(ABOUT_ZERO_V, ABOUT_ZERO_COUNTS * reading.resolution)


class NearZero:
    """Waits for two conversions about zero after a `yes`."""

    __slots__ = ("_burst",)

    def __init__(self) -> None:
        self._burst: Burst | None = None

    def yes(self, t_s: float) -> None:
        """Both tips are on the point, and about zero is meant."""
        self._burst = Burst(t_s, first_is_whole=True)

    def forget(self) -> None:
        """The yes is worth nothing any more."""
        self._burst = None

    def feed(self, reading: Reading) -> Burst | None:
        """Take a conversion about zero; return the burst of the two that follow a yes, once."""
        burst = self._burst
        if burst is None:
            return None
        burst.feed(reading)
        if burst.pair is None:
            return None
        self._burst = None
        return burst
