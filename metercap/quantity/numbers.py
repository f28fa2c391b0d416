"""Decimal text to floats, and what every reader of text here shares."""

from __future__ import annotations

import math
import re
from decimal import ROUND_HALF_EVEN, Context, Decimal

from metercap.errors import ValueText

MAX_TEXT = 64
"""Longest text, in characters, that is looked at as one value or one item name."""

# Wide enough that no product of 64-character numbers is ever rounded, whatever context the caller has set.
EXACT = Context(prec=150, rounding=ROUND_HALF_EVEN)

NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_DISPLAYED = re.compile(rf" *{NUMBER}(?:[eE][+-]?[0-9]{{1,3}})? *")


def decimal_si(text: str, exponent: int) -> float:
    """The float nearest to the decimal number `text` × 10^`exponent`: `float(Decimal(text).scaleb(exponent))`.

    Never counts × resolution, whose two roundings can differ from the number on the display in the last bit. `text`
    is an ASCII number, spaces around it allowed, with or without an exponent of its own. The sign of a negative
    zero stays, as the display shows it. Raises `ValueText` for anything else and for numbers beyond the floats.
    """
    if _DISPLAYED.fullmatch(text) is None or abs(exponent) > 999:
        raise ValueText(f"{shown(text)} is not a decimal number")
    value = float(Decimal(text).scaleb(exponent, EXACT))
    if math.isinf(value):
        raise ValueText(f"{shown(text)} is too large a number")
    return value


def shown(text: str) -> str:
    """`text` quoted for a message: control and unprintable characters escaped, cut to a bearable length."""
    return repr(text if len(text) <= MAX_TEXT else f"{text[: MAX_TEXT - 1]}…")
