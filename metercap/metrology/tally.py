"""Values counted by what was displayed: exact middles and spreads of any number of them, in memory that stays bounded.

A meter shows few different values, so how often each was shown says as much as all of them in a row. Tallies add up
exactly and in any order: a fleet's is the sum of its benches'. Where more than `most` different values come, they are
counted in cells of 10, 100, … of the finest digit; cells of one width fit into the next, so this too comes out the same
in any order.

Sources: JCGM 100:2008, 4.2 (mean, s); Hyndman and Fan, Am. Stat. 50 (1996) 361, definition 7 (quantiles); ISO
13528:2022, Annex C (median, MAD).
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate

import msgspec

from metercap.metrology.domain import need, need_finite
from metercap.metrology.series import MAD_SCALE, exact_integers, root

MOST = 10_000
"""Different values that are told apart; a handheld meter's whole display has about as many."""


class Tally(msgspec.Struct):
    """How often each value was shown: `counts` by whole numbers of 10^`power`, in the values' unit.

    `coarse`: they are cells, each named by its lower edge, since more than `most` values came; else values as they were
    shown.
    """

    counts: dict[int, int] = {}
    power: int = 0
    coarse: bool = False
    most: int = MOST

    @classmethod
    def of(cls, values: Iterable[float], most: int = MOST) -> Tally:
        """Return the tally of some values."""
        out = cls(most=most)
        for value in values:
            out.add(value)
        return out

    @property
    def n(self) -> int:
        """How many values were counted."""
        return sum(self.counts.values())

    def add(self, value: float, n: int = 1) -> None:
        """Count a value `n` times. An infinity or NaN is refused."""
        number, power = _decimal(value)
        if power < self.power:
            if self.coarse:
                number //= 10 ** (self.power - power)
            else:
                self._refine(power)
        else:
            number *= 10 ** (power - self.power)
        self.counts[number] = self.counts.get(number, 0) + n
        self._fit()

    def take(self, other: Tally) -> None:
        """Count everything that another tally has."""
        self.most = min(self.most, other.most)
        if other.coarse and (not self.coarse or other.power > self.power):
            self._coarsen_to(other.power)
        elif not other.coarse and not self.coarse and other.power < self.power:
            self._refine(other.power)
        for number, n in other._at(self.power).items():
            self.counts[number] = self.counts.get(number, 0) + n
        self._fit()

    def without(self, other: Tally) -> Tally:
        """Return what is left when another tally, which is part of this one, is taken off."""
        left, off = self.beside(other)
        power, coarse = self._shared(other)
        for number, n in off.items():
            left[number] = left.get(number, 0) - n
        return Tally({number: n for number, n in left.items() if n > 0}, power, coarse, self.most)

    def beside(self, other: Tally) -> tuple[dict[int, int], dict[int, int]]:
        """Return the counts of both by whole numbers of one power of ten; in cells where either has cells."""
        power, _ = self._shared(other)
        return self._at(power), other._at(power)

    def _shared(self, other: Tally) -> tuple[int, bool]:
        """Return the power of ten that both can be counted by, and whether those are cells."""
        coarse = self.coarse or other.coarse
        return (max if coarse else min)(self.power, other.power), coarse

    def values(self) -> list[tuple[float, int]]:
        """Return each value with how often it was shown, in order; of a cell its middle."""
        return [(float(self._value(number)), self.counts[number]) for number in sorted(self.counts)]

    def quantile(self, share: float) -> float:
        """Return the value below which a `share` of all lies, linear between neighbours.

        Any unit, n ≥ 1 (no values are refused), 0 ≤ share ≤ 1. Rounded once. Degenerate: one value is every quantile.
        Source: Hyndman and Fan 1996, definition 7, at rank (n − 1)·share.
        """
        n = self.n
        need(n > 0 and 0.0 <= share <= 1.0, "quantile", f"values and a share of 0 to 1 are needed: {n}, {share}")
        rank = (n - 1) * Fraction(repr(float(share)))
        below = math.floor(rank)
        numbers, ends = self._ranked()
        low, high = (numbers[bisect_right(ends, at)] for at in (below, min(below + 1, n - 1)))
        return float(self._value(low + (rank - below) * (high - low)))

    def median(self) -> float:
        """Return the middle value, or the mean of the two middle ones, as `series.median` does. n ≥ 1."""
        need(bool(self.counts), "median", "no values have no median")
        numbers, ends = self._ranked()
        return float(self._value(Fraction(_twice_middle(numbers, ends), 2)))

    def mad(self) -> float:
        """Return the scaled median absolute deviation, 1.4826 × median|x − median|, as `series.mad` does.

        Any unit, n ≥ 1. Degenerate: 0 when more than half the values are equal. Source: ISO 13528:2022, Annex C.
        """
        need(bool(self.counts), "mad", "no values have no deviation")
        numbers, ends = self._ranked()
        twice = _twice_middle(numbers, ends)
        apart: dict[int, int] = {}
        for number, n in self.counts.items():
            apart[abs(2 * number - twice)] = apart.get(abs(2 * number - twice), 0) + n
        deviations = sorted(apart)
        deviation = _twice_middle(deviations, list(accumulate(apart[each] for each in deviations)))
        return MAD_SCALE * float(Fraction(deviation, 4) * _ten(self.power))

    def mean(self) -> float:
        """Return Σx/n, rounded once. Any unit, n ≥ 1. Source: JCGM 100:2008, 4.2.1."""
        need(bool(self.counts), "mean", "no values have no mean")
        return float(self._value(Fraction(sum(number * n for number, n in self.counts.items()), self.n)))

    def sd(self) -> float:
        """Return √(Σ(x − mean)²/(n − 1)); the sums are exact. Any unit, n ≥ 2. Source: JCGM 100:2008, 4.2.2."""
        n = self.n
        need(n >= 2, "sd", f"a standard deviation needs two values or more, and there are {n}")
        total = sum(number * times for number, times in self.counts.items())
        squares = sum(number * number * times for number, times in self.counts.items())
        square, by = n * squares - total * total, n * (n - 1)
        if self.power < 0:
            return root(square, by * 10 ** (-2 * self.power))
        return root(square * 10 ** (2 * self.power), by)

    def _ranked(self) -> tuple[list[int], list[int]]:
        """Return the numbers in order, and how many values there are up to each."""
        numbers = sorted(self.counts)
        return numbers, list(accumulate(self.counts[number] for number in numbers))

    def _value(self, number: int | Fraction) -> Fraction:
        """Return the value of a number; of a cell its middle."""
        return (number + (Fraction(1, 2) if self.coarse else 0)) * _ten(self.power)

    def _at(self, power: int) -> dict[int, int]:
        """Return the counts by whole numbers of another power of ten; in cells where that is the coarser one."""
        by = 10 ** abs(power - self.power)
        if power <= self.power:
            return {number * by: n for number, n in self.counts.items()}
        out: dict[int, int] = {}
        for number, n in self.counts.items():
            out[number // by] = out.get(number // by, 0) + n
        return out

    def _refine(self, power: int) -> None:
        self.counts, self.power = self._at(power), power

    def _coarsen_to(self, power: int) -> None:
        self.counts, self.power, self.coarse = self._at(power), power, True

    def _fit(self) -> None:
        while len(self.counts) > self.most:
            self._coarsen_to(self.power + 1)


def merged(tallies: Iterable[Tally]) -> Tally:
    """Return one tally of all; none give an empty one."""
    out: Tally | None = None
    for each in tallies:
        if out is None:
            out = Tally(dict(each.counts), each.power, each.coarse, each.most)
        else:
            out.take(each)
    return out or Tally()


@lru_cache(maxsize=1 << 14)
def _decimal(value: float) -> tuple[int, int]:
    """Return a value's shortest decimal as a whole number of a power of ten, which is 0 at most.

    So the power of a tally is that of its finest value, in whatever order they come.
    """
    need_finite(value, "tally")
    (number,), power = exact_integers((value,), "tally")
    while power < 0 and number % 10 == 0:
        number, power = number // 10, power + 1
    return number * 10 ** max(power, 0), min(power, 0)


def _ten(power: int) -> Fraction:
    return Fraction(10) ** power


def _twice_middle(numbers: list[int], ends: list[int]) -> int:
    """Return the sum of the two middle values; twice the one of an odd number."""
    n = ends[-1]
    return numbers[bisect_right(ends, (n - 1) // 2)] + numbers[bisect_right(ends, n // 2)]
