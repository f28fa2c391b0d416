"""Plan keys of `tune`: where a trimmer must be brought, and the hazardous sides that it must not pass on the way."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec

from metercap.metrology.domain import round6
from metercap.plankeys.base import Edge, MeasuredStep, Seconds, Target, Tolerance, says

REFERENCE = "reference"
AS_FOUND = "as found"


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


class TuneStep(MeasuredStep, frozen=True, tag="tune", kw_only=True):
    """Keys of a `tune` step. `target` is a value, "reference" or "as found"; `tolerance` a share of it or a value.

    `never_below` and `never_above` are hazardous sides: the alarm is immediate. Their shares are of the plan's value,
    or of the good unit's where the plan has none. `rest_s` is how long a value must rest.
    """

    target: Annotated[Target, says("Where the trimmer must be brought.", '"2.187 kohm"')]
    tolerance: Annotated[Tolerance | None, says("How far from the target is still good.", '"0.5 %"')] = None
    tolerance_share: float | None = None
    never_below: Annotated[
        Edge | None, says("Hazardous side: never below this, not even in passing.", '"1.2 kohm"')
    ] = None
    never_below_share: float | None = None
    never_above: Annotated[Edge | None, says("Hazardous side: never above this.", '"110 %"')] = None
    never_above_share: float | None = None
    rest_s: Annotated[Seconds, says("How long the value must rest in the band.", '"3 s"')] = 2.0

    def band(self, target: float, of: float | None = None) -> Band:
        """Return the band around `target`, with the hazardous sides; shares are `of` this value."""
        return Band(target, self.half_width(target), *self.hazards(of))

    def hazards(self, of: float | None) -> tuple[float | None, float | None]:
        """Return never_below and never_above in SI, shares taken `of` this value; None for a side that is harmless."""
        return (
            _edge(self.never_below, self.never_below_share, of),
            _edge(self.never_above, self.never_above_share, of),
        )

    def half_width(self, target: float) -> float:
        """Return the tolerance around `target` in SI; 0.0 when the plan gives none."""
        if self.tolerance is not None:
            return self.tolerance
        return round6(abs(target) * (self.tolerance_share or 0.0))


def _edge(value: float | None, share: float | None, of: float | None) -> float | None:
    return value if share is None else None if of is None else round6(share * of)
