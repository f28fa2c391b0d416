"""What a plan expects of each item, whatever the step's kind: its items, limits and bands, in SI."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from metercap.plan.model import Step
from metercap.plankeys import Item, TuneStep
from metercap.quantity import Quantity


def items_of(step: Step) -> tuple[Item, ...]:
    """Return the step's items; none for a kind without."""
    items: tuple[Item, ...] = getattr(step, "items", ())
    return items


def limits_of(step: Step, item: Item) -> tuple[float | None, float | None]:
    """Return the limits of an item, (min, max), in SI: its own where it has any, else the step's."""
    if item.min is not None or item.max is not None:
        return item.min, item.max
    return _number(step, "min"), _number(step, "max")


def band_of(step: Step, item: Item, reference: Mapping[str, Mapping[str, Any]] | None) -> tuple[float, float] | None:
    """Return target and half-width of a step that tunes, in SI; None where there is none, or it is not known yet."""
    target = getattr(step, "target", None)
    if target == "reference" and reference is not None:
        target = reference.get(f"{step.id}/{item.name}", {}).get("value")
    half_width = getattr(step, "half_width", None)
    if half_width is None or isinstance(target, bool) or not isinstance(target, int | float):
        return None
    return float(target), float(half_width(float(target)))


def hazards_of(
    step: Step, item: Item, reference: Mapping[str, Mapping[str, Any]] | None
) -> tuple[float | None, float | None]:
    """Return never_below and never_above of an item, in SI; a share is of the plan's value, or of the good unit's.

    None for a side that is harmless, or a share of a value that is not known yet.
    """
    if not isinstance(step, TuneStep):
        return None, None
    target = step.target
    of = (reference or {}).get(f"{step.id}/{item.name}", {}).get("value") if isinstance(target, str) else target
    return step.hazards(float(of) if isinstance(of, int | float) else None)


def quantity_of(step: Step) -> Quantity | None:
    """Return the quantity that the step measures first, or None for words only."""
    return step.wanted[0] if step.wanted else None


def _number(step: Step, name: str) -> float | None:
    value = getattr(step, name, None)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
