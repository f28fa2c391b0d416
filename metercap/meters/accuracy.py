"""A row of the accuracy table as the meter's manual prints it: "resistance 400.0 ohm 1.2 % + 2".

The range is written with all its digits, since its last digit's weight is what the row is for: 400.0 ohm has steps of
0.1 ohm. ±(percent of reading + counts of the last digit) is how handheld meters' manuals state it (common practice, no
source).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from metercap.errors import UsageError
from metercap.meter import Accuracy
from metercap.meters.shown import EXPONENTS, unit_of
from metercap.quantity import Quantity

MOST_PERCENT = 20.0
MOST_COUNTS = 500.0
EXAMPLE = '"resistance 400.0 ohm 1.2 % + 2", "voltage_dc 4.000 V 0.5 % + 1", "capacitance all 3 % + 5"'
_ROW = re.compile(
    r"(?P<quantity>[a-z_]+(?: dc| ac)?)\s*[:,]?\s+(?:(?P<all>all)|(?P<range>\d+\.?\d*)\s*(?P<unit>[^\s\d:,]+))"
    r"\s*[:,]?\s+"
    r"(?:\u00b1|\+/?-)?\s*\(?\s*(?P<percent>\d+(?:\.\d+)?)\s*%\s*"
    r"(?:\+\s*(?P<counts>\d+(?:\.\d+)?)\s*(?:counts|digits|dgt|d)?)?\s*\)?"
)


def row(text: str, counts: int | None) -> Accuracy:
    """Return one row. UsageError for what is not understood, and for what cannot be so on a display of `counts`."""
    match = _ROW.fullmatch(text.strip())
    if match is None:
        raise _unclear(text, "is no row: quantity, range or all, percent, counts")
    name = match["quantity"].replace(" ", "_")
    if name not in tuple(Quantity):
        raise _unclear(text, f"{name!r} is no quantity; known are {', '.join(Quantity)}")
    quantity = Quantity(name)
    percent, digits = float(match["percent"]), float(match["counts"] or 0)
    if percent > MOST_PERCENT or digits > MOST_COUNTS:
        raise _unclear(text, f"more than {MOST_PERCENT:g} % or {MOST_COUNTS:g} counts is no meter's accuracy")
    if percent == 0 and digits == 0:
        raise _unclear(text, "no meter is exact")
    if match["all"]:
        return Accuracy(quantity=quantity, percent=percent, counts=digits)
    found = unit_of(match["unit"])
    if found is None or found[1] != quantity.unit:
        raise _unclear(text, f"{match['unit']!r} is no unit of {quantity}")
    decimals = len(match["range"].partition(".")[2])
    shown = int(match["range"].replace(".", ""))
    if counts is not None and not counts / 10 + 1 < shown <= counts + 1 + counts // 10:
        why = f"a display of {counts} counts cannot write its range so: as many digits as it shows, such as 400.0 ohm"
        raise _unclear(text, why)
    resolution = float(Decimal(1).scaleb(EXPONENTS[found[0]] - decimals))
    return Accuracy(quantity=quantity, percent=percent, counts=digits, resolution=resolution)


def rows(texts: Sequence[str], counts: int | None) -> list[Accuracy]:
    """Return all rows; one range must not stand twice."""
    found: dict[tuple[Quantity, float | None], Accuracy] = {}
    for text in texts:
        one = row(text, counts)
        if (one.quantity, one.resolution) in found:
            raise _unclear(text, "this range stands twice")
        found[one.quantity, one.resolution] = one
    if not found:
        raise UsageError("no row", hint=EXAMPLE)
    return list(found.values())


def within(one: Accuracy, value: float, resolution: float) -> float:
    """Return how far from the truth a reading may be.

    Percent/100 · |value| + counts · resolution, in the unit of `value`.
    """
    return one.percent / 100.0 * abs(value) + one.counts * resolution


def as_toml(found: Sequence[Accuracy]) -> list[str]:
    """Return the rows as lines of a profile."""
    lines = []
    for one in found:
        lines += ["", "[[accuracy]]", f'quantity = "{one.quantity.value}"']
        lines += [] if one.resolution is None else [f"resolution = {one.resolution!r}"]
        lines += [f"percent = {one.percent!r}", f"counts = {one.counts!r}"]
    return lines


def _unclear(text: str, why: str) -> UsageError:
    return UsageError(why, where=repr(text), hint=EXAMPLE)
