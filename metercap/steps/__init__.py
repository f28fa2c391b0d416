"""Steps: each kind's plan keys and its state machine, together in one module.

Pure. `STEP_KINDS` maps each kind of plan step to its machine; a new kind adds its module and one line here and in
`metercap.plan`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from metercap.steps.bench import Bench
from metercap.steps.cell import Cell, CellStep
from metercap.steps.check import Check, CheckStep
from metercap.steps.confirm import Confirm, ConfirmStep
from metercap.steps.exercise import Exercise
from metercap.steps.exercise_table import ExerciseStep
from metercap.steps.keys import Item, StepBase
from metercap.steps.machine import WORDS, Given, Machine
from metercap.steps.safe import Safe, SafeStep
from metercap.steps.sweep import Sweep, SweepStep
from metercap.steps.trials import Trials, TrialsStep
from metercap.steps.trimmer import TuneStep
from metercap.steps.tune import Tune
from metercap.steps.wiggle import Wiggle, WiggleStep
from metercap.steps.zero import Zero, ZeroStep

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


__all__ = [
    "MACHINES",
    "WORDS",
    "Bench",
    "CellStep",
    "CheckStep",
    "ConfirmStep",
    "ExerciseStep",
    "Given",
    "Item",
    "Machine",
    "SafeStep",
    "StepBase",
    "SweepStep",
    "TrialsStep",
    "TuneStep",
    "WiggleStep",
    "ZeroStep",
    "machine_for",
]
