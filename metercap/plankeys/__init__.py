"""Plan keys: what a plan file can say of every kind of step and of its items, as typed fields with values in SI.

Pure, and below everything that judges or measures: a new kind adds its module here, its machine in `metercap.steps`
and one line in `metercap.plan`.
"""

from __future__ import annotations

from metercap.plankeys.base import Item, ItemsStep, MeasuredStep, StepBase
from metercap.plankeys.cell import CellStep
from metercap.plankeys.confirm import ConfirmStep
from metercap.plankeys.exercise import ExerciseStep
from metercap.plankeys.picture import Picture
from metercap.plankeys.safe import SafeStep
from metercap.plankeys.trials import TrialsStep
from metercap.plankeys.tune import TuneStep
from metercap.plankeys.walk import CheckStep, SweepStep, WalkStep
from metercap.plankeys.wiggle import WiggleStep
from metercap.plankeys.zero import ZeroStep

__all__ = [
    "CellStep",
    "CheckStep",
    "ConfirmStep",
    "ExerciseStep",
    "Item",
    "ItemsStep",
    "MeasuredStep",
    "Picture",
    "SafeStep",
    "StepBase",
    "SweepStep",
    "TrialsStep",
    "TuneStep",
    "WalkStep",
    "WiggleStep",
    "ZeroStep",
]
