"""Numbers as displays write them: prefixes, and how far a float carries what is written."""

from __future__ import annotations

PREFIX_EXPONENT = {"n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6}
"""Exponent of ten of the prefixes that displays show."""
MAX_DIGITS = 15
"""A float carries any decimal of up to 15 significant digits there and back (IEEE 754 binary64, DBL_DIG)."""
MAX_EXPONENT = 30
"""No meter shows a number whose last digit weighs more than 10^30 or less than 10^-30."""


def decimals_of(text: str) -> int:
    """Return how many places stand after the point of a number without an exponent."""
    _, _, after = text.partition(".")
    return len(after)
