"""Track: which conversions of a trimmer under the screwdriver can be believed, and how fast the value runs.

Where the track is worn or dirty the wiper lifts for instants, and a conversion that saw one is a blend of the value and
of open air. Such a one must steer nobody. A conversion is believed when it lies where a hand could have brought the
value since the last believed one. In ohms an open wiper only ever reads high, so a lower one is believed as well: it is
nearer the truth than what came before. Any other is doubted until the next ones confirm it, by agreeing with it or by
going on as it began.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from metercap.contact.burst import PLATEAU_COUNTS
from metercap.steps.hazard import on_track

NEAR_COUNTS = 5.0
NEAR_SHARE = 0.03
"""So many counts, this share of itself, or the tolerance a value may lie off its course: a hand begins, or stops."""
FASTER = 2.0
"""A hand may turn so many times faster than it did, or turn round."""
GOES_ON = 0.5
"""A step goes on as the one before when it is at least this share of it: a hand that begins gets faster."""
ROUGH_S = 5.0
"""A track is rough for so long after a doubt that proved right, or a contact that was lost on it."""
ROUGH_OVER_S = 1.5
"""So long doubted conversions must agree on a rough track: a wiper may lift for like parts of two or three of them."""
STEADY_S = 0.45
"""Over this time the speed is taken (common practice, no source): shorter shows scatter, longer lags the hand."""
LONG_S = 1.0
"""Over this time where the shorter one shows no speed beyond the scatter."""
SURE = 2.0
"""A speed below so many of its standard errors is scatter."""
ENOUGH = 4
"""Points from which on scatter can be told from a hand that begins to turn."""
STRANGE_S = 2.0
"""A value off the track for so long steers all the same: the trimmer may be at its end."""
ANSWERS = 3
"""So many conversions that steer, or that answer the turning, are the track, however far from it they began."""


_LONG_S, _STEADY_S = LONG_S * 1.000001, STEADY_S * 1.000001
"""The same with room for the rounding of times."""


class Track:
    """Follows the believed values. `value` and `t_s` are those of the last one.

    `speed_per_s` is the slope of the last believed values, 0.0 where it does not stand out from their scatter; `moved`
    is how far they lie apart from first to last; `followed` says whether the speed is known, be it 0.0; `fastest` is
    the greatest so far where the track was not rough.
    `found` is what the trimmer was found at, at `t_s`.
    `opens_high`: a wiper that lifts reads high, as it does in ohms.
    """

    __slots__ = (
        "_doubts",
        "_points",
        "_rough_s",
        "_tolerance",
        "conversion_s",
        "fastest",
        "moved",
        "opens_high",
        "speed_per_s",
        "t_s",
        "value",
    )

    def __init__(
        self,
        tolerance: float,
        conversion_s: float,
        *,
        found: float | None = None,
        t_s: float = 0.0,
        opens_high: bool = True,
    ) -> None:
        self.conversion_s = conversion_s
        self.opens_high = opens_high
        self.value = found
        self.t_s = t_s
        self.speed_per_s = 0.0
        self.moved = 0.0
        self.fastest = 0.0
        self._tolerance = tolerance
        self._rough_s = float("-inf")
        self._doubts: list[tuple[float, float]] = []
        self._points: list[tuple[float, float]] = []

    @property
    def followed(self) -> bool:
        """Whether the speed is known."""
        return len(self._points) > 1

    def rough(self, t_s: float) -> bool:
        """Return whether the track was found rough lately: a doubt that proved right, a contact that was lost."""
        return t_s - self._rough_s <= ROUGH_S

    def take(self, points: Sequence[tuple[float, float]]) -> None:
        """The track is where these (t_s, value) are, wherever it was."""
        self._doubts.clear()
        self._points = list(points[-ANSWERS:])
        self.t_s, self.value = points[-1]
        self._measure()

    def part(self) -> None:
        """Contact begins anew: what comes next is no step from what was."""
        self._points.clear()
        self._doubts.clear()
        self.speed_per_s = self.moved = 0.0

    def lost(self, t_s: float) -> None:
        """Contact was lost while the trimmer was turned: the track may be dirty."""
        self._rough_s = t_s

    def expected(self, t_s: float) -> float:
        """Return where the value would be at `t_s` if the hand went on as last seen."""
        return (self.value or 0.0) + self.speed_per_s * (t_s - self.t_s)

    def feed(self, t_s: float, value: float, resolution: float) -> list[tuple[float, float]]:
        """Take a conversion; return what is believed now as (t_s, value): nothing, it, or the doubt before as well."""
        confirmed = 1
        if self.value is not None and not self._likely(t_s, value, resolution):
            self._doubts.append((t_s, value))
            if self.opens_high and value < self.expected(t_s):
                # Two leaps down in a row are a hand that turns fast; on a rough track they may be two blends.
                self._points = self._points if len(self._points) == 1 and not self.rough(t_s) else []
            elif self._confirmed(t_s, resolution):
                self._points = self._doubts[-2:-1]
                confirmed = 2
            else:
                return []
        elif self._doubts:
            self._rough_s = t_s
        self._doubts.clear()
        self._points.append((t_s, value))
        self.value, self.t_s = value, t_s
        self._measure()
        return self._points[-confirmed:]

    def _likely(self, t_s: float, value: float, resolution: float) -> bool:
        """Whether a hand that began, stopped, turned round or turned faster could have come here."""
        last, speed = self.value or 0.0, self.speed_per_s
        far = abs(value - last - speed * (t_s - self.t_s)) - FASTER * abs(speed) * self.conversion_s
        return far <= self._tolerance or far <= NEAR_COUNTS * resolution or far <= NEAR_SHARE * abs(last)

    def _confirmed(self, t_s: float, resolution: float) -> bool:
        """Whether the last doubts agree, or, on a track that is not rough, go on as they began."""
        doubts = self._doubts
        over_s = ROUGH_OVER_S * 0.95 if self.rough(t_s) else 0.0
        first = len(doubts) - 2
        while first > 0 and t_s - doubts[first][0] < over_s:
            first -= 1
        if first < 0 or t_s - doubts[first][0] < over_s:
            return False
        last = [value for _, value in doubts[first:]]
        if max(last) - min(last) <= max(self._tolerance, NEAR_COUNTS * resolution):
            return True
        if over_s or len(doubts) > 2:
            return False
        begun, on = last[0] - (self.value or 0.0), last[1] - last[0]
        return begun * on > 0.0 and abs(on) >= GOES_ON * abs(begun)

    def _measure(self) -> None:
        points = self._points
        last_s = points[-1][0]
        while last_s - points[0][0] > _LONG_S and len(points) > 2:
            del points[0]
        first = last = len(points) - 1
        while first and last_s - points[first - 1][0] <= _STEADY_S:
            first -= 1
        used = points[first:] if first < last else points[-2:]
        self.moved = abs(used[-1][1] - used[0][1])
        speed, scatter = slope(used)
        if scatter:
            speed, _ = slope(points)
        self.speed_per_s = speed
        if abs(speed) > self.fastest and not self.rough(last_s):
            self.fastest = abs(speed)


class Stray:
    """Conversions further than a factor of ten from the track: tips that touch each other, or the trimmer after all.

    They are the trimmer when ANSWERS of them move one way, as under a hand that turns, or have lasted for STRANGE_S and
    still come. `points` are those of the present run, as (t_s, value).
    """

    __slots__ = ("_lasting", "points")

    def __init__(self) -> None:
        self.points: list[tuple[float, float]] = []
        self._lasting = 0

    def forget(self) -> None:
        """The value is back on the track, or contact was lost."""
        if self.points:
            self.points = []
            self._lasting = 0

    def lasts(self, t_s: float) -> bool:
        """Return whether the present run has lasted long enough to steer."""
        return bool(self.points) and t_s - self.points[0][0] >= STRANGE_S

    def feed(self, t_s: float, value: float, resolution: float, *, quick: bool) -> bool:
        """Take a conversion off the track; return whether its run is the track now.

        Without `quick` only time tells: where a wiper lifts, three blends may lie in order by chance.
        """
        points = self.points
        if points and not on_track(value, points[-1][1], resolution):
            points.clear()
            self._lasting = 0
        points.append((t_s, value))
        if self.lasts(t_s):
            self._lasting += 1
        return self._lasting >= ANSWERS or (quick and self._answers(resolution))

    def _answers(self, resolution: float) -> bool:
        last = [value for _, value in self.points[-ANSWERS:]]
        steps = [later - earlier for earlier, later in itertools.pairwise(last)]
        least = PLATEAU_COUNTS * resolution
        return len(last) == ANSWERS and (min(steps) > least or max(steps) < -least)


def slope(points: Sequence[tuple[float, float]]) -> tuple[float, bool]:
    """Return the least-squares slope of (t_s, value), and whether it drowned in scatter, in which case it is 0.0.

    b = Σ(t − t̄)(v − v̄)/Σ(t − t̄)², u(b)² = Σr²/((n − 2)·Σ(t − t̄)²), r the residuals; below SURE·u(b) it is scatter.
    Fewer than ENOUGH points have too few residuals to tell. Degenerate: fewer than two, or all at one time, give 0.0.
    Source: NIST/SEMATECH e-Handbook 4.4.3.1.
    """
    n = len(points)
    if n < 2:
        return 0.0, False
    first_s, first = points[0]
    t = v = tt = tv = vv = 0.0
    for t_s, value in points:  # counted from the first point, so that nothing small is lost in something large
        x, y = t_s - first_s, value - first
        t += x
        v += y
        tt += x * x
        tv += x * y
        vv += y * y
    mean_s, mean, sure = t / n, v / n, n < ENOUGH
    if not sure:
        # Σr² = Σ(v − v̄)² − b²·Σ(t − t̄)²: from plain sums that is good enough, but at the very edge.
        both, spread = tv - t * mean, tt - t * mean_s
        explained = (n - 2 + SURE * SURE) * both * both
        least = SURE * SURE * (vv - v * mean) * spread
        if explained < 0.999999 * least:
            return 0.0, True
        sure = explained > 1.000001 * least
    spread = both = 0.0
    for t_s, value in points:
        off_s = t_s - first_s - mean_s
        spread += off_s * off_s
        both += off_s * (value - first - mean)
    if spread <= 0.0:
        return 0.0, False
    b = both / spread
    if not sure:
        left = 0.0
        for t_s, value in points:
            off = value - first - mean - b * (t_s - first_s - mean_s)
            left += off * off
        if b * b < SURE * SURE * left / ((n - 2) * spread):
            return 0.0, True
    return b, False
