"""exercise: paced presses of a switch. `Exercise` is the machine, `table` what each input does in each state."""

from __future__ import annotations

from metercap.steps.exercise.machine import Exercise

__all__ = ["Exercise"]
