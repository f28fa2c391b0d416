"""Conversions, not frames: which readings are new values inside the meter.

A meter may send each conversion several times. Two readings are two conversions when value, range or state differ,
or when they arrive at least one conversion time T apart (5 % less is allowed for arrival jitter). Agreement between
repeats of one conversion would prove nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading, State

JITTER = 0.05
"""Share of T by which an arrival may come early and still count as one T later."""

_CHANGES = 12
"""Changes of the value that must be seen before a measured rate is believed."""

_SLOWER = 1.5
"""How many times T the shortest of those must last before the meter is called slower than its profile."""

_FASTER = 0.6
"""Changes closer together than this many T, ten of a dozen, mean a meter faster than its profile."""

_EACH_WAY = 3
"""How many of those must go up, and how many down: what only drifts changes slowly on the fastest meter."""

_SLOWEST_S = 2.0
"""No meter takes longer for a conversion (common practice, no source); rarer changes are the circuit's."""


class Conversions:
    """Tells new conversions from repeats, and notices a meter slower than its profile.

    The profile states the slowest rate of the meter. A faster meter only costs time. A slower one would turn repeats
    into "agreement", so its measured T replaces the profile's: when value changes inside one contact and range never
    come closer together than 1.5 T over a dozen of them, their shortest distance is the new T. (Changes between
    contact and air are the hands', so they are not counted; a drift one way is the circuit's.) A faster meter is told
    once, since its rate could be stated.
    """

    __slots__ = (
        "_changes",
        "_fast",
        "_quantity",
        "_quick",
        "_resolution",
        "_shortest_s",
        "_slow",
        "_state",
        "_steady_s",
        "_t_s",
        "_times",
        "_told",
        "_ups",
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
        self._ups = 0
        self._shortest_s = 1e9
        self._slow: Quantity | None = None
        self._quick: list[float] = []
        self._fast: float | None = None
        self._told = False

    @property
    def times_s(self) -> Mapping[Quantity, float]:
        """T in seconds by quantity, as used now."""
        return self._times

    def begins(self, reading: Reading) -> bool:
        """Return whether `reading` is a new conversion; False for a repeat of the last one.

        A blank display is none, and is not remembered: the same value on both sides of it may be one conversion.
        """
        if reading.state is State.BLANK:
            return False
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

    @property
    def has_news(self) -> bool:
        """True when `take_slow` or `take_fast` has something to say."""
        return self._slow is not None or self._fast is not None

    def take_slow(self) -> Quantity | None:
        """Return a quantity whose T was just lengthened, once; None otherwise."""
        slow, self._slow = self._slow, None
        return slow

    def take_fast(self) -> float | None:
        """Return conversions a second, once, when the meter turned out faster than its profile; None otherwise."""
        fast, self._fast = self._fast, None
        return fast

    def _measure(self, reading: Reading) -> None:
        within = (
            reading.value is not None
            and self._value is not None
            and reading.resolution == self._resolution
            and reading.quantity is self._quantity
        )
        if not within:
            self._steady_s = None
            if reading.quantity is not self._quantity:
                self._forget()
            return
        if self._steady_s is not None:
            self._changes += 1
            self._ups += (reading.value or 0.0) > (self._value or 0.0)
            gap_s = reading.t_s - self._steady_s
            self._shortest_s = min(self._shortest_s, gap_s)
            if 0.0 < gap_s < _FASTER * self._times[reading.quantity]:  # frames that waited arrive in one moment
                self._quick.append(gap_s)
        self._steady_s = reading.t_s
        if self._changes >= _CHANGES:
            slow = _SLOWER * self._times[reading.quantity] < self._shortest_s <= _SLOWEST_S * (1.0 + JITTER)
            if slow and min(self._ups, self._changes - self._ups) >= _EACH_WAY:
                self._times[reading.quantity] = round(self._shortest_s, 6)
                self._slow = reading.quantity
            elif len(self._quick) >= _CHANGES - 2 and not self._told:
                self._told = True
                self._fast = round(1.0 / sorted(self._quick)[len(self._quick) // 2], 1)
            self._forget()

    def _forget(self) -> None:
        self._changes, self._ups, self._shortest_s = 0, 0, 1e9
        self._quick.clear()
