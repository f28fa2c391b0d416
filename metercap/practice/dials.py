"""Ranges of a simulated meter: what each shows, and how a number becomes digits.

The ladders are invented but shaped as handheld meters are: a decade a range, test current a tenth of the
range before. A 4 000-count ladder serves `lcd14`, `polled-line` and `text`, a 22 000-count one `digits14`,
where weights are those of its frame tables.
"""

from __future__ import annotations

from typing import NamedTuple

from metercap.quantity import Quantity
from metercap.reading import State

PREFIX_POWER = {"u": -6, "m": -3, "": 0, "k": 3, "M": 6}


class Range(NamedTuple):
    """One range: `code` is its place on the meter's own ladder, `prefix` and `decimals` how its digits are
    shown."""

    code: int
    prefix: str
    decimals: int

    @property
    def resolution(self) -> float:
        """Weight of the last digit, in SI base units."""
        return float(f"1e{PREFIX_POWER[self.prefix] - self.decimals}")


class Shown(NamedTuple):
    """What the display shows for one conversion.

    `digits` has no point and no sign ("2187"); it is empty unless `state` is ok. `flags` are those of
    `Reading`.
    """

    quantity: Quantity
    range: Range
    state: State
    digits: str
    minus: bool
    flags: frozenset[str]

    @property
    def value(self) -> float | None:
        """The number shown, in SI base units, from its decimal text."""
        if self.state is not State.OK:
            return None
        power = PREFIX_POWER[self.range.prefix] - self.range.decimals
        return float(f"{'-' if self.minus else ''}{self.digits}e{power}")


def _ladder(*steps: tuple[str, int], first: int = 0) -> tuple[Range, ...]:
    return tuple(Range(first + n, prefix, decimals) for n, (prefix, decimals) in enumerate(steps))


_OHM_4000 = _ladder(("", 1), ("k", 3), ("k", 2), ("k", 1), ("M", 3), ("M", 2))
_VOLT_4000 = _ladder(("", 3), ("", 2), ("", 1), ("", 0))
_OHM_22000 = _ladder(("", 2), ("k", 4), ("k", 3), ("k", 2), ("M", 4), ("M", 3), ("M", 2))
_VOLT_22000 = _ladder(("", 4), ("", 3), ("", 2), ("", 1))

_LADDERS = {
    Quantity.RESISTANCE: (_OHM_4000, _OHM_22000),
    Quantity.CONTINUITY: (_OHM_4000[:1], _OHM_22000[:1]),
    Quantity.VOLTAGE_DC: (_VOLT_4000, _VOLT_22000),
    Quantity.VOLTAGE_AC: (_VOLT_4000, _VOLT_22000),
}

DIAL = tuple(_LADDERS)
"""The quantities that a practice meter's dial has."""


def ladder(quantity: Quantity, counts: int) -> tuple[Range, ...]:
    """Return the ranges of a quantity, finest first, for a meter of about 4 000 or about 22 000 counts."""
    coarse, fine = _LADDERS[quantity]
    return fine if counts > 10_000 else coarse
