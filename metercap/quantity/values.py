"""Values, tolerances and times as people write them."""

from __future__ import annotations

import math
import re

import msgspec

from metercap.errors import ValueText
from metercap.quantity.markings import read, wrong_unit
from metercap.quantity.numbers import EXACT, shown


class Value(msgspec.Struct, frozen=True):
    """A value as written.

    `value` in SI units without prefix; `unit` one of ohm, V, A, F, Hz, %, degC, s, or "" when none was written;
    `resolution` the weight of the last written digit, in the same unit.
    """

    value: float
    unit: str
    resolution: float


def parse_value(text: str, *, unit: str | None = None) -> Value:
    """Read a value: "2.187 kΩ", "4k7", "R47" (IEC 60062), "-5.47 V", "10 µF", "2 min", "85 °C", "50 %", "1500".

    `m` is milli and `M` is mega, always; `K` counts as kilo. `unit` is the unit without prefix that is wanted: a
    number without unit takes it, any other unit is refused. A negative zero loses its sign. Raises `ValueText`, and
    nothing else, for text that is no value, can be read in two ways (decimal comma), is longer than 64 characters,
    or lies beyond 10^±30.
    """
    number, found, weight = read(text, unit)
    return Value(value=float(number) + 0.0, unit=found, resolution=float(weight))


class Tolerance(msgspec.Struct, frozen=True):
    """A tolerance, ± either `relative` to the target (0.005 for 0.5 %) or `absolute` in `unit`; the other is None.

    `unit` is "" for a relative one. Raises `ValueText` when both or neither are given, or for a negative or
    non-finite one.
    """

    relative: float | None
    absolute: float | None
    unit: str

    def __post_init__(self) -> None:
        given = [size for size in (self.relative, self.absolute) if size is not None]
        if len(given) != 1 or not 0.0 <= given[0] < math.inf:
            raise ValueText("a tolerance is one number from 0 up", hint='write "0.5 %" or "3 ohm"')

    def around(self, target: float) -> float:
        """Half-width of the band around `target`, in the target's unit: relative × |target|, or the absolute one."""
        if self.absolute is not None:
            return self.absolute
        assert self.relative is not None  # __post_init__ saw to it
        return self.relative * abs(target)


def parse_tolerance(text: str, *, unit: str | None = None) -> Tolerance:
    """Read a tolerance: "± 0.5 %", "+-0.5%", "+/- 3 ohm", "3 ohm".

    A percentage is always relative to the target, even where the target is itself a percentage. `unit` is the unit
    wanted of an absolute one. Raises `ValueText` as `parse_value` does, for a negative one, and for a number with
    neither "%" nor unit, which could mean either.
    """
    body = re.sub(r"\A\s*(?:±|\+/?[-\u2212])", "", text, count=1)
    number, found, _ = read(body, None)
    if number < 0:
        raise ValueText(f"the tolerance {shown(text)} is negative", hint="write its size alone, such as 0.5 %")
    if found == "%":
        return Tolerance(relative=float(number.scaleb(-2, EXACT)), absolute=None, unit="")
    if found == "":
        raise ValueText(f"the tolerance {shown(text)} has no unit", hint='write "0.5 %" or a number and its unit')
    if unit is not None and found != unit:
        raise wrong_unit(text, found, unit)
    return Tolerance(relative=None, absolute=float(number) + 0.0, unit=found)


def parse_duration_s(text: str) -> float:
    """Read a length of time, in seconds: "0.6 s", "500 ms", "2 min", "1 h", "10" (seconds).

    Raises `ValueText` as `parse_value` does, and for a negative one.
    """
    duration = parse_value(text, unit="s")
    if duration.value < 0:
        raise ValueText(f"the time {shown(text)} is negative", hint="write a time from 0 s up")
    return duration.value
