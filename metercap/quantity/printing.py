"""Values on screens and in reports: the digits that were measured, behind the prefix people expect."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal

from metercap.errors import ValueText
from metercap.quantity.markings import SPELLINGS
from metercap.quantity.numbers import EXACT

_PRINTED_PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
_PRINTED_UNITS = {"ohm": "Ω", "degC": "°C"}
_SIGNIFICANT = 4
_FLOAT_DIGITS = 17  # a float carries no more, so a finer resolution would print noise
_PLAIN_DECADES = 24  # beyond, no prefix helps; an exponent keeps the text short


def format_value(value: float, unit: str, resolution: float | None = None) -> str:
    """`value` (SI, in `unit`) as people write it, with an engineering prefix: "2.187 kΩ", "0.000 MΩ", "2 min".

    With `resolution` (SI; 0 counts as none) the last digit printed has the weight of its decade, no digit more or
    fewer: 2187 ohm at resolution 1000 is "2 kΩ". A zero takes the prefix above its resolution, so 0 ohm at
    resolution 1000 is "0.000 MΩ". Without, up to 4 significant digits and no trailing zeros. Percent, degrees and
    numbers without unit take no prefix, and seconds none above; there, tens that the resolution does not carry
    print as zeros. Times at a resolution of a minute or more, or of whole minutes without one, print in minutes. A
    zero has no sign. `parse_value` reads every result back, within half a resolution (values within 10^±24; those
    beyond print with an exponent and 4 significant digits). Raises `ValueText` for a value or resolution that is
    not finite, or a negative resolution.
    """
    if not math.isfinite(value) or not 0.0 <= (resolution or 0.0) < math.inf:
        raise ValueText(f"{value!r} at resolution {resolution!r} cannot be written as a value")
    number, weight = Decimal(repr(float(value))), Decimal(repr(float(resolution or 0.0)))
    if weight and weight.adjusted() > number.adjusted() + 1:
        number = Decimal(0)  # far below the last digit: not a case for an exponent
    glue = " " if unit else ""
    name = _PRINTED_UNITS.get(unit, unit)
    if number and abs(number.adjusted()) > _PLAIN_DECADES:
        return f"{number:.{_SIGNIFICANT - 1}E}{glue}{name}"
    if unit == "s" and _in_minutes(number, weight):
        number, weight = EXACT.divide(number, Decimal(60)), EXACT.divide(weight, Decimal(60))
        unit = name = "min"
    last = _last_digit(number, weight)
    number = _round_to(number, last)
    prefix = _prefix(number, last, bool(weight), unit)
    places = max(prefix - last, 0)
    text = f"{number.copy_abs().scaleb(-prefix, EXACT):.{places}f}"
    if not weight and places:
        text = text.rstrip("0").rstrip(".")
    sign = "-" if number < 0 else ""
    return f"{sign}{text}{glue}{_PRINTED_PREFIXES[prefix]}{name}"


def counted(n: int, what: str) -> str:
    """Return "1 meter", "2 meters", "0 benches": `what` is one of them, a noun that takes s, or es after ch."""
    return f"{n} {what}{'' if n == 1 else 'es' if what.endswith('ch') else 's'}"


def _in_minutes(number: Decimal, weight: Decimal) -> bool:
    if weight:
        return weight >= 60
    return abs(number) >= 60 and (number % 60 == 0 or abs(number) >= 600)


def _last_digit(number: Decimal, weight: Decimal) -> int:
    """The power of ten of the last digit to print."""
    if weight:
        return max(weight.adjusted(), number.adjusted() - _FLOAT_DIGITS if number else -_PLAIN_DECADES)
    return number.adjusted() - _SIGNIFICANT + 1 if number else 0


def _round_to(number: Decimal, last: int) -> Decimal:
    """`number` rounded half to even at the digit of weight 10^`last`."""
    return number.scaleb(-last, EXACT).to_integral_value(ROUND_HALF_EVEN).scaleb(last, EXACT)


def _prefix(number: Decimal, last: int, carried: bool, unit: str) -> int:
    """The power of ten of the prefix: the number's own, but none that would print digits nobody measured."""
    if unit not in SPELLINGS and unit != "s":
        return 0
    if number:
        own = number.adjusted() // 3 * 3
        prefix = max(own, -(-last // 3) * 3) if carried else own
    else:
        prefix = last // 3 * 3 + 3 if carried else 0
    return min(max(prefix, -9 if unit == "s" else -12), 0 if unit == "s" else 12)
