"""Conversions, not frames: which readings are new values inside the meter.

A meter may send each conversion several times. Two readings are two conversions when value, range or state differ,
or when they arrive at least one conversion time T apart (5 % less is allowed for arrival jitter). Agreement between
repeats of one conversion would prove nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading

JITTER = 0.05
"""Share of T by which an arrival may come early and still count as one T later."""

_CHANGES = 12
"""Changes of the value that must be seen before a measured rate is believed."""

_SLOWER = 1.5
"""How many times T the shortest of those must last before the meter is called slower than its profile."""


class Conversions:
    """Tells new conversions from repeats, and notices a meter slower than its profile.

    The profile states the slowest rate of the meter. A faster meter only costs time. A slower one would turn repeats
    into "agreement", so its measured T replaces the profile's: when value changes inside one contact and range never
    come closer together than 1.5 T over a dozen of them, their shortest distance is the new T. (Changes between
    contact and air are the hands', so they are not counted.)
    """

    __slots__ = (
        "_changes",
        "_quantity",
        "_resolution",
        "_shortest_s",
        "_slow",
        "_state",
        "_steady_s",
        "_t_s",
        "_times",
        "_value",
    )

    def __init__(self, profile: MeterProfile) -> None:
        self._times: dict[Quantity, float] = {q: profile.conversion_s(q) for q in Quantity}
        self._t_s = -1e9
        self._value: float | None = None
        self._resolution = -1.0
        self._state: object = None
        self._quantity: Quantity | None = None
        self._steady_s: float | None = None
        self._changes = 0
        self._shortest_s = 1e9
        self._slow: Quantity | None = None

    @property
    def times_s(self) -> Mapping[Quantity, float]:
        """T in seconds by quantity, as used now."""
        return self._times

    def begins(self, reading: Reading) -> bool:
        """Return whether `reading` is a new conversion; False for a repeat of the last one."""
        t_s = reading.t_s
        same = (
            reading.value == self._value
            and reading.resolution == self._resolution
            and reading.state is self._state
            and reading.quantity is self._quantity
        )
        if same and t_s - self._t_s < self._times[reading.quantity] * (1.0 - JITTER):
            return False
        if not same:
            self._measure(reading)
            self._value = reading.value
            self._resolution = reading.resolution
            self._state = reading.state
            self._quantity = reading.quantity
        self._t_s = t_s
        return True

    def take_slow(self) -> Quantity | None:
        """Return a quantity whose T was just lengthened, once; None otherwise."""
        slow, self._slow = self._slow, None
        return slow

    def _measure(self, reading: Reading) -> None:
        within = (
            reading.value is not None
            and self._value is not None
            and reading.resolution == self._resolution
            and reading.quantity is self._quantity
        )
        if not within:
            self._steady_s = None
            return
        if self._steady_s is not None:
            self._changes += 1
            self._shortest_s = min(self._shortest_s, reading.t_s - self._steady_s)
        self._steady_s = reading.t_s
        if self._changes >= _CHANGES:
            if self._shortest_s > _SLOWER * self._times[reading.quantity]:
                self._times[reading.quantity] = round(self._shortest_s, 6)
                self._slow = reading.quantity
            self._changes, self._shortest_s = 0, 1e9
