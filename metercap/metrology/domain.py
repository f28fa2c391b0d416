"""What every formula of this room checks before it computes, and how its results are rounded.

A question outside a formula's domain is answered by a `MetercapError` that names the formula, never by a NaN.
"""

from __future__ import annotations

import math

from metercap.errors import MetercapError


def round6(x: float) -> float:
    """Return `x` rounded to 6 significant digits, the form in which a derived number enters a verdict.

    Formula: the float nearest to the 6-digit decimal nearest to `x`. Any unit. The last bits of a logarithm may
    differ between machines; six digits never show it, so a verdict is the same everywhere. Degenerate: zero of
    either sign gives 0.0; an infinity stays one.
    """
    return float(f"{x:.5e}") + 0.0


def need(holds: bool, where: str, what: str) -> None:
    """Raise `MetercapError` that names the formula `where` unless `holds`; `what` says what the formula needs."""
    if not holds:
        raise MetercapError(what, where=where, hint="check the numbers that were given")


def need_confidence(confidence: float, where: str) -> None:
    """Refuse a confidence that is not strictly between 0 and 1 (a NaN too)."""
    if not 0.0 < confidence < 1.0:
        need(False, where, f"a confidence lies between 0 and 1, and this is {confidence}")


def need_uncertainty(u: float, where: str) -> None:
    """Refuse an uncertainty that is negative, infinite or NaN."""
    if not 0.0 <= u < math.inf:  # asked first: these run for every reading, and the sentence costs more than the check
        need(False, where, f"an uncertainty is finite and not negative, and this is {u}")


def need_finite(x: float, where: str) -> None:
    """Refuse a value that is infinite or NaN."""
    if not math.isfinite(x):
        need(False, where, f"a value must be finite, and this is {x}")
