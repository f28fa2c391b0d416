"""What steps share that take their items one after the other, each until it is decided: cells, cables, switches."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, ClassVar

from metercap.judging.judge import Limits
from metercap.plankeys.base import ItemsStep
from metercap.records import CueKind, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.facts import InForce
from metercap.steps.machine import Machine

PATIENCE_S = 10.0
"""How long without contact until one reminder."""


class Listed(Machine):
    """Opens the first item that is not decided, until none is left.

    A kind says what opening means: `FIRST` and `END` are its states, `fresh` forgets what belonged to the item before
    (and sets another state where an earlier session left a question open), and `resume` prompts.
    """

    FIRST: ClassVar[StrEnum]
    END: ClassVar[StrEnum]

    def __init__(self, step: ItemsStep, bench: Bench, limits: Limits) -> None:
        super().__init__(step, bench, self.FIRST)
        self._items = step.items
        self._limits = limits
        self._at = 0
        self._decided = {item.name: None for item in step.items if bench.is_kept(step.id, item.name)}

    @property
    def item(self) -> str:
        """The item in turn."""
        return self._items[self._at].name

    @property
    def place(self) -> str:
        """The item in turn and where it is."""
        where = self._items[self._at].where
        return f"{self.item}, {where}" if where else self.item

    @property
    def told(self) -> dict[str, Any]:
        """What every kind's facts tell of its items."""
        return {"done": len(self._decided), "of": len(self._items), "limits": InForce.of(self._limits)}

    def fresh(self) -> None:
        """Forget what belonged to the item before."""
        raise NotImplementedError

    def start(self) -> None:
        """Open the first item that is not decided."""
        self.state = self.go_on()

    def start_at(self, item: str) -> None:
        """Open this item first."""
        names = [each.name for each in self._items]
        self.state = self._open(names.index(item))

    @property
    def undone(self) -> tuple[str, ...]:
        """Items that are not decided; one that is asked about after its verdict is none yet."""
        return tuple(item.name for item in self._items if item.name not in self._decided)

    @property
    def has_behind(self) -> bool:
        """True from the second item on, and where the first one is asked about after its verdict."""
        return self._at > 0 or self.state in self.AFTER_VERDICT

    def to_item(self) -> StrEnum:
        """Open the item that was named."""
        wanted = self.text.strip().casefold()
        for index, item in enumerate(self._items):
            if item.name.casefold() == wanted:
                return self._open(index)
        self.bench.note(f"no item {self.text.strip()!r} in this step")
        return self.state

    def arm(self) -> None:
        """Start the patience of what is open."""
        self.deadline_s = at(self.bench.t_s + PATIENCE_S)

    def parted(self) -> StrEnum:
        """The contact ended before enough was known: touch it once more."""
        self.bench.cue(CueKind.AGAIN, self.item)
        self.arm()
        return self.FIRST

    def again(self) -> StrEnum:
        """Begin the present item anew."""
        return self._open(self._at)

    def back(self) -> StrEnum:
        """Open the item before."""
        return self._open(max(0, self._at - 1))

    def skip(self) -> StrEnum:
        """Passed over."""
        return self.word(VerdictKind.UNSURE, "skipped")

    def absent(self) -> StrEnum:
        """This unit has no such item."""
        return self.word(VerdictKind.ABSENT, "absent, by the operator's word")

    def is_open(self) -> StrEnum:
        """There is no path."""
        return self.word(VerdictKind.FAIL, "open, by the operator's word")

    def skip_step(self) -> StrEnum:
        """What is not decided becomes unsure."""
        for item in self._items:
            if item.name not in self._decided:
                self.bench.give(item.name, VerdictKind.UNSURE, reason="step skipped")
        return self.finish()

    def word(self, verdict: VerdictKind, reason: str) -> StrEnum:
        """Decide the present item by a word, and go on."""
        self.bench.give(self.item, verdict, reason=reason, limits=self._limits)
        return self.decided()

    def decided(self) -> StrEnum:
        """The present item has its verdict: go on with the next."""
        self._decided[self.item] = None
        return self.go_on()

    def go_on(self) -> StrEnum:
        """Open the first item that is not decided; end when there is none."""
        for index, item in enumerate(self._items):
            if item.name not in self._decided:
                return self._open(index)
        return self.finish()

    def finish(self) -> StrEnum:
        """End the step."""
        self.deadline_s = None
        self.done = True
        return self.END

    def _open(self, index: int) -> StrEnum:
        self._at = index
        self._decided.pop(self.item, None)
        self.state = self.FIRST
        self.fresh()
        self.bench.changed()
        self.resume()
        return self.state
