"""Plan keys of `exercise`."""

from __future__ import annotations

from typing import Literal

from metercap.plankeys.base import ItemsStep, Ohm, Seconds, Share
from metercap.quantity import Quantity


class ExerciseStep(ItemsStep, frozen=True, tag="exercise", kw_only=True):
    """Keys of an `exercise` step. `form` "no" closes when pressed, "nc" opens.

    `pace_s` is the longest a press or a release may take; default: three conversions, one more, and the
    hand. A closed
    contact reads at most `max`; above `open_above` (default: only over-range) it is open.
    """

    presses: int = 20
    pace_s: Seconds | None = None
    max: Ohm = 2.0
    form: Literal["no", "nc"] = "no"
    open_above: Ohm | None = None
    rest_s: Seconds | None = None
    confidence: Share = 0.95

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Ohms, or continuity."""
        return (Quantity.RESISTANCE, Quantity.CONTINUITY)
