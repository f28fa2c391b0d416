"""Band: where a trimmer must be brought, and its hazardous sides, which it must not pass on the way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from metercap.metrology.domain import round6


class Band(msgspec.Struct, frozen=True):
    """Where the value must go, SI: the target, the limits around it, the hazardous sides where the plan names them."""

    target: float
    tolerance: float
    never_below: float | None = None
    never_above: float | None = None

    @property
    def low(self) -> float:
        """Lower limit."""
        return round6(self.target - self.tolerance)

    @property
    def high(self) -> float:
        """Upper limit."""
        return round6(self.target + self.tolerance)

    def beyond(self, value: float, resolution: float) -> Literal["below", "above"] | None:
        """Return the hazardous side that `value` is past for certain: beyond the limit by more than one resolution."""
        if self.never_below is not None and value + resolution < self.never_below:
            return "below"
        if self.never_above is not None and value - resolution > self.never_above:
            return "above"
        return None


class Past(msgspec.Struct, frozen=True):
    """An excursion that ended: see the record of that name."""

    side: Literal["below", "above"]
    limit: float
    worst: float
    from_s: float
    duration_s: float


class Hazard:
    """Follows a value past a hazardous side of its band. The alarm waits for nothing; an excursion takes two values.

    `excursions` are those that have ended; `n` is how many believed values the present one has.
    """

    __slots__ = ("_from_s", "_side", "_worst", "excursions", "n")

    def __init__(self) -> None:
        self.excursions: list[Past] = []
        self.n = 0
        self._side: Literal["below", "above"] | None = None
        self._from_s = 0.0
        self._worst = 0.0

    def feed(
        self, band: Band, t_s: float, value: float, resolution: float, believed: Sequence[tuple[float, float]]
    ) -> bool:
        """Take a conversion, and what is believed by it as (t_s, value); return True when the alarm must sound now."""
        side = band.beyond(value, resolution)
        if side is None:
            self.end(band, t_s)
            return False
        alarm = side != self._side
        if alarm:
            self.end(band, t_s)
            self._side = side
        worse = min if side == "below" else max
        for at_s, past in believed:
            if band.beyond(past, resolution) != side:
                continue
            if not self.n:
                self._from_s, self._worst = at_s, past
            self.n += 1
            self._worst = worse(self._worst, past)
        return alarm

    def end(self, band: Band, t_s: float) -> None:
        """The value is back, or contact was lost: an excursion that was one has ended."""
        side = self._side
        if side is not None and self.n >= 2:
            limit = band.never_below if side == "below" else band.never_above
            self.excursions.append(Past(side, limit or 0.0, self._worst, self._from_s, round(t_s - self._from_s, 6)))
        self._side, self.n = None, 0
