"""A unit against a reference, and what good units let one expect.

E_n ranks differences; it fails nobody, since trimmers are set per unit and limits come from a plan. Sources: ISO
13528:2022, 9.7 (E_n) and Annex C (robust estimates); JCGM 100:2008, 5.1; NIST/SEMATECH e-Handbook, 7.2.1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from metercap.metrology.domain import need, need_confidence, need_finite, need_uncertainty, round6
from metercap.metrology.normal import normal_cdf
from metercap.metrology.series import mad, mean, median, minus, sd
from metercap.metrology.student import t_factor

ENOUGH = 8
"""From this many good units on, median and MAD replace mean and standard deviation."""
_MAD_EFFICIENCY = 0.37
"""Efficiency of the MAD for normal data: its scatter is that of an s with this share of the degrees of freedom."""


class Comparison(msgspec.Struct, frozen=True):
    """A value against a reference, in their unit; `ratio` is None for a reference of 0. Numbers of 6 digits.

    `signal` is |E_n| ≥ 1: the difference is more than its uncertainty explains.
    """

    difference: float
    ratio: float | None
    expanded: float
    e_n: float
    signal: bool


class Expected(msgspec.Struct, frozen=True):
    """Where a further good unit's value lies, from the values of `n` good ones.

    `centre` is the exact mean or median, not rounded to 6 digits. `method`: "uncertainty" for one good unit,
    "prediction" for 2 to 7, "median and MAD" from 8 on. `floored`: the spread of the good units is below the
    uncertainty, so that U decides the width.
    """

    centre: float
    half_width: float
    low: float
    high: float
    n: int
    method: Literal["uncertainty", "prediction", "median and MAD"]
    floored: bool


def compare(value: float, reference: float, expanded_difference: float) -> Comparison:
    """Return difference x − X, ratio x/X and E_n = (x − X)/U(Δ) of a value and a reference.

    `expanded_difference`: U(Δ), from `difference_budget` for one meter under like conditions, else from `quadrature`;
    one unit, scalars. A signal is |E_n| ≥ 1, as ISO 13528:2022 has it; ISO/IEC 17043:2010 would still accept 1
    itself. Degenerate: X = 0 has no ratio; U(Δ) = 0 is refused. Source: ISO 13528:2022, 9.7.
    """
    need(0.0 < expanded_difference < math.inf, "compare", f"U(Δ) must be positive, and it is {expanded_difference}")
    difference = minus(value, reference)
    score = round6(difference / expanded_difference)
    ratio = round6(value / reference) if reference != 0.0 else None
    return Comparison(round6(difference), ratio, round6(expanded_difference), score, abs(score) >= 1.0)


def quadrature(*expanded: float) -> float:
    """Return √ΣU² of independent expanded uncertainties that share a coverage factor.

    One unit, scalars, not negative. Degenerate: none give 0. Source: JCGM 100:2008, 5.1.2; ISO 13528:2022, 9.7.
    """
    for one in expanded:
        need_uncertainty(one, "quadrature")
    return math.sqrt(math.fsum(one * one for one in expanded))


def chance_flags(items: int, k: float = 2.0) -> float:
    """Return how many of `items` comparisons chance alone would flag: items·2Φ(−k), for |E_n| ≥ 1 with U = k·u.

    A number of items; nothing need be wrong for so many signals. It is an upper figure where U is mostly a data
    sheet's limit, which normal errors seldom reach. Degenerate: no items give 0. Source: JCGM 100:2008, Table G.1.
    """
    need(items >= 0 and 0.0 < k < math.inf, "chance_flags", f"items ≥ 0 and k > 0 are needed: {items}, {k}")
    return round6(items * 2.0 * normal_cdf(-k))


def expected_value(values: Sequence[float], expanded: float, *, confidence: float = 0.95) -> Expected:
    """Return the interval in which one further good unit's value lies with `confidence`.

    `values`: one of each good unit; `expanded`: U of a comparison with them, the least half-width; one unit.
    n = 1: value ± U, since one unit says nothing of spread. n < 8: mean ± t·s·√(1 + 1/n), t with n − 1 degrees
    of freedom. n ≥ 8: median ± t·MAD·√(1 + π/(2n)), MAD scaled, t with 0.37(n − 1), because MAD scatters more than s
    (measured coverage for normal data: 95.0 to 96.3 %, n = 8 to 50). Never narrower than ±U. Degenerate: equal
    values give ±U; no values are refused. Source: NIST/SEMATECH e-Handbook 7.2.1 (t); Hahn and Meeker, Statistical
    Intervals, 4.8 (prediction); ISO 13528:2022, Annex C (median, MAD); Rousseeuw and Croux, J. Am. Stat. Assoc. 88
    (1993) 1273 (efficiency 37 %).
    """
    need_confidence(confidence, "expected_value")
    need_uncertainty(expanded, "expected_value")
    n = len(values)
    need(n > 0, "expected_value", "no good unit, no expectation")
    for value in values:
        need_finite(value, "expected_value")
    if n >= ENOUGH:
        return expected_middle(median(values), mad(values), n, expanded, confidence=confidence)
    method: Literal["uncertainty", "prediction", "median and MAD"]
    if n == 1:
        method, centre, half_width = "uncertainty", float(values[0]), 0.0
    else:
        method, centre = "prediction", mean(values)
        half_width = t_factor(confidence, n - 1.0) * sd(values) * math.sqrt(1.0 + 1.0 / n)
    return _expected(centre, half_width, n, method, expanded)


def expected_middle(middle: float, spread: float, n: int, expanded: float, *, confidence: float = 0.95) -> Expected:
    """Return what `expected_value` does of n ≥ 8 values whose median and scaled MAD are known: `middle`, `spread`.

    Source: as there.
    """
    need_confidence(confidence, "expected_middle")
    need_uncertainty(expanded, "expected_middle")
    need_uncertainty(spread, "expected_middle")
    need_finite(middle, "expected_middle")
    need(n >= ENOUGH, "expected_middle", f"median and MAD stand for {ENOUGH} values or more, and there are {n}")
    factor = t_factor(confidence, _MAD_EFFICIENCY * (n - 1.0))
    return _expected(middle, factor * spread * math.sqrt(1.0 + 0.5 * math.pi / n), n, "median and MAD", expanded)


def _expected(
    centre: float,
    half_width: float,
    n: int,
    method: Literal["uncertainty", "prediction", "median and MAD"],
    expanded: float,
) -> Expected:
    width = round6(max(half_width, expanded))
    return Expected(centre, width, minus(centre, width), minus(centre, -width), n, method, half_width < expanded)
