"""Plan keys of `wiggle`."""

from __future__ import annotations

from typing import Annotated

from metercap.plankeys.base import ItemsStep, Ohm, Seconds, says
from metercap.quantity import Quantity


class WiggleStep(ItemsStep, frozen=True, tag="wiggle", kw_only=True):
    """Keys of a `wiggle` step: a path that reads at most `max` is watched for `watch_s` while it is flexed."""

    max: Annotated[Ohm, says("Highest value of a closed path.", '"1 ohm"')] = 2.0
    watch_s: Annotated[Seconds, says("How long it is watched while it is flexed.", '"30 s"')] = 15.0

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Ohms, or continuity."""
        return (Quantity.RESISTANCE, Quantity.CONTINUITY)
