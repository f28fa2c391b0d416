"""Separate contacts with one item: which of them agree, and what they say together.

A probe on flux or lacquer reads high, never low. So of contacts that differ the lowest that agree are believed; where
values are wanted inside a band, those that agree best. Lower means smaller in magnitude.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum

import msgspec

from metercap.judging.judge import Limits
from metercap.metrology.domain import round6
from metercap.reading import Reading
from metercap.rests import Touched

AGREE = 0.10
"""Two contacts agree when they differ by at most this share of the higher one, or by two counts."""
MOST = 4
"""So many contacts in all; where no two of them agree nothing is decided."""


class Ending(StrEnum):
    """What a contact that ended leaves behind."""

    NOTHING = "nothing"
    """Nothing to rest on: the item must be touched again."""
    KEPT = "kept"
    """Its settled value; the next contact must be a separate one."""
    WALKING = "walking"
    """Nothing but a range too coarse, then over-range: an auto range walks on, perhaps with the tips on."""


class Taken(msgspec.Struct, frozen=True):
    """One settled contact: its last reading, the corrected value, the corrected conversions, when they began."""

    reading: Reading
    value: float
    conversions: tuple[float, ...]
    from_s: float
    wide: bool
    span: float

    @property
    def touched(self) -> Touched:
        """The form that a verdict lists."""
        return Touched(self.from_s, self.reading.t_s, self.value)


def agree(contacts: Sequence[Taken]) -> bool:
    """Return whether contacts, lowest first, agree: within AGREE of the highest, or two counts."""
    return _apart(contacts) <= _allowed(contacts) * 1.000001


def agreeing(contacts: Sequence[Taken], many: int, limits: Limits) -> list[Taken] | None:
    """Return the `many` contacts that make the verdict, in the order they were made; None where no so many agree.

    Under one limit, or none, the lowest that agree; for a band those that agree best.
    """
    ordered = sorted(contacts, key=lambda taken: abs(taken.value))
    runs = [ordered[i : i + many] for i in range(len(ordered) - many + 1)]
    found = [run for run in runs if agree(run)]
    if not found:
        return None
    banded = limits.low is not None and limits.high is not None
    best = min(found, key=_apart) if banded else found[0]
    return [taken for taken in contacts if any(taken is each for each in best)]


def together(contacts: Sequence[Taken], limits: Limits, *, recorded: bool) -> tuple[float, Taken]:
    """Return the value of contacts that agree, and the contact whose range and conversions go with it.

    A value that is `recorded` is their mean, unless the only limit is an upper one; else it is the lowest.
    """
    low = min(contacts, key=lambda taken: abs(taken.value))
    if not recorded or (limits.high is not None and limits.low is None):
        return low.value, low
    return round6(math.fsum(taken.value for taken in contacts) / len(contacts)), contacts[-1]


def _apart(ordered: Sequence[Taken]) -> float:
    values = [taken.value for taken in ordered]
    return max(values) - min(values)


def _allowed(ordered: Sequence[Taken]) -> float:
    return max(AGREE * abs(ordered[-1].value), 2.0 * max(taken.reading.resolution for taken in ordered))
