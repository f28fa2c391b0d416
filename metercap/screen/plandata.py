"""What the screen needs of a plan, read out of a journal's first record.

The record is trusted for nothing: what is missing or of another type is left out, and the screen shows less.
"""

from __future__ import annotations

from typing import Any

import msgspec

from metercap.records import SessionRecord
from metercap.screen.text import visible


class ItemInfo(msgspec.Struct, frozen=True):
    """One place to probe: its name as the plan has it, where it is, and own limits in SI."""

    name: str
    where: str = ""
    say: str = ""
    min: float | None = None
    max: float | None = None


class StepInfo(msgspec.Struct, frozen=True):
    """One step as the screen sees it; limits, target, tolerance and hazard limits in SI, `unit` without prefix."""

    id: str
    kind: str = ""
    say: str = ""
    cautions: tuple[str, ...] = ()
    items: tuple[ItemInfo, ...] = ()
    unit: str = ""
    min: float | None = None
    max: float | None = None
    target: float | None = None
    target_word: str = ""
    tolerance: float | None = None
    tolerance_share: float | None = None
    never_below: float | None = None
    never_above: float | None = None
    never_below_share: float | None = None
    never_above_share: float | None = None
    count: int = 0
    reliability: float = 0.90
    confidence: float = 0.95
    wait_s: float = 0.0
    rest_s: float = 0.0

    def item(self, name: str) -> ItemInfo | None:
        """The item of that name, or None."""
        return next((item for item in self.items if item.name == name), None)


class PlanInfo(msgspec.Struct, frozen=True):
    """A plan's title, cautions and steps, and which meter and unit they are run with."""

    title: str = ""
    model: str = ""
    cautions: tuple[str, ...] = ()
    steps: tuple[StepInfo, ...] = ()

    def step(self, step_id: str) -> StepInfo:
        """The step of that id; an empty one when the plan has none."""
        return next((step for step in self.steps if step.id == step_id), StepInfo(id=step_id))

    def number(self, step_id: str) -> int:
        """Which step it is, from 1; 0 when the plan has none of that id."""
        return next((place for place, step in enumerate(self.steps, 1) if step.id == step_id), 0)


def plan_info(session: SessionRecord | None) -> PlanInfo:
    """Read the plan of a session's first record, of its steps those that are done; an empty plan for None."""
    if session is None:
        return PlanInfo()
    plan = session.plan
    steps = next((plan[key] for key in ("steps", "step") if isinstance(plan.get(key), list | tuple)), ())
    found = [_step(step) for step in steps if isinstance(step, dict)]
    only = session.options.get("steps")
    chosen = [step for step in found if step.id in only] if isinstance(only, list | tuple) else []
    return PlanInfo(
        title=_text(plan, "title"),
        model=_text(plan, "model"),
        cautions=_texts(plan, "cautions"),
        steps=tuple(chosen or found),
    )


def reference_value(session: SessionRecord | None, step: str, item: str) -> float | None:
    """The known-good unit's value for an item, in SI, or None."""
    row = session.reference.get(f"{step}/{item}") if session is not None else None
    if not isinstance(row, dict):
        return None
    return next((found for key in ("value", "median", "mean") if (found := _number(row, key)) is not None), None)


def inherited_as_found(session: SessionRecord) -> dict[str, float]:
    """What trimmers read in an earlier session of the same unit, in SI, by item."""
    rows = session.inherited.get("as_found")
    found: dict[str, float] = {}
    for key, row in rows.items() if isinstance(rows, dict) else ():
        value = _number(row, "value") if isinstance(row, dict) else None
        if value is not None:
            found[str(key).partition("/")[2]] = value
    return found


def _step(step: dict[str, Any]) -> StepInfo:
    target = step.get("target")
    return StepInfo(
        id=_name(step, "id"),
        kind=_text(step, "kind"),
        say=_text(step, "say"),
        cautions=_texts(step, "cautions"),
        items=tuple(_items(step)),
        unit=_text(step, "unit"),
        min=_number(step, "min"),
        max=_number(step, "max"),
        target=_number(step, "target"),
        target_word=visible(target) if isinstance(target, str) else "",
        tolerance=_number(step, "tolerance"),
        tolerance_share=_number(step, "tolerance_share"),
        never_below=_number(step, "never_below"),
        never_above=_number(step, "never_above"),
        never_below_share=_number(step, "never_below_share"),
        never_above_share=_number(step, "never_above_share"),
        count=int(_number(step, "presses") or _number(step, "runs") or 0),
        reliability=_number(step, "reliability") or 0.90,
        confidence=_number(step, "confidence") or 0.95,
        wait_s=_number(step, "wait_s") or _number(step, "off_s") or 0.0,
        rest_s=_number(step, "rest_s") or 0.0,
    )


def _items(step: dict[str, Any]) -> list[ItemInfo]:
    rows = step.get("items") or step.get("points") or ()
    found: list[ItemInfo] = []
    for row in rows if isinstance(rows, list | tuple) else ():
        if isinstance(row, str):
            found.append(ItemInfo(name=row))
        elif isinstance(row, dict) and isinstance(row.get("name"), str):
            where = "  ".join(
                f"{label}{text}"
                for label, key in (("", "where"), ("red ", "red"), ("black ", "black"))
                if (text := _text(row, key))
            )
            found.append(
                ItemInfo(
                    name=_name(row, "name"),
                    where=where,
                    say=_text(row, "say"),
                    min=_number(row, "min"),
                    max=_number(row, "max"),
                )
            )
    return found


def _name(row: dict[str, Any], key: str) -> str:
    """An id or a name as it is, since records name it so; whoever shows it makes it visible."""
    value = row.get(key)
    return value if isinstance(value, str) else ""


def _text(row: dict[str, Any], key: str) -> str:
    value = row.get(key)
    return visible(value) if isinstance(value, str) else ""


def _texts(row: dict[str, Any], key: str) -> tuple[str, ...]:
    value = row.get(key)
    if isinstance(value, str):
        return (visible(value),)
    return tuple(visible(line) for line in value if isinstance(line, str)) if isinstance(value, list | tuple) else ()


def _number(row: dict[str, Any], key: str) -> float | None:
    value = row.get(key)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
