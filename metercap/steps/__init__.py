"""Steps: the state machine of each kind of step, one module or one folder a kind, each with its table.

Pure. `MACHINES` says which machine runs which plan step; a new kind adds its keys to `metercap.plankeys`, its machine
here and one line below.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from metercap.plankeys import (
    CellStep,
    CheckStep,
    ConfirmStep,
    ExerciseStep,
    SafeStep,
    StepBase,
    SweepStep,
    TrialsStep,
    TuneStep,
    WiggleStep,
    ZeroStep,
)
from metercap.steps.bench import Bench
from metercap.steps.cell import Cell
from metercap.steps.confirm import Confirm
from metercap.steps.exercise import Exercise
from metercap.steps.machine import WORDS, Given, Machine
from metercap.steps.safe import Safe
from metercap.steps.trials import Trials
from metercap.steps.tune import Tune
from metercap.steps.walk import Check, Sweep
from metercap.steps.wiggle import Wiggle
from metercap.steps.zero import Zero

MACHINES: dict[type[StepBase], Callable[[Any, Bench], Machine]] = {
    ConfirmStep: Confirm,
    SafeStep: Safe,
    ZeroStep: Zero,
    SweepStep: Sweep,
    CheckStep: Check,
    ExerciseStep: Exercise,
    WiggleStep: Wiggle,
    CellStep: Cell,
    TuneStep: Tune,
    TrialsStep: Trials,
}


def machine_for(step: StepBase, bench: Bench) -> Machine:
    """Return the machine that runs `step`."""
    return MACHINES[type(step)](step, bench)


__all__ = ["MACHINES", "WORDS", "Bench", "Given", "Machine", "machine_for"]
