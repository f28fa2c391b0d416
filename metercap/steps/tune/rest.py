"""Rest: whether a trimmer that nobody turns lies still, told from a meter that is noisy and from a value that creeps.

At rest all conversions lie within the width of a plateau, or within the meter's own noise where that is wider. A value
that creeps (a warm track, a settling circuit) may stay within any such width and still end outside the band, so the
trend over the whole rest counts as well: where it stands out of the scatter, the value must stay in the band though it
went on for CREEP_S.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from metercap.contact.burst import PLATEAU_COUNTS, PLATEAU_SHARE, WIDE_COUNTS

NOISE_SIGMAS = 6.0
"""Twenty values of a normal scatter span 3.7 standard deviations on average, and seldom more than 6 (both by
simulation)."""
NOISE_OF = 20
"""The scatter is that of the last so many steps from one conversion to the next."""
MEAN_STEP = 1.128
"""Mean |step| between neighbours in standard deviations of one value: d2 for two. Source: NIST/SEMATECH e-Handbook
6.3.2.2 (moving range), from memory; 2/√π."""
CREEP_S = 60.0
"""The longest time constant of a creep that is thought of (common practice, no source): an exponential that moves by
b now still has b · CREEP_S to go."""
SEEN = 1.0
"""A trend of so many of its standard errors is looked into: to wait for more costs a second, to miss it the verdict."""
JUMP_SIGMAS = 6.0
"""A leap between neighbours of more standard deviations is no creep (√2 is usual, 6 come once in 45 000)."""
ENOUGH = 4
"""Points from which on a trend can be told from scatter."""
KEEP_S = 15.0
"""A longer rest forgets its beginning, so that a creep that has ended is forgiven."""


class Rest:
    """Follows the conversions of one contact. `n` counts those at rest, `from_s` is the first of them."""

    __slots__ = ("_high", "_low", "_points", "_resolution")

    def __init__(self) -> None:
        self._points: list[tuple[float, float]] = []
        self._resolution = 0.0
        self._low, self._high = float("inf"), float("-inf")

    @property
    def n(self) -> int:
        """Conversions at rest."""
        return len(self._points)

    @property
    def from_s(self) -> float:
        """The arrival of the first conversion at rest."""
        return self._points[0][0]

    @property
    def values(self) -> tuple[float, ...]:
        """The conversions at rest, oldest first."""
        return tuple(value for _, value in self._points)

    @property
    def span(self) -> float:
        """From the lowest to the highest of them."""
        return self._high - self._low

    @property
    def noisy(self) -> bool:
        """Whether they need more width than a plateau has."""
        return self.n > 0 and self.span > self._width(self._low, self._high) * 1.000001

    def restart(self) -> None:
        """The contact ended, or the tool was taken away: the value must be at rest anew."""
        self._points.clear()
        self._begin()

    def rested_s(self, t_s: float, since_s: float = 0.0) -> float:
        """Return for how many seconds the value has been at rest since `since_s`, 0.0 when it is not."""
        if not self._points:
            return 0.0
        from_s = self._points[0][0]
        return t_s - (from_s if from_s >= since_s else since_s)

    def feed(self, t_s: float, value: float, resolution: float) -> None:
        """Take a believed conversion."""
        points = self._points
        if resolution != self._resolution:
            points.clear()
            self._resolution = resolution
        if not points:
            points.append((t_s, value))
            self._low = self._high = value
            return
        low = value if value < self._low else self._low
        high = value if value > self._high else self._high
        span = high - low
        if span > PLATEAU_COUNTS * resolution * 1.000001 and span > self._width(low, high) * 1.000001:
            self._reseat(t_s, value)
        elif t_s - points[0][0] > KEEP_S:
            first = next((n for n, point in enumerate(points) if t_s - point[0] <= KEEP_S * 0.9), len(points))
            del points[:first]
            points.append((t_s, value))
            values = [one for _, one in points]
            self._low, self._high = min(values), max(values)
        else:
            points.append((t_s, value))
            self._low, self._high = low, high

    def creep_per_s(self) -> float:
        """Return the trend of the values at rest, SI per second; 0.0 where it does not stand out of their scatter.

        A tool that is taken away may leave a step, which looks like a trend over both sides of it: values count
        from the last leap on, of more than a count and of JUMP_SIGMAS.
        """
        points = self._points
        leap = max(1.5 * self._resolution, JUMP_SIGMAS * self._scatter(points))
        pairs = list(itertools.pairwise(points))
        first = next((n for n in range(len(pairs), 0, -1) if abs(pairs[n - 1][1][1] - pairs[n - 1][0][1]) > leap), 0)
        b, u = trend(points[first:], self._resolution)
        return b if abs(b) > SEEN * u else 0.0

    def _scatter(self, points: Sequence[tuple[float, float]]) -> float:
        """Return the standard deviation of the last conversions, by the mean step between neighbours."""
        last = points[-NOISE_OF - 1 :]
        total, before = 0.0, last[0][1]
        for _, value in last:
            total += abs(value - before)
            before = value
        return total / (len(last) - 1) / MEAN_STEP if len(last) > 1 else 0.0

    def _width(self, low: float, high: float) -> float:
        """Return the width of a plateau from `low` to `high`."""
        most = PLATEAU_SHARE * (high if high > -low else -low)
        least = PLATEAU_COUNTS * self._resolution
        return most if most > least else least

    def _reseat(self, t_s: float, value: float) -> None:
        """Begin where the values up to this one fit into the meter's noise, at the latest with this one."""
        points, wide = self._points, WIDE_COUNTS * self._resolution
        step = abs(value - points[-1][1])
        points.append((t_s, value))
        if step > wide and step > PLATEAU_SHARE * abs(value):
            self._points, self._low, self._high = points[-1:], value, value  # a hand: no noise is as wide
            return
        noise = NOISE_SIGMAS * self._scatter(points)
        if noise > wide:
            noise = wide
        first, low, high = len(points) - 1, value, value
        while first:
            before = points[first - 1][1]
            lower, higher = (before, high) if before < low else (low, before if before > high else high)
            span = higher - lower
            if span > noise * 1.000001 and span > self._width(lower, higher) * 1.000001:
                break
            first, low, high = first - 1, lower, higher
        self._points, self._low, self._high = points[first:], low, high

    def _begin(self) -> None:
        self._low, self._high = float("inf"), float("-inf")


def trend(points: Sequence[tuple[float, float]], resolution: float) -> tuple[float, float]:
    """Return the least-squares slope b of (t_s, value) and its standard uncertainty u(b), both in units a second.

    u(b)² = s²/Σ(t − t̄)², s² the residuals' sum of squares by n − 2, at least resolution²/12, since a display that
    stands still says no more than that. Degenerate: fewer than ENOUGH points, or all at one time, give 0.0
    and infinity.
    Source: NIST/SEMATECH e-Handbook 4.4.3.1; JCGM 100:2008, 4.3.7.
    """
    n = len(points)
    if n < ENOUGH:
        return 0.0, math.inf
    mean_s = math.fsum(t_s for t_s, _ in points) / n
    mean = math.fsum(value for _, value in points) / n
    spread = math.fsum((t_s - mean_s) ** 2 for t_s, _ in points)
    if spread <= 0.0:
        return 0.0, math.inf
    b = math.fsum((t_s - mean_s) * (value - mean) for t_s, value in points) / spread
    left = math.fsum((value - mean - b * (t_s - mean_s)) ** 2 for t_s, value in points)
    return b, math.sqrt(max(left / (n - 2), resolution * resolution / 12.0) / spread)
