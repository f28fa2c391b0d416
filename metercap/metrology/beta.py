"""The regularised incomplete beta function and its inverse: the root of every proportion and of Student's t.

Sources: Abramowitz and Stegun 26.5 (definition, reflection, continued fraction), 6.1.41 (Stirling's series);
Didonato and Morris, ACM Trans. Math. Softw. 18 (1992) 360, for the forms that keep their digits when a and b are
large; Press et al., Numerical Recipes, 6.4, for the modified Lentz evaluation.
"""

from __future__ import annotations

import math

from metercap.errors import MetercapError
from metercap.metrology.domain import need

_LARGE = 10.0
"""From here on Stirling's series below is exact to the last digits of a float."""
_STIRLING = (1 / 12, -1 / 360, 1 / 1260, -1 / 1680, 1 / 1188, -691 / 360360, 1 / 156)
_HALF_LN_2PI = 0.5 * math.log(2.0 * math.pi)
_TINY = 1e-300
_EPS = 1e-16
_MOST_TERMS = 100_000


def _stirling_rest(x: float) -> float:
    """ln Γ(x) less its leading terms, (x − ½)·ln x − x + ½·ln 2π, for x ≥ 10 (Abramowitz and Stegun 6.1.41)."""
    square = x * x
    rest = 0.0
    for coefficient in reversed(_STIRLING):
        rest = rest / square + coefficient
    return rest / x


def log_beta(a: float, b: float) -> float:
    """Return ln B(a, b) = ln Γ(a) + ln Γ(b) − ln Γ(a + b) for a, b > 0.

    No unit, scalars. For large arguments the three terms, which nearly cancel, are merged before they are summed.
    Degenerate: none within a, b > 0. Source: Didonato and Morris 1992, BETALN.
    """
    need(0.0 < a < math.inf and 0.0 < b < math.inf, "log_beta", f"both arguments are positive: {a}, {b}")
    small, large = (a, b) if a <= b else (b, a)
    if large < _LARGE:
        return math.lgamma(small) + math.lgamma(large) - math.lgamma(small + large)
    if small < _LARGE:
        rest = _stirling_rest(large) - _stirling_rest(small + large)
        ratio = (small + large - 0.5) * math.log1p(small / large) + small * (math.log(large) - 1.0)
        return math.lgamma(small) + (rest - ratio)
    rest = _stirling_rest(small) + _stirling_rest(large) - _stirling_rest(small + large)
    ratio = small / large
    return math.fsum(
        (
            _HALF_LN_2PI - 0.5 * math.log(large),
            rest,
            (small - 0.5) * math.log(ratio / (1.0 + ratio)),
            -large * math.log1p(ratio),
        )
    )


def _front(a: float, b: float, x: float, y: float) -> float:
    """x^a·y^b / B(a, b), where y = 1 − x comes in by itself so that neither loses digits."""
    if a < _LARGE or b < _LARGE:
        ln_x = math.log(x) if x < 0.5 else math.log1p(-y)
        ln_y = math.log(y) if y < 0.5 else math.log1p(-x)
        return math.exp(a * ln_x + b * ln_y - log_beta(a, b))
    # About the mode a/(a + b), where both large exponents vanish; Didonato and Morris 1992, BRCOMP.
    total = a + b
    off = a * y - b * x
    e_a, e_b = -off / a, off / b
    ln_a = math.log1p(e_a) if e_a > -0.5 else math.log(x) + math.log(total / a)
    ln_b = math.log1p(e_b) if e_b > -0.5 else math.log(y) + math.log(total / b)
    power = a * (e_a - ln_a) + b * (e_b - ln_b)
    rest = _stirling_rest(a) + _stirling_rest(b) - _stirling_rest(total)
    return math.sqrt(a * b / (total * 2.0 * math.pi)) * math.exp(-power - rest)


def _fraction(a: float, b: float, x: float) -> float:
    """Evaluate the continued fraction of I_x(a, b) by the modified Lentz method (Abramowitz and Stegun 26.5.8)."""
    c = 1.0
    d = 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > _TINY else _TINY)
    value = d
    for m in range(1, _MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        step = 1.0
        for term in (even, odd):
            d = 1.0 + term * d
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = 1.0 + term / c
            c = c if abs(c) > _TINY else _TINY
            step = d * c
            value *= step
        if abs(step - 1.0) <= _EPS:
            return value
    raise MetercapError(  # pragma: no cover - the terms needed grow as the root of a and b, far below the bound
        f"the continued fraction did not settle for a = {a}, b = {b}", where="incomplete_beta"
    )


def beta_tails(a: float, b: float, x: float, y: float) -> tuple[float, float]:
    """Return (I_x(a, b), 1 − I_x(a, b)) for x + y = 1, each with full relative accuracy where it is the small one.

    No unit, scalars. Degenerate: x = 0 gives (0, 1), y = 0 gives (1, 0). Source: Abramowitz and Stegun 26.5.2.
    """
    if x <= 0.0:
        return 0.0, 1.0
    if y <= 0.0:
        return 1.0, 0.0
    if x <= (a + 1.0) / (a + b + 2.0):
        lower = _front(a, b, x, y) * _fraction(a, b, x) / a
        return lower, 1.0 - lower
    upper = _front(a, b, x, y) * _fraction(b, a, y) / b
    return 1.0 - upper, upper


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Return I_x(a, b) = ∫₀ˣ t^(a−1)·(1 − t)^(b−1) dt / B(a, b), for a, b > 0 and 0 ≤ x ≤ 1.

    No unit, scalars. Degenerate: x = 0 gives 0, x = 1 gives 1. Source: Abramowitz and Stegun 26.5.1.
    """
    need(a > 0.0 and b > 0.0 and 0.0 <= x <= 1.0, "incomplete_beta", f"a, b > 0 and 0 ≤ x ≤ 1: {a}, {b}, {x}")
    return beta_tails(a, b, x, 1.0 - x)[0]


def beta_quantile(a: float, b: float, p: float) -> float:
    """Return x with I_x(a, b) = p, for a, b > 0 and 0 ≤ p ≤ 1.

    No unit, scalars. Found by Newton steps on ln I against ln x, which keeps a tiny x exact, held inside a bracket
    that shrinks at every step. Degenerate: p = 0 gives 0, p = 1 gives 1. Source: Abramowitz and Stegun 26.5.1.
    """
    need(a > 0.0 and b > 0.0 and 0.0 <= p <= 1.0, "beta_quantile", f"a, b > 0 and 0 ≤ p ≤ 1: {a}, {b}, {p}")
    if p in (0.0, 1.0):
        return p
    # I_x(a, b) ≈ x^a / (a·B) for small x gives the first guess, in logarithms, which cannot underflow.
    guess = (math.log(p) + math.log(a) + log_beta(a, b)) / a
    low, high = -745.0, 0.0
    if guess <= low:
        return 0.0
    ln_x = min(guess, math.log(a / (a + b)))
    target = math.log(p)
    for _ in range(200):
        x, y = math.exp(ln_x), -math.expm1(ln_x)
        lower, _upper = beta_tails(a, b, x, y)
        if lower < p:
            low = ln_x
        else:
            high = ln_x
        slope = _front(a, b, x, y) / y if y > 0.0 else 0.0
        step = (math.log(lower) - target) * lower / slope if slope > 0.0 and lower > 0.0 else math.inf
        after = ln_x - step
        if not low < after < high:
            after = 0.5 * (low + high)
        if abs(after - ln_x) <= 2e-16 * max(1.0, abs(ln_x)):
            return math.exp(after)
        ln_x = after
    return math.exp(ln_x)
