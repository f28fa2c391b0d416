"""The written form of a number, apart from the number: what a reading's value and resolution do not say.

A reading carries value and resolution. A frame also carries how the number was laid out: leading zeros or blanks,
where the point stood, which prefix. A *shape* is that layout: the displayed text with "0" for every digit and "_"
for every blank ("_00.0", "+0.000E+03"). Each family has one usual shape for a value and a resolution; only a frame
that differs from it carries its shape along, as the flag "shape:…". So value, resolution and shape rebuild the
text exactly.
"""

from __future__ import annotations

from decimal import Decimal

PREFIX_EXPONENT = {"n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6}
"""Exponent of ten of the prefixes that displays show."""
PREFIX_OF = {exponent: prefix for prefix, exponent in PREFIX_EXPONENT.items()}
MAX_DIGITS = 15
"""A float carries any decimal of up to 15 significant digits there and back (IEEE 754 binary64, DBL_DIG)."""
MAX_EXPONENT = 30
"""No meter shows a number whose last digit weighs more than 10^30 or less than 10^-30."""


def exponent_of(resolution: float) -> int | None:
    """Return the power of ten that `resolution` is, or None when it is none (0.0 too)."""
    _, digits, exponent = Decimal(repr(resolution)).normalize().as_tuple()
    return exponent if digits == (1,) and isinstance(exponent, int) else None


def counts_of(value: float, exponent: int) -> int | None:
    """Return |value| / 10^exponent, the number the display shows without its point; None when that is not whole."""
    counts = Decimal(repr(abs(value))).scaleb(-exponent)
    return int(counts) if counts == counts.to_integral_value() else None


def decimals_of(shape: str) -> int:
    """Return how many places stand after the point of a shape without an exponent."""
    _, _, after = shape.partition(".")
    return len(after)


def shape_of(text: str) -> str:
    """Return the shape of a number's text: every ASCII digit becomes "0", every space "_"."""
    return "".join("0" if "0" <= sign <= "9" else "_" if sign == " " else sign for sign in text)


def fill(shape: str, counts: int) -> str | None:
    """Return `shape` with the digits of `counts` in its places, zero padded; None when they do not fit."""
    places = shape.count("0")
    digits = f"{counts:0{max(places, 1)}d}"
    if len(digits) != places:
        return None
    rest = iter(digits)
    return "".join(next(rest) if sign == "0" else sign for sign in shape)


def usual_decimals(exponent: int, places: int, prefixed: bool) -> int | None:
    """Return how many of `places` digits usually stand after the point when the last one weighs 10^exponent.

    A prefix is a power of 1000, so two answers may fit ("2187" and "2.187 k"): the one with more decimals is the
    usual one. `prefixed` false: the unit takes no prefix (%, °C). None when no prefix fits.
    """
    for decimals in range(places - 1, -1, -1):
        if exponent + decimals in PREFIX_OF and (prefixed or exponent + decimals == 0):
            return decimals
    return None


def pointed(cells: str, decimals: int) -> str:
    """Return `cells` with a point before the last `decimals` of them; no point for 0."""
    return f"{cells[:-decimals]}.{cells[-decimals:]}" if decimals else cells
