"""Which steps put power on a unit, and which need it proved dead: one answer for `plan check` and for the session."""

from __future__ import annotations

from metercap.plan.fields import kind_of
from metercap.plankeys import StepBase
from metercap.quantity import Quantity

DEAD_FIRST = (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.DIODE, Quantity.CAPACITANCE)
"""Quantities that a meter measures with a current of its own, so that the circuit must be dead (several makers'
manuals). The design asks it of ohms; diode and capacitance are no different."""
TOUCHES_NOTHING = ("zero", "tokens")
"""Kinds that measure resistance without touching the unit."""
POWERS_UP = ("trials",)
"""Kinds that switch the unit on whatever their `power` says."""


def powers_up(step: StepBase) -> bool:
    """Return whether the unit has power during this step, so that no earlier proof of being dead holds after it."""
    return step.power == "on" or kind_of(step) in POWERS_UP


def needs_dead(step: StepBase) -> bool:
    """Return whether the step measures in a way that wants a dead circuit under the tips."""
    return any(quantity in DEAD_FIRST for quantity in step.wanted) and kind_of(step) not in TOUCHES_NOTHING
