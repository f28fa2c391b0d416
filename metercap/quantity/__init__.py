"""Quantities, units and values as people write them.

Text goes to numbers through `Decimal`, so a value is the float nearest to the decimal that was written, and its
resolution is the weight of the last digit written: "2.187 kΩ" is 2187 with resolution 1. Nothing is guessed:
what can be read in two ways is refused, with what to write instead.
"""

from metercap.quantity.items import expand_items, natural_key
from metercap.quantity.kinds import Quantity
from metercap.quantity.numbers import decimal_si
from metercap.quantity.printing import counted, format_value
from metercap.quantity.values import Tolerance, Value, parse_duration_s, parse_tolerance, parse_value

__all__ = [
    "Quantity",
    "Tolerance",
    "Value",
    "counted",
    "decimal_si",
    "expand_items",
    "format_value",
    "natural_key",
    "parse_duration_s",
    "parse_tolerance",
    "parse_value",
]
