"""Repeated readings: mean, scatter, correlation, and what they are worth.

A reading is the float of a displayed decimal, so the arithmetic here is done on those decimals, as whole numbers of
the finest digit, and rounded once at the end. Nothing cancels, and the result is the same on every machine. The
certified values of the NIST data sets, made to break floating-point sums, come out to their last digit.

Sources: JCGM 100:2008, 4.2; NIST/SEMATECH e-Handbook 1.3.5.12 (autocorrelation); Bayley and Hammersley, J. R. Stat.
Soc. Suppl. 8 (1946) 184 (effective number).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Context, Decimal
from fractions import Fraction

import msgspec

from metercap.metrology.domain import need, need_finite, need_uncertainty

FEW = 30
"""Below this many conversions scatter is never divided by √n."""
MOST_CORRELATED = 0.95
"""The lag-one autocorrelation is taken no higher: beyond it a burst says almost nothing about its own mean."""

MAD_SCALE = 1.482602218505602
"""1/Φ⁻¹(¾): a scaled MAD of normal data estimates s."""

_UPPER_90 = 1.28
"""A normal deviate that nine in ten stay below."""
_EXACT = Context(prec=2000)
"""Room for any two floats side by side, so that no step rounds."""


class Scatter(msgspec.Struct, frozen=True):
    """What a run of readings says about its mean: standard uncertainty `u` (its unit) and degrees of freedom."""

    u: float
    dof: float


def exact_integers(values: Sequence[float], where: str) -> tuple[list[int], int]:
    """Return whole numbers m and one power e such that each value's shortest decimal is m·10^e.

    Any unit, one dimension. Degenerate: no values give ([], 0); an infinity or NaN is refused, naming `where`.
    """
    digits, places = [], []
    for value in values:
        need_finite(value, where)
        text = repr(float(value))  # float() because the repr of another number type need not be a plain decimal
        whole, point, part = text.partition(".")
        if not point or "e" in part:
            return _with_exponents(values, where)
        digits.append(int(whole + part))
        places.append(len(part))
    most = max(places, default=0)
    return [number * 10 ** (most - own) for number, own in zip(digits, places, strict=True)], -most


def _with_exponents(values: Sequence[float], where: str) -> tuple[list[int], int]:
    """Return the same where a shortest decimal is written with an exponent."""
    for value in values:
        need_finite(value, where)
    decimals = [Decimal(repr(float(value))) for value in values]
    finest = min(int(decimal.as_tuple().exponent) for decimal in decimals)
    return [int(decimal.scaleb(-finest, _EXACT)) for decimal in decimals], finest


def mean(values: Sequence[float]) -> float:
    """Return Σx/n of the displayed decimals, rounded once.

    Any unit, one dimension, n ≥ 1 (no values are refused). Degenerate: one value is its own mean. Source: JCGM
    100:2008, 4.2.1.
    """
    need(len(values) > 0, "mean", "no values have no mean")
    whole, power = exact_integers(values, "mean")
    return float(_scaled(Fraction(sum(whole), len(whole)), power))


def minus(a: float, b: float) -> float:
    """Return a − b of the displayed decimals, rounded once: 0.3 − 0.1 is 0.2.

    Any unit, scalars. Degenerate: an infinity or NaN is refused.
    """
    (x, y), power = exact_integers((a, b), "minus")
    return float(_scaled(Fraction(x - y), power))


def sd(values: Sequence[float]) -> float:
    """Return the experimental standard deviation s = √(Σ(x − mean)²/(n − 1)) of the displayed decimals.

    Any unit, one dimension, n ≥ 2 (fewer are refused: one reading has no scatter). Degenerate: equal values give 0.
    Source: JCGM 100:2008, 4.2.2.
    """
    need(len(values) >= 2, "sd", f"a standard deviation needs two values or more, and there are {len(values)}")
    whole, power = exact_integers(values, "sd")
    n = len(whole)
    # n·x − Σx is n times each deviation, still whole: no mean is rounded on the way.
    square, by = _product_sum(_n_deviations(whole), 0), n * n * (n - 1)
    return root(square, by * 10 ** (-2 * power)) if power < 0 else root(square * 10 ** (2 * power), by)


def sd_known_to(n: int) -> float:
    """Return the relative standard deviation of s itself from n independent normal values: √(1 − c₄²)/c₄.

    c₄ = √(2/(n − 1))·Γ(n/2)/Γ((n − 1)/2). A ratio, n ≥ 2: 0.76 for two values, 0.24 for ten. Source: JCGM 100:2008,
    E.4.3 and Table E.1.
    """
    need(n >= 2, "sd_known_to", f"a standard deviation needs two values or more, and there are {n}")
    c4 = math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2.0) - math.lgamma((n - 1) / 2.0))
    return math.sqrt(1.0 - c4 * c4) / c4


def median(values: Sequence[float]) -> float:
    """Return the middle value, or the mean of the two middle ones.

    Any unit, one dimension, n ≥ 1 (no values are refused). Source: ISO 13528:2022, Annex C (C.2.1 in the 2015 text).
    """
    need(len(values) > 0, "median", "no values have no median")
    whole, power = exact_integers(values, "median")
    return float(_scaled(Fraction(_twice_middle(whole), 2), power))


def mad(values: Sequence[float]) -> float:
    """Return the scaled median absolute deviation, 1.4826 × median|x − median|: for normal data an estimate of s.

    Any unit, one dimension, n ≥ 1. Degenerate: 0 when more than half the values are equal. Source: ISO 13528:2022,
    Annex C (scaled MAD); the factor is 1/Φ⁻¹(¾).
    """
    need(len(values) > 0, "mad", "no values have no deviation")
    whole, power = exact_integers(values, "mad")
    twice = _twice_middle(whole)
    deviation = _twice_middle([abs(2 * value - twice) for value in whole])
    return MAD_SCALE * float(_scaled(Fraction(deviation, 4), power))


def lag_one(values: Sequence[float]) -> float:
    """Return the lag-one autocorrelation r₁ = Σ(x_i − m)(x_{i+1} − m)/Σ(x_i − m)².

    No unit, one dimension, n ≥ 2. Degenerate: equal values give 0. Source: NIST/SEMATECH e-Handbook 1.3.5.12.
    """
    need(len(values) >= 2, "lag_one", f"autocorrelation needs two values or more, and there are {len(values)}")
    deviations = _n_deviations(exact_integers(values, "lag_one")[0])
    below = _product_sum(deviations, 0)
    return float(Fraction(_product_sum(deviations, 1), below)) if below else 0.0


def correlation(first: Sequence[float], second: Sequence[float]) -> float:
    """Return r = Σ(x − x̄)(y − ȳ)/√(Σ(x − x̄)²·Σ(y − ȳ)²) of paired values.

    No unit, two equal lengths, n ≥ 2. Degenerate: 0 when either does not vary. Source: JCGM 100:2008, 5.2.2, 5.2.3.
    """
    need(len(first) == len(second) >= 2, "correlation", "two equally long runs of two values or more are needed")
    x = _n_deviations(exact_integers(first, "correlation")[0])
    y = _n_deviations(exact_integers(second, "correlation")[0])
    both = sum(a * b for a, b in zip(x, y, strict=True))
    below = _product_sum(x, 0) * _product_sum(y, 0)
    return math.copysign(root(both * both, below), both) if below else 0.0


def effective_n(n: int, r: float) -> float:
    """Return how many independent readings `n` correlated ones are worth: n·(1 − r)/(1 + r), at least 1.

    No unit, scalars; `r`, the lag-one autocorrelation of a first-order process, is clamped to 0…0.95. Degenerate:
    one reading is worth one. Source: Bayley and Hammersley 1946, for large n.
    """
    need(n >= 1, "effective_n", f"at least one reading is needed, and there are {n}")
    r = min(max(r, 0.0), MOST_CORRELATED)
    return max(1.0, n * (1.0 - r) / (1.0 + r))


def repeatability(values: Sequence[float], resolution: float) -> Scatter:
    """Return the standard uncertainty of a recorded value that comes from scatter, and its degrees of freedom.

    `values`: the conversions it rests on; `resolution`: one count; same unit.
    Fewer than 30: u = max(s, one count), never divided by √n, because neighbouring conversions are strongly
    correlated and s shows only part of the noise; dof n − 1, infinite when the count decides.
    From 30 on: u² = s²·γ(n − 1)/(n(n − γ)), where γ = (1 + r)/(1 − r) − 2r(1 − rⁿ)/(n(1 − r)²) is n over the effective
    number of readings of a first-order process, and (n − 1)/(n − γ) corrects s², which correlation makes too
    small. r₁ comes out too small as well: the rounding of the display, δ²/12, is taken off its denominator, and it is
    raised by its bias, (1 + 4r)/n, and by 1.28 standard errors, √((1 − r²)/n), to a limit that 90 % of bursts keep
    below. Where that exceeds 0.95 nothing is divided: u is s, or what the formula gives at 0.95 if more. dof is the
    effective number less one, at least 1.
    Degenerate: fewer than two values give one count; 30 or more equal ones give 0 (the resolution component remains).
    Source: JCGM 100:2008, 4.2.3, 4.2.7, 4.3.7; Bayley and Hammersley 1946; Marriott and Pope, Biometrika 41 (1954)
    390 (bias of r₁).
    """
    need_uncertainty(resolution, "repeatability")
    n = len(values)
    s = sd(values) if n >= 2 else 0.0
    if n < FEW:
        return Scatter(s, n - 1.0) if s > resolution else Scatter(resolution, math.inf)
    r = _upper_lag_one(values, s, resolution)
    gamma = _gamma(n, r)
    u = s * math.sqrt(gamma * (n - 1) / (n * (n - gamma)))
    return Scatter(max(u, s) if r > MOST_CORRELATED else u, max(1.0, effective_n(n, r) - 1.0))


def own_repeatability(values: Sequence[float], resolution: float) -> Scatter:
    """Return the standard uncertainty, from scatter, of the *last* of `values`, and its degrees of freedom.

    `values` and `resolution` as in `repeatability`. A single conversion scatters by s however many there are:
    u = max(s, one count), never divided. From 30 on s² is corrected for its correlation, (n − 1)/(n − γ), and dof is
    the effective number less one, as there. Degenerate: fewer than two values, or all equal, give one count, dof
    infinite.
    Source: JCGM 100:2008, 4.2.2; Bayley and Hammersley 1946.
    """
    n = len(values)
    if n < FEW:
        return repeatability(values, resolution)
    need_uncertainty(resolution, "own_repeatability")
    u = noise(values, resolution)
    if u <= resolution:
        return Scatter(resolution, math.inf)
    return Scatter(u, max(1.0, effective_n(n, _upper_lag_one(values, sd(values), resolution)) - 1.0))


def noise(values: Sequence[float], resolution: float) -> float:
    """Return the standard deviation of one conversion, s·√((n − 1)/(n − γ)): s corrected for what correlation hides.

    `values`: conversions of one contact, n ≥ 2; `resolution`: one count; same unit. γ as in `repeatability`, at a
    lag-one autocorrelation that 90 % of bursts keep below, 0.95 at most. Degenerate: equal values give 0. Source: JCGM
    100:2008, 4.2.2; Bayley and Hammersley 1946; Marriott and Pope 1954.
    """
    n, s = len(values), sd(values)
    return s * math.sqrt((n - 1) / (n - _gamma(n, _upper_lag_one(values, s, resolution))))


def _gamma(n: int, r: float) -> float:
    """Return n over the effective number of readings of a first-order process, r no higher than 0.95."""
    r = min(r, MOST_CORRELATED)
    return (1.0 + r) / (1.0 - r) - 2.0 * r * (1.0 - r**n) / (n * (1.0 - r) ** 2)


def _upper_lag_one(values: Sequence[float], s: float, resolution: float) -> float:
    """Return a lag-one autocorrelation that 90 % of bursts keep below; above 0.95 where that cannot be excluded."""
    n = len(values)
    spread, rounding = (n - 1) * s * s, n * resolution * resolution / 12.0
    r = max(lag_one(values), 0.0)
    # Rounding is white: it adds to the spread and nothing to the product of neighbours.
    r = min(r * spread / (spread - rounding), 1.0) if spread > rounding else MOST_CORRELATED
    return r + (1.0 + 4.0 * r) / n + _UPPER_90 * math.sqrt((1.0 - r * r) / n)


def _n_deviations(whole: Sequence[int]) -> list[int]:
    total = sum(whole)
    return [len(whole) * value - total for value in whole]


def _twice_middle(whole: Sequence[int]) -> int:
    ordered = sorted(whole)
    return ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]


def _product_sum(deviations: Sequence[int], lag: int) -> int:
    return sum(a * b for a, b in zip(deviations, deviations[lag:], strict=False))


def _scaled(ratio: Fraction, power: int) -> Fraction:
    return ratio * Fraction(10) ** power


def root(square: int, by: int) -> float:
    """Return √(square/by), correct to the last bit or nearly, whatever its size: nothing overflows on the way."""
    if not square:
        return 0.0
    common = math.gcd(square, by)
    square, by = square // common, by // common
    # A power of four that leaves at least 64 bits in the whole-number root.
    shift = max(0, (130 - square.bit_length() + by.bit_length() + 1) // 2)
    return math.isqrt((square << (2 * shift)) // by) / (1 << shift)
