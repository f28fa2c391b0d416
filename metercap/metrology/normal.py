"""The standard normal distribution, accurate in both tails.

Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1.2 and 26.2. The standard library computes its
cumulative function from erf, which loses the tails, so only its quantile is used here.
"""

from __future__ import annotations

import math
from statistics import NormalDist

from metercap.metrology.domain import need, need_confidence

_ROOT_2 = math.sqrt(2.0)
_STANDARD = NormalDist()


def normal_cdf(z: float) -> float:
    """Return P(Z ≤ z) = erfc(−z/√2)/2, with full relative accuracy for negative `z`.

    No unit, scalar. Degenerate: −∞ gives 0, ∞ gives 1. Source: Abramowitz and Stegun 26.2.29.
    """
    return 0.5 * math.erfc(-z / _ROOT_2)


def normal_between(low: float, high: float) -> float:
    """Return P(low ≤ Z ≤ high) for low ≤ high, taken from the nearer tail so that far intervals keep their digits.

    No unit, scalars, either may be infinite. Degenerate: low = high gives 0. Source: as `normal_cdf`.
    """
    need(low <= high, "normal_between", f"the interval's ends are the wrong way round: {low} and {high}")
    if low > 0.0:
        return normal_cdf(-low) - normal_cdf(-high)
    return normal_cdf(high) - normal_cdf(low)


def normal_quantile(p: float) -> float:
    """Return z with P(Z ≤ z) = p, for 0 < p < 1, to about 1e-15 relative.

    No unit, scalar. Degenerate: p of 0 or 1 is refused (the quantile is infinite). Source: Wichura, Algorithm AS 241,
    through the standard library.
    """
    need_confidence(p, "normal_quantile")
    return _STANDARD.inv_cdf(p)
