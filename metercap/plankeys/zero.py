"""Plan keys of `zero`."""

from __future__ import annotations

from typing import Annotated

from metercap.plankeys.base import Ohm, StepBase, says
from metercap.quantity import Quantity


class ZeroStep(StepBase, frozen=True, tag="zero"):
    """Keys of a `zero` step. Leads above `warn` want cleaning; above `max` no null is taken.

    Defaults: shorted tips read at most 0.3 Ω on sound leads, replace above 0.5 Ω (makers' manuals).
    """

    warn: Annotated[Ohm, says("Leads above this want cleaning.", '"0.3 ohm"')] = 0.5
    max: Annotated[Ohm, says("Leads above this are refused.", '"0.8 ohm"')] = 1.0

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Ohms, or continuity where the sweep will use that."""
        return (Quantity.RESISTANCE, Quantity.CONTINUITY)
