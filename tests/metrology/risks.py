"""Conformance probability and the risks of a decision, by JCGM 106.

What a decision rule costs, before any unit is measured: the chance that a bad unit is accepted (the consumer's risk)
and that a good one is refused (the producer's), for a stated prior. Sources: JCGM 106:2012, clauses 7, 8 and 9;
ILAC-G8:09/2019, table 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import msgspec

from metercap.metrology.domain import need, need_confidence, need_finite, need_uncertainty
from metercap.metrology.normal import normal_between, normal_cdf, normal_quantile


class Prior(msgspec.Struct, frozen=True):
    """How the true values of units are spread before any is measured.

    `density`: probability per unit of the value; `low` … `high`: where it is worth integrating; `scale`: the length
    over which it changes. All in one unit.
    """

    density: Callable[[float], float]
    low: float
    high: float
    scale: float


def normal_prior(mean: float, sd: float) -> Prior:
    """Return a normal prior, cut at 10 standard deviations, where less than 1e-22 is left.

    Unit of `mean` and `sd`, scalars, sd > 0. Degenerate: sd = 0 is refused, as it has no density. Source: JCGM
    106:2012, 9.5.
    """
    need_finite(mean, "normal_prior")
    need(0.0 < sd < math.inf, "normal_prior", f"a standard deviation is positive, and this is {sd}")
    scale = 1.0 / (sd * math.sqrt(2.0 * math.pi))

    def density(x: float) -> float:
        return scale * math.exp(-0.5 * ((x - mean) / sd) ** 2)

    return Prior(density, mean - 10.0 * sd, mean + 10.0 * sd, sd)


def gamma_prior(shape: float, scale: float) -> Prior:
    """Return a gamma prior x^(a−1)·e^(−x/b)/(Γ(a)·b^a) for values that cannot be negative, a ≥ 1.

    Unit of `scale` b, scalars. Cut where less than 1e-15 is left. Degenerate: a = 1 is exponential; a < 1, infinite at
    0, is refused. Source: JCGM 106:2012, 9.5.4.
    """
    need(1.0 <= shape < math.inf and 0.0 < scale < math.inf, "gamma_prior", "shape ≥ 1 and scale > 0 are needed")
    norm = math.lgamma(shape) + math.log(scale)

    def density(x: float) -> float:
        if x <= 0.0:
            return math.exp(-norm) if x == 0.0 and shape == 1.0 else 0.0
        return math.exp((shape - 1.0) * math.log(x / scale) - x / scale - norm)

    return Prior(density, 0.0, scale * (shape + 10.0 * math.sqrt(shape) + 40.0), scale * math.sqrt(shape))


def conformance_probability(value: float, u: float, low: float | None, high: float | None) -> float:
    """Return p_c, the chance that the true value lies within the limits: Φ((high − y)/u) − Φ((low − y)/u).

    `value` y and standard uncertainty `u` in the limits' unit, scalars; None is no limit. Degenerate: u = 0 gives 1
    or 0; no limits give 1. Source: JCGM 106:2012, 7.2, 7.3, 7.4, for a normal distribution.
    """
    need_finite(value, "conformance_probability")
    need_uncertainty(u, "conformance_probability")
    return _within(value, u, low, high)


def acceptance_probability(true: float, u: float, low: float | None, high: float | None) -> float:
    """Return the chance that a unit whose value is `true` is measured within the acceptance limits low … high.

    Formula and units as `conformance_probability`, with the roles of value and measurement exchanged. Degenerate:
    u = 0 gives 1 or 0. Source: JCGM 106:2012, 9.5.
    """
    need_finite(true, "acceptance_probability")
    need_uncertainty(u, "acceptance_probability")
    return _within(true, u, low, high)


def consumer_risk(
    prior: Prior,
    u: float,
    limits: tuple[float | None, float | None],
    acceptance: tuple[float | None, float | None],
) -> float:
    """Return R_C, the chance that a unit drawn from the prior is out of `limits` and yet accepted.

    R_C = ∫ outside limits of P(measured in acceptance | η)·g₀(η) dη. `u`: standard uncertainty of the measurement;
    all in one unit; each pair is (low, high), None for no limit. Degenerate: u = 0 with acceptance = limits gives 0.
    Source: JCGM 106:2012, 9.5; the integral is Gauss–Legendre, 10 points a panel.
    """
    need_uncertainty(u, "consumer_risk")
    low, high = limits
    outside = []
    if low is not None:
        outside.append((prior.low, min(max(low, prior.low), prior.high)))
    if high is not None:
        outside.append((max(min(high, prior.high), prior.low), prior.high))
    return math.fsum(
        _integral(lambda x: _within(x, u, *acceptance) * prior.density(x), a, b, prior, u, acceptance)
        for a, b in outside
    )


def producer_risk(
    prior: Prior,
    u: float,
    limits: tuple[float | None, float | None],
    acceptance: tuple[float | None, float | None],
) -> float:
    """Return R_P, the chance that a unit drawn from the prior is within `limits` and yet not accepted.

    R_P = ∫ within limits of (1 − P(measured in acceptance | η))·g₀(η) dη. Units and shapes as `consumer_risk`.
    Degenerate: u = 0 with acceptance = limits gives 0. Source: JCGM 106:2012, 9.5.
    """
    need_uncertainty(u, "producer_risk")
    low, high = limits
    a = prior.low if low is None else min(max(low, prior.low), prior.high)
    b = prior.high if high is None else max(min(high, prior.high), prior.low)
    return _integral(lambda x: (1.0 - _within(x, u, *acceptance)) * prior.density(x), a, b, prior, u, acceptance)


def guard_for_risk(u: float, risk: float) -> float:
    """Return the guard band w = z·u that keeps the risk of a wrong pass at one limit to `risk`: z = Φ⁻¹(1 − risk).

    `u`: standard uncertainty, whose unit w has. Degenerate: risk ½ gives 0, and more gives a negative guard, which
    accepts beyond the limit. Source: JCGM 106:2012, 8.3.2 and Table 1.
    """
    need_uncertainty(u, "guard_for_risk")
    need_confidence(risk, "guard_for_risk")
    return -normal_quantile(risk) * u


def risk_at_guard(ratio: float, k: float = 2.0) -> float:
    """Return the greatest chance of a wrong pass at one limit when the guard band is `ratio` times U: Φ(−k·ratio).

    `k`: the coverage factor in U = k·u. No unit, scalars. Degenerate: ratio 0 (no guard) gives ½. Source:
    ILAC-G8:09/2019, table 1.
    """
    return normal_cdf(-k * ratio)


def _within(centre: float, u: float, low: float | None, high: float | None) -> float:
    if low is not None and high is not None and low > high:
        return 0.0
    if u == 0.0:
        return float((low is None or centre >= low) and (high is None or centre <= high))
    return normal_between(
        -math.inf if low is None else (low - centre) / u, math.inf if high is None else (high - centre) / u
    )


def _legendre(n: int) -> tuple[tuple[float, float], ...]:
    """Nodes and weights on −1…1 (Abramowitz and Stegun 25.4.29), by Newton's method on the polynomial."""
    pairs = []
    for i in range(n):
        x = math.cos(math.pi * (i + 0.75) / (n + 0.5))
        slope = 1.0
        for _ in range(50):
            before, now = 1.0, x
            for degree in range(2, n + 1):
                before, now = now, ((2 * degree - 1) * x * now - (degree - 1) * before) / degree
            slope = n * (x * now - before) / (x * x - 1.0)
            step = now / slope
            x -= step
            if abs(step) < 1e-16:
                break
        pairs.append((x, 2.0 / ((1.0 - x * x) * slope * slope)))
    return tuple(pairs)


_POINTS = _legendre(10)
_MOST_PANELS = 4000


def _integral(
    f: Callable[[float], float],
    a: float,
    b: float,
    prior: Prior,
    u: float,
    acceptance: tuple[float | None, float | None],
) -> float:
    """∫ f from a to b in panels no longer than the prior's scale, with short ones about each acceptance limit.

    A measurement is nearly sure 10·u from a limit, so only there must panels be as short as u.
    """
    edges = {a, b}
    for limit in acceptance:
        if limit is not None:
            edges.update(min(max(limit + i * u, a), b) for i in range(-10, 11))
    marks = sorted(edges)
    total: list[float] = []
    for left, right in pairwise(marks):
        panels = min(_MOST_PANELS, max(1, math.ceil((right - left) / prior.scale * 2.0)))
        half = 0.5 * (right - left) / panels
        for panel in range(panels):
            middle = left + (2 * panel + 1) * half
            total.extend(weight * half * f(middle + half * x) for x, weight in _POINTS)
    return math.fsum(total)
