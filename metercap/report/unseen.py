"""What a meter of this rate cannot see, for the steps that a plan has. Pure.

Said in every report: a verdict without its blind spots claims more than was measured.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from metercap.meter import MeterProfile
from metercap.plan import Plan
from metercap.plankeys import ExerciseStep, SweepStep, TrialsStep, TuneStep, WiggleStep
from metercap.quantity import Quantity, format_value


def unseen(
    plan: Plan, meter: MeterProfile, readings: Mapping[str, int], known: Mapping[Quantity, float] | None = None
) -> tuple[str, ...]:
    """Return what this meter cannot show, one sentence or two each.

    `readings` counts them by quantity, `known` is T in seconds by quantity where it was measured before the session.
    Where nothing was read and no step measures there is nothing to say of a meter.
    """
    used = [Quantity(name) for name in readings]
    silent = not used and plan.steps and not any(step.wanted for step in plan.steps)
    return () if silent else tuple(_all(plan, meter, used, known or {}))


def _all(plan: Plan, meter: MeterProfile, used: list[Quantity], known: Mapping[Quantity, float]) -> Iterator[str]:
    kinds = tuple(type(step) for step in plan.steps)
    slowest = max(
        (known.get(quantity, meter.conversion_s(quantity)) for quantity in used),
        default=meter.conversion_s(Quantity.RESISTANCE),
    )
    source = "as measured" if used and all(quantity in known for quantity in used) else "by its profile"
    shown = format_value(slowest, "s", 0.001)
    yield (
        f"The meter forms a new value at least every {shown} ({1.0 / slowest:.3g} a second, {source}). Dropouts, "
        "bounce and spikes shorter than that leave no trace."
    )
    if ExerciseStep in kinds or WiggleStep in kinds:
        yield f"A contact that opens for less than {shown} within a press or while flexed counts as closed."
    if SweepStep in kinds:
        yield (
            "A pass means that the path is at most the limit, in circuit: a parallel path may carry it. Two slips of "
            "the hand that compensate each other inside one sweep cannot be told; the count check is there for them."
        )
    ceiling = meter.continuity_ceiling_ohm
    if Quantity.CONTINUITY in used and ceiling is not None:
        yield (
            f"In continuity mode everything above {format_value(ceiling, 'ohm')} looks open, a blown fuse beside a "
            "parallel path too."
        )
    if TuneStep in kinds:
        twice = format_value(2.0 * slowest, "s", 0.001)
        yield f"A trimmer past its limit for less than two values ({twice}) is sounded, not recorded as an excursion."
    if TrialsStep in kinds:
        yield "Starts are counted by the operator's word; the meter takes no part in them."
    if any(quantity in (Quantity.VOLTAGE_DC, Quantity.CURRENT_DC) for quantity in used):
        yield "Ripple and transients on a dc value are averaged over a conversion and do not show."
    if not meter.accuracy:
        yield (
            "The profile has no accuracy table: U holds what was seen (digits, scatter, contacts, null), not the "
            "meter's own error."
        )
