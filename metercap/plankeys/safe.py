"""Plan keys of `safe`."""

from __future__ import annotations

from typing import Annotated

from metercap.plankeys.base import StepBase, says
from metercap.quantity import Quantity


class SafeStep(StepBase, frozen=True, tag="safe"):
    """Keys of a `safe` step: a known live `source` of at least 1 V, and the `points` to find dead."""

    source: Annotated[
        str, says("A known live source of at least 1 V that proves the meter, before and after.", '"bench supply, 5 V"')
    ] = "a fresh 1.5 V cell"
    points: Annotated[tuple[str, ...], says("Where the unit must be found dead.", '["supply input", "C12"]')] = ()

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Volts dc; the machine changes to ac for the second round."""
        return (Quantity.VOLTAGE_DC,)

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every point, then the step itself."""
        return (*self.points, self.id)
