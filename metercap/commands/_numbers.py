"""The one type of numbers on the command line.

A range alone lets "nan" through, since it is neither below nor above anything, and "inf" where no end is given. No
option means either, so every number with a fraction is one of these.
"""

from __future__ import annotations

import math
from typing import Any

import click

MOST = 1e9
"""Where an option states no end of its own: beyond this no number of seconds, times or ohms makes sense."""


class Number(click.FloatRange):
    """A finite number from `low` to `high`, both included."""

    name = "number"

    def __init__(self, low: float = -MOST, high: float = MOST) -> None:
        super().__init__(low, high)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number, or end with the usage error that names option and text."""
        try:
            finite = math.isfinite(float(value))
        except (ValueError, OverflowError):
            finite = True  # not a number at all: the range's own words say so
        if not finite:
            self.fail(f"{value!r} is no number that can be measured or waited for", param, ctx)
        return super().convert(value, param, ctx)


class Whole(click.IntRange):
    """A whole number from `low` to `high`, both included."""

    name = "whole number"

    def __init__(self, low: int = 0, high: int = 2**31 - 1) -> None:
        super().__init__(low, high)
