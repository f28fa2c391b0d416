"""Route: which step comes next, in the plan's order or where the operator goes, and what was left open on the way.

A step that is left comes back before the end: after the plan's last step, whatever was left or passed over is opened
once more, until it is decided, skipped, or the operator quits. What of a step is decided is known to the bench
(`Bench.kept`), for one that is taken up from an earlier session and for one that is left in this one alike.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from metercap.plankeys import StepBase
from metercap.quantity.names import compressed
from metercap.steps import Bench, Machine

Place = tuple[str, str]
"""A step's id and an item's name."""


class LeftOpen(msgspec.Struct, frozen=True):
    """A step that was left or passed over, and which of its items have no decision."""

    step: str
    items: tuple[str, ...]

    @property
    def said(self) -> str:
        """Name it in words: the step, and its items where it has such."""
        items = [item for item in self.items if item != self.step]
        return f"{self.step}: {', '.join(compressed(items))}" if items else self.step


class Leg(msgspec.Struct, frozen=True):
    """The step to open now; `item` is the one to begin with, or empty; `again`: the plan is over, and it comes back."""

    step: StepBase
    item: str = ""
    again: bool = False


class Route:
    """The steps of a session, the one at hand, and where `back` leads from its first item."""

    def __init__(self, steps: Sequence[StepBase], bench: Bench) -> None:
        self.steps = tuple(steps)
        self._bench = bench
        self._at = -1
        self._furthest = -1
        self._to: Leg | None = None
        self._ended: list[Place] = []

    def next(self) -> Leg | None:
        """Return where to go on, which is at hand from now on; None when everything is decided."""
        leg, self._to = self._to or self._in_order(), None
        if leg is not None:
            self._at = self.steps.index(leg.step)
            self._furthest = max(self._furthest, self._at)
        return leg

    def _in_order(self) -> Leg | None:
        for again, steps in ((False, self.steps[self._at + 1 :]), (True, self.steps[: self._at + 1])):
            for step in steps:
                if not self._bench.is_over(step):
                    return Leg(step, again=again)
        return None

    def turn_to(self, leg: Leg) -> None:
        """Go there next, whatever the plan's order is. What is decided there stands, but for the item that is named;
        a step in which everything is decided begins anew."""
        bench, step = self._bench, leg.step
        if leg.item:
            bench.keep(step, [name for name in step.item_names if name != leg.item and bench.is_kept(step.id, name)])
        elif bench.is_over(step):
            bench.keep(step, ())
        self._to = leg

    def turn_back(self, leg: Leg) -> None:
        """Something comes before this leg: it is next after it."""
        self._to = leg

    def undecided(self, step: StepBase) -> tuple[str, ...]:
        """Return the items of a step that have no decision."""
        return tuple(name for name in step.item_names if not self._bench.is_kept(step.id, name))

    def ended(self, machine: Machine) -> None:
        """The step at hand has ended: everything in it is decided."""
        step = machine.step
        self._bench.keep(step, step.item_names)
        own = machine.item in step.item_names  # a later step's trimmer may have been read as found last
        self._ended.append((step.id, machine.item if own else step.item_names[-1]))

    def left(self, machine: Machine) -> None:
        """The step at hand is left: what it has not decided stays open."""
        step, undone = machine.step, machine.undone
        self._bench.keep(step, [name for name in step.item_names if name not in undone])

    def behind(self) -> Leg | None:
        """Return the item that was decided last in the step before, once; None where there is no such step."""
        if not self._ended:
            return None
        step_id, item = self._ended.pop()
        return Leg(next(step for step in self.steps if step.id == step_id), item)

    @property
    def open(self) -> tuple[LeftOpen, ...]:
        """What was left open on the way here, in the plan's order; the step at hand is none of it."""
        bench = self._bench
        return tuple(
            LeftOpen(step.id, self.undecided(step))
            for index, step in enumerate(self.steps[: self._furthest + 1])
            if index != self._at and not bench.is_over(step)
        )
