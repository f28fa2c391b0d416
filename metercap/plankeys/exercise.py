"""Plan keys of `exercise`."""

from __future__ import annotations

from typing import Annotated, Literal

from metercap.plankeys.base import ItemsStep, Ohm, Seconds, Share, says
from metercap.quantity import Quantity


class ExerciseStep(ItemsStep, frozen=True, tag="exercise", kw_only=True):
    """Keys of an `exercise` step. `form` "no" closes when pressed, "nc" opens.

    `pace_s` is the longest a press or a release may take; default: three conversions, one more, and the
    hand. A closed
    contact reads at most `max`; above `open_above` (default: only over-range) it is open.
    """

    presses: Annotated[int, says("How many presses.", "30")] = 20
    pace_s: Annotated[
        Seconds | None,
        says("The longest a press or a release may take; else four conversions and the hand.", '"3 s"'),
    ] = None
    max: Annotated[Ohm, says("Highest value of a closed contact.", '"0.5 ohm"')] = 2.0
    form: Annotated[Literal["no", "nc"], says("no closes when pressed, nc opens.", '"nc"')] = "no"
    open_above: Annotated[Ohm | None, says("Above this it is open; else only over range.", '"1 Mohm"')] = None
    rest_s: Annotated[Seconds | None, says("How long to pause between two presses.", '"1 s"')] = None
    confidence: Annotated[Share, says("Confidence of what is claimed from the count.", "0.90")] = 0.95

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Ohms, or continuity."""
        return (Quantity.RESISTANCE, Quantity.CONTINUITY)
