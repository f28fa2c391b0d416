"""What a plan is, with values in SI: the form that a journal's first record carries."""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

import msgspec

from metercap.errors import PlanError
from metercap.plankeys import (
    CellStep,
    CheckStep,
    ConfirmStep,
    ExerciseStep,
    Picture,
    SafeStep,
    SweepStep,
    TrialsStep,
    TuneStep,
    WiggleStep,
    ZeroStep,
)
from metercap.plankeys.base import Ohm, Rule, says

Step: TypeAlias = (
    ConfirmStep
    | SafeStep
    | ZeroStep
    | CheckStep
    | SweepStep
    | ExerciseStep
    | WiggleStep
    | CellStep
    | TuneStep
    | TrialsStep
)

TOKEN_WORDS = (
    "yes", "no", "open", "skip", "skip step", "absent", "back", "again", "pass", "fail", "undo", "say", "end", "quit",
)  # fmt: skip
"""Words that a token may stand for: all that stand alone."""


class Plan(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Ordered steps for one model of unit.

    `supply` "none" marks loose parts on the mat, which need no proof that they are dead. `tokens` gives marked
    resistors whose touch is a word. `pictures` are the file's `[[picture]]` tables.
    """

    title: Annotated[str, says("What the plan is for.", '"Climate controller, main board"')]
    steps: tuple[Step, ...]
    model: Annotated[str, says("The model of unit that it fits.", '"GC-8"')] = ""
    cautions: Annotated[tuple[str, ...], says("What holds for the whole unit.", '["Wear an ESD strap"]')] = ()
    rule: Annotated[
        Rule, says("How values are held against limits: guarded by their uncertainty, or simple.", '"simple"')
    ] = "guarded"
    supply: Annotated[
        Literal["unit", "none"], says("none: a loose part on the mat, which needs no proof of being dead.", '"none"')
    ] = "unit"
    symptoms: Annotated[
        tuple[str, ...],
        says("What a unit of this model may come in with, as steps name it in finds.", '["does not start"]'),
    ] = ()
    tokens: Annotated[
        dict[str, Ohm], says("Marked resistors on the mat whose touch is a word.", '{ open = "143 ohm" }')
    ] = {}
    pictures: tuple[Picture, ...] = ()


def to_builtins(plan: Plan) -> dict[str, Any]:
    """Return the plan as plain dictionaries, lists and numbers, for a journal's first record."""
    out: dict[str, Any] = msgspec.to_builtins(plan)
    return out


def from_builtins(data: dict[str, Any]) -> Plan:
    """Return the plan that `to_builtins` gave; PlanError when it is none."""
    try:
        return msgspec.convert(data, Plan)
    except msgspec.ValidationError as error:
        raise PlanError(f"not a plan: {error}", hint="the journal was written by another version") from error
