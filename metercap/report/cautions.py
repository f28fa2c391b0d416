"""The usual cautions, as far as they concern what a plan does. Pure.

They are common practice; where a standard says more it is named. The plan's own cautions come after them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from metercap.plan import Plan
from metercap.plankeys import CellStep, ExerciseStep, StepBase, SweepStep, TrialsStep, TuneStep
from metercap.quantity import Quantity

DEFERS = "metercap defers to local codes and licensed practice and replaces neither."

_VOLTS = (Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC, Quantity.DIODE)
_AMPERES = (Quantity.CURRENT_DC, Quantity.CURRENT_AC)


def _measures(step: StepBase) -> bool:
    return bool(step.wanted)


def _ohms(step: StepBase) -> bool:
    return step.in_ohms


def _volts(step: StepBase) -> bool:
    return step.power == "on" or any(quantity in _VOLTS for quantity in step.wanted)


def _jacks(step: StepBase) -> bool:
    return bool(step.wanted) and not any(quantity in _AMPERES for quantity in step.wanted)


def _amperes(step: StepBase) -> bool:
    return any(quantity in _AMPERES for quantity in step.wanted)


def _interlock(step: StepBase) -> bool:
    return isinstance(step, ExerciseStep | TrialsStep)


def _trimmer(step: StepBase) -> bool:
    return isinstance(step, TuneStep)


def _fuse(step: StepBase) -> bool:
    return isinstance(step, SweepStep) and step.in_ohms


def _cell(step: StepBase) -> bool:
    return isinstance(step, CellStep)


USUAL: tuple[tuple[Callable[[StepBase], bool], str], ...] = (
    (_ohms, "Disconnect the supply and every battery or cell before any resistance reading."),
    (_ohms, "Discharge capacitors through a resistor, not a short, and prove it by measuring."),
    (_volts, "Above 30 V rms or 60 V dc a voltage concerns people."),
    (_ohms, "For ohms even 1 mV in the circuit shifts a 2 Ω decision."),
    (_jacks, "Leads in the voltage/resistance jacks, never the current jack."),
    (_amperes, "After a current reading the leads go back to the voltage/resistance jacks at once."),
    (_measures, "Meter and leads rated for the circuit (IEC 61010-031)."),
    (_measures, "Never probe mains-side circuits on this tool's word."),
    (
        _interlock,
        "Never run a powered unit with an interlock held down by hand or tape: exercise unpowered, run trials closed.",
    ),
    (_trimmer, "A trimmer that sets a lamp, laser or heater current has a hazardous side."),
    (_trimmer, "Opening a Class 1 laser product can expose higher-class radiation (IEC 60825-1)."),
    (_fuse, "Replace a fuse only with the same rating and type, and find the cause first."),
    (_cell, "Do not heat, short, reverse or charge a primary lithium cell, and never solder directly on it."),
    (_measures, "Wear an ESD strap."),
)
"""What is said where a step is of that sort."""


def usual(plan: Plan) -> tuple[str, ...]:
    """Return the usual cautions that concern the plan's steps; of a plan without steps, what concerns every reading."""
    loose = plan.supply == "none"
    steps: tuple[StepBase, ...] = plan.steps or (_Any(id="any"),)
    return tuple(
        text for concerns, text in USUAL if any(concerns(step) for step in steps if not (loose and _bare(text)))
    )


def own(plan: Plan) -> tuple[str, ...]:
    """Return the plan's cautions and its steps', each once, without the sentences that are usual."""
    said = dict.fromkeys(_plain(text) for text in (*usual(plan), DEFERS))
    found: dict[str, None] = {}
    for text in (*plan.cautions, *(each for step in plan.steps for each in step.cautions)):
        left = [sentence for sentence in _sentences(text) if _plain(sentence) not in said]
        if left:
            found[" ".join(left)] = None
    return tuple(found)


class _Any(StepBase, frozen=True, tag="any", kw_only=True):
    """Stands for a free trace, in which anything may have been measured."""

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        return (Quantity.RESISTANCE, Quantity.VOLTAGE_DC)


def _bare(text: str) -> bool:
    """Whether a caution is about a unit with a supply; loose parts on the mat have none."""
    return text.startswith(("Disconnect", "Discharge"))


def _sentences(text: str) -> Iterator[str]:
    for part in text.split(". "):
        if part.strip():
            yield part if part.endswith((".", "!", "?")) else f"{part}."


def _plain(text: str) -> str:
    return text.strip().rstrip(".!").casefold()
