"""Student's t distribution for any positive degrees of freedom, whole or not, and infinite.

Sources: Abramowitz and Stegun 26.7; JCGM 100:2008, G.3 and Table G.2.
"""

from __future__ import annotations

import math
from functools import lru_cache

from metercap.metrology.beta import beta_tails, log_beta
from metercap.metrology.domain import need, need_confidence
from metercap.metrology.normal import normal_cdf, normal_quantile

_NEARLY_NORMAL = 1e7
"""Above these degrees of freedom two terms of the expansion about the normal are exact to 1e-14."""

K2_CONFIDENCE = math.erf(math.sqrt(2.0))
"""The coverage of k = 2 under the normal distribution, 95.45 %: JCGM 100:2008, Table G.1."""


def t_cdf(t: float, dof: float) -> float:
    """Return P(T ≤ t) for Student's t with `dof` > 0 degrees of freedom.

    Formula: I_x(dof/2, ½)/2 with x = dof/(dof + t²) for t < 0, mirrored for t > 0. No unit, scalars. Degenerate:
    infinite `dof` is the normal distribution. Source: Abramowitz and Stegun 26.7.1, 26.5.27.
    """
    need(dof > 0.0, "t_cdf", f"degrees of freedom are positive, and these are {dof}")
    if dof > _NEARLY_NORMAL:
        # Abramowitz and Stegun 26.7.8 turned round: the normal deviate that has the same tail.
        return normal_cdf(t - (t**3 + t) / (4.0 * dof))
    square = t * t
    if math.isinf(square):
        return 0.0 if t < 0.0 else 1.0
    tail = 0.5 * beta_tails(0.5 * dof, 0.5, dof / (dof + square), square / (dof + square))[0]
    return tail if t < 0.0 else 1.0 - tail


def t_quantile(p: float, dof: float) -> float:
    """Return t with P(T ≤ t) = p for Student's t with `dof` > 0 degrees of freedom, 0 < p < 1.

    No unit, scalars. Closed forms for 1 and 2 degrees of freedom, else Newton steps inside a bracket. Degenerate:
    infinite `dof` gives the normal quantile; p = ½ gives 0. Source: Abramowitz and Stegun 26.7.
    """
    need_confidence(p, "t_quantile")
    need(dof > 0.0, "t_quantile", f"degrees of freedom are positive, and these are {dof}")
    if p == 0.5:
        return 0.0
    if p < 0.5:
        return -_upper_quantile(p, dof)
    return _upper_quantile(1.0 - p, dof)


@lru_cache(maxsize=512)
def t_factor(confidence: float, dof: float) -> float:
    """Return the two-sided factor t with P(−t ≤ T ≤ t) = `confidence`: t_p(ν) of JCGM 100:2008, Table G.2.

    No unit, scalars. Degenerate: infinite `dof` gives the normal factor, 1.96 at 0.95. Source: JCGM 100:2008, G.3.4.
    """
    need_confidence(confidence, "t_factor")
    return t_quantile(0.5 + 0.5 * confidence, dof)


def _upper_quantile(tail: float, dof: float) -> float:
    """Positive t with P(T > t) = `tail`, for 0 < tail < ½."""
    if dof == 1.0:
        return 1.0 / math.tan(math.pi * tail)
    if dof == 2.0:
        return (1.0 - 2.0 * tail) / math.sqrt(2.0 * tail * (1.0 - tail))
    z = -normal_quantile(tail)
    if dof > _NEARLY_NORMAL:
        return z + (z**3 + z) / (4.0 * dof) if math.isfinite(dof) else z
    ln_constant = -log_beta(0.5 * dof, 0.5) - 0.5 * math.log(dof)
    # Newton on ln(tail) against ln(t): nearly straight far out, where the tail is a power of t.
    low, high = 0.0, math.inf
    t = z + (z**3 + z) / (4.0 * dof)
    target = math.log(tail)
    for _ in range(200):
        square = t * t
        got = 0.5 * beta_tails(0.5 * dof, 0.5, dof / (dof + square), square / (dof + square))[0]
        if got > tail:
            low = t
        else:
            high = t
        ln_density = ln_constant - 0.5 * (dof + 1.0) * math.log1p(square / dof)
        slope = t * math.exp(ln_density) / got if got > 0.0 else 0.0
        after = t * math.exp((math.log(got) - target) / slope) if slope > 0.0 else math.inf
        if not low < after < high:
            after = 0.5 * (low + high) if math.isfinite(high) else 2.0 * t
        if abs(after - t) <= 4e-16 * t:
            return after
        t = after
    return t
