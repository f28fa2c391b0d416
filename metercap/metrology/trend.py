"""Does a series rise or fall? Exact for as many presses or readings as a repair makes.

Sources: Mann, Econometrica 13 (1945) 245; Kendall, Rank Correlation Methods (1948).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Literal

import msgspec

from metercap.metrology.domain import round6
from metercap.metrology.series import exact_integers

_COUNTED = 60
"""Up to so many values every order is counted."""


class Trend(msgspec.Struct, frozen=True):
    """Whether a series rises or falls: Kendall's S, the two-sided chance of so large an |S| (6 digits), direction."""

    s: int
    p: float
    direction: Literal["rising", "falling", "none"]


def trend(values: Sequence[float]) -> Trend:
    """Test whether a series rises or falls, by Kendall's S = Σ_{i<j} sign(x_j − x_i) (the Mann–Kendall test).

    Any unit, one dimension in the order of time. p is the two-sided chance, were there no trend, of an |S| at least so
    large: exact up to 60 values, ties (a switch's hits and misses) included; beyond that normal, corrected for ties and
    for continuity. `direction` is "none" when S = 0. Degenerate: fewer than three values, or all equal, give p = 1.
    Source: Mann 1945; Kendall 1948.
    """
    whole, _power = exact_integers(values, "trend")
    n = len(whole)
    s = sum((later > earlier) - (later < earlier) for i, earlier in enumerate(whole) for later in whole[i + 1 :])
    sizes = [whole.count(value) for value in sorted(set(whole))]
    if n < 3 or len(sizes) < 2:
        p = 1.0
    elif n <= _COUNTED:
        most = (n * n - sum(size * size for size in sizes)) // 2
        p = _two_sided(_inversions(tuple(sizes), most), most, s)
    else:
        variance = n * (n - 1) * (2 * n + 5) - sum(size * (size - 1) * (2 * size + 5) for size in sizes)
        p = math.erfc(max(abs(s) - 1, 0) / math.sqrt(variance / 18.0) / math.sqrt(2.0))
    return Trend(s, round6(p), "rising" if s > 0 else "falling" if s < 0 else "none")


def _two_sided(ways: Sequence[int], most: int, s: int) -> float:
    """Share of the orders, counted by their inversions, whose S = most − 2·inversions is at least as far from 0."""
    far = sum(count for inversions, count in enumerate(ways) if abs(most - 2 * inversions) >= abs(s))
    return float(Fraction(far, sum(ways)))


@lru_cache(maxsize=64)
def _inversions(sizes: tuple[int, ...], most: int) -> tuple[int, ...]:
    """How many orders of values, of which `sizes` are equal, have 0, 1, … `most` inversions.

    These are the coefficients of the Gaussian multinomial. Series of one length without ties share them.
    """
    ways = [1] + [0] * most
    before = 0
    for size in sizes:
        # Times the product of (1 − q^(before + i))/(1 − q^i): multiply from above, divide from below, in whole numbers.
        for i in range(1, size + 1):
            for at in range(most, before + i - 1, -1):
                ways[at] -= ways[at - before - i]
            for at in range(i, most + 1):
                ways[at] += ways[at - i]
        before += size
    return tuple(ways)
