"""Exact one-sided limits of a proportion for the studies, by a reference library."""

from __future__ import annotations

from scipy.stats import beta


def upper_bound(k: int, n: int, confidence: float = 0.95) -> float:
    """At most so often, with `confidence`: Beta⁻¹(C; k+1, n−k). Source: Clopper and Pearson 1934."""
    return 1.0 if k == n else float(beta.ppf(confidence, k + 1, n - k))
