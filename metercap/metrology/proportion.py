"""How often something works: intervals for k of n, and how many passes prove a fix.

Sources: Clopper and Pearson, Biometrika 26 (1934) 404; Wilson, J. Am. Stat. Assoc. 22 (1927) 209; Newcombe, Stat. Med.
17 (1998) 857; NIST/SEMATECH e-Handbook 7.2.4; Fisher, The Design of Experiments (1935); Hanley and Lippman-Hand, JAMA
249 (1983) 1743 (rule of three). Of repeated attempts: Šidák, J. Am. Stat. Assoc. 62 (1967) 626; Lan and DeMets,
Biometrika 70 (1983) 659 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Context, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Literal

import msgspec

from metercap.metrology.beta import beta_quantile
from metercap.metrology.domain import need, need_confidence, round6
from metercap.metrology.normal import normal_quantile

_FINE = Context(prec=60)
"""Logarithms of so many digits decide which whole number is the next, the same on every machine."""
_SNAP = Decimal("1e-40")


class Interval(msgspec.Struct, frozen=True):
    """Confidence limits of a proportion, 0 to 1, rounded to 6 digits."""

    low: float
    high: float


def clopper_pearson(k: int, n: int, confidence: float = 0.95) -> Interval:
    """Return the exact two-sided interval for k of n: Beta⁻¹(α/2; k, n−k+1) … Beta⁻¹(1−α/2; k+1, n−k).

    α is 1 − confidence. Counts, scalars. It covers at least `confidence`, often more. Degenerate: k = 0 has lower
    limit 0, k = n upper limit 1; n = 0 gives 0…1. Source: Clopper and Pearson 1934; NIST e-Handbook 7.2.4.2.
    """
    _check(k, n, confidence, "clopper_pearson")
    tail = 0.5 * (1.0 - confidence)
    return Interval(round6(_lower(k, n, tail)), round6(1.0 - _lower(n - k, n, tail)))


def wilson(k: int, n: int, confidence: float = 0.95) -> Interval:
    """Return Wilson's score interval (p + z²/2n ± z√(p(1−p)/n + z²/4n²))/(1 + z²/n), p = k/n.

    Counts, scalars. Covers `confidence` on average, not always. Degenerate: k = 0 has lower limit 0, k = n upper
    limit 1; n = 0 gives 0…1. Source: Wilson 1927; NIST e-Handbook 7.2.4.1; Newcombe 1998, method 3.
    """
    _check(k, n, confidence, "wilson")
    if n == 0:
        return Interval(0.0, 1.0)
    z = normal_quantile(0.5 + 0.5 * confidence)
    square = z * z
    middle = k + 0.5 * square
    reach = z * math.sqrt(k * (n - k) / n + 0.25 * square)
    low = 0.0 if k == 0 else (middle - reach) / (n + square)
    high = 1.0 if k == n else (middle + reach) / (n + square)
    return Interval(round6(low), round6(high))


@lru_cache(maxsize=1024)
def success_run(reliability: float, confidence: float) -> int:
    """Return how many passes in a row, no failure, show `reliability` with `confidence`: n = ⌈ln(1 − C)/ln R⌉.

    Both strictly between 0 and 1. The ratio is taken to 60 digits, so a whole number is never missed by a last bit.
    Degenerate: at least 1. Source: Kececioglu, Reliability & Life Testing Handbook (from memory); the zero-failure
    case of Clopper and Pearson 1934, Rⁿ ≤ 1 − C.
    """
    need_confidence(reliability, "success_run")
    need_confidence(confidence, "success_run")
    risk = _FINE.subtract(Decimal(1), Decimal(repr(float(confidence))))
    ratio = _FINE.divide(_FINE.ln(risk), _FINE.ln(Decimal(repr(float(reliability)))))
    return max(1, math.ceil(_FINE.subtract(ratio, _SNAP)))


def attempt_confidence(confidence: float, attempt: int) -> float:
    """Return the confidence that attempt number `attempt` (1, 2, …) has to reach: 1 − (1 − C)/2^(attempt − 1).

    Who tries again after a failure gets another chance to be lucky. Each further attempt may therefore spend half the
    risk of the one before, so that however many are made, all of them together risk less than twice 1 − C (geometric
    series). A scalar. Degenerate: the first attempt has C itself. Source: spending of risk, Lan and DeMets 1983.
    """
    need_confidence(confidence, "attempt_confidence")
    need(attempt >= 1, "attempt_confidence", f"attempts count from 1, and this is {attempt}")
    return 1.0 - math.ldexp(1.0 - confidence, 1 - attempt)


def history_confidence(reliability: float, runs: Sequence[int]) -> float:
    """Return what a success run proves when every attempt before it counts: Π(1 − R^nᵢ), rounded to 6 digits.

    `runs` holds how many passes in a row attempt i needed, the present one included. An attempt ends with its first
    failure or with its run, so a unit that starts with reliability R, and no better, completes one of them with the
    chance 1 − Π(1 − R^nᵢ). Degenerate: no attempt gives 1; one gives 1 − Rⁿ, the success run's own confidence.
    Source: Šidák 1967, for independent chances; the success run as in `success_run`.
    """
    need_confidence(reliability, "history_confidence")
    need(all(n >= 1 for n in runs), "history_confidence", f"a run has at least one pass: {list(runs)}")
    return round6(math.prod(1.0 - reliability**n for n in runs))


def fisher_exact(
    table: tuple[tuple[int, int], tuple[int, int]], alternative: Literal["two-sided", "less", "greater"] = "two-sided"
) -> float:
    """Return Fisher's exact p for a 2 × 2 table of counts ((a, b), (c, d)), with all four margins held.

    "greater": chance of an `a` at least so large; "less": at most so large; "two-sided": of any table no more
    likely than this one. Counted in whole numbers and divided once. Degenerate: an empty row or column gives 1.
    Source: Fisher 1935.
    """
    (a, b), (c, d) = table
    need(min(a, b, c, d) >= 0, "fisher_exact", f"counts are not negative, and these are {a}, {b}, {c}, {d}")
    need(alternative in ("two-sided", "less", "greater"), "fisher_exact", f"unknown alternative {alternative!r}")
    first, second, column = a + b, c + d, a + c
    least, most = max(0, column - second), min(first, column)
    ways = {x: math.comb(first, x) * math.comb(second, column - x) for x in range(least, most + 1)}
    if alternative == "greater":
        extreme = sum(count for x, count in ways.items() if x >= a)
    elif alternative == "less":
        extreme = sum(count for x, count in ways.items() if x <= a)
    else:
        extreme = sum(count for count in ways.values() if count <= ways[a])
    return float(Fraction(extreme, math.comb(first + second, column)))


@lru_cache(maxsize=1024)
def passes_to_show_change(failures: int, runs: int, confidence: float = 0.95) -> int | None:
    """Return the least number of passes in a row, no failure, that shows a fix changed something.

    That is the least m with Fisher's one-sided p = C(runs, failures)/C(runs + m, failures) ≤ 1 − confidence, given
    `failures` in `runs` before the fix. It shows "better", not "reliable". Compared in whole numbers. Degenerate:
    None without a failure before, since then no number of passes shows a change. Source: Fisher 1935.
    """
    _check(failures, runs, confidence, "passes_to_show_change")
    if failures == 0:
        return None
    risk = 1 - Fraction(repr(float(confidence)))
    before = math.comb(runs, failures)

    def shown(m: int) -> bool:
        return before <= risk * math.comb(runs + m, failures)

    high = 1
    while not shown(high):
        high *= 2
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if shown(middle) else (middle, high)
    return high


def _lower(k: int, n: int, tail: float) -> float:
    if k == 0:
        return 0.0
    if k == n:
        return math.exp(math.log(tail) / n)
    return beta_quantile(float(k), n - k + 1.0, tail)


def _check(k: int, n: int, confidence: float, where: str) -> None:
    need(0 <= k <= n, where, f"k of n needs 0 ≤ k ≤ n, and this is {k} of {n}")
    need_confidence(confidence, where)
