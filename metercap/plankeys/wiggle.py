"""Plan keys of `wiggle`."""

from __future__ import annotations

from metercap.plankeys.base import ItemsStep, Ohm, Seconds
from metercap.quantity import Quantity


class WiggleStep(ItemsStep, frozen=True, tag="wiggle", kw_only=True):
    """Keys of a `wiggle` step: a path that reads at most `max` is watched for `watch_s` while it is flexed."""

    max: Ohm = 2.0
    watch_s: Seconds = 15.0

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Ohms, or continuity."""
        return (Quantity.RESISTANCE, Quantity.CONTINUITY)
