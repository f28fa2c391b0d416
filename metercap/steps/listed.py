"""What steps share that take their items one after the other, each until it is decided: cells, cables, switches."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, ClassVar

from metercap.judging.judge import Limits
from metercap.plankeys.base import ItemsStep
from metercap.records import CueKind, VerdictKind
from metercap.steps.bench import Bench
from metercap.steps.facts import InForce
from metercap.steps.machine import Cells, Given, Look, Machine, Row


class ListSign(StrEnum):
    """What follows an item that was decided."""

    ITEM = "item left"
    NONE = "none left"


def next_item(first: StrEnum, end: StrEnum) -> Cells:
    """Return the cells of the state in which the next item is found."""
    return {
        Given.NOW: Look("what_next", (ListSign.ITEM, ListSign.NONE)),
        ListSign.ITEM: Row("open_next", first, asks=True),
        ListSign.NONE: Row("", end),
    }


def item_words(following: StrEnum, end: StrEnum) -> Cells:
    """Return the words that every state of these steps heeds."""
    return {
        Given.ABSENT: Row("absent", following),
        Given.AT: Row("to_item", following),
        Given.SKIP_STEP: Row("skip_step", end),
    }


class Listed(Machine):
    """Opens the first item that is not decided, until none is left.

    A kind says in which state that is found (`NEXT`, left at once), what belongs to an item (`fresh` forgets it), and
    how it prompts (`resume`).
    """

    NEXT: ClassVar[StrEnum]

    def __init__(self, step: ItemsStep, bench: Bench, limits: Limits) -> None:
        super().__init__(step, bench, self.NEXT)
        self._items = step.items
        self._limits = limits
        self._at = 0
        self._wanted_at: int | None = None
        """The item that a word wants next."""
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
        self.move(self.NEXT)

    def start_at(self, item: str) -> None:
        """Open this item first."""
        self._want_item(item)
        self.move(self.NEXT)

    @property
    def undone(self) -> tuple[str, ...]:
        """Items that are not decided; one that is asked about after its verdict is none yet."""
        return tuple(item.name for item in self._items if item.name not in self._decided)

    @property
    def has_behind(self) -> bool:
        """True from the second item on, and where the first one is asked about after its verdict."""
        return self._at > 0 or self.state in self.AFTER_VERDICT

    def parted(self) -> None:
        """The contact ended before enough was known: touch it once more."""
        self.bench.cue(CueKind.AGAIN, self.item)
        self.arm()

    # --- words

    def again(self) -> None:
        """Begin the present item anew."""
        self._open(self._at)

    def replaced(self) -> None:
        """A new one is in: it enters the list of parts, and is measured."""
        self.bench.replaced(self.item, self.text or self.item)
        self.again()

    def back(self) -> None:
        """Open the item before."""
        self._wanted_at = max(0, self._at - 1)

    def to_item(self) -> None:
        """Open the item that the session found by its name."""
        self._want_item(self.text)

    def _want_item(self, name: str) -> None:
        self._wanted_at = [item.name for item in self._items].index(name)

    def skip(self) -> None:
        """Passed over."""
        self.word(VerdictKind.UNSURE, "skipped")

    def absent(self) -> None:
        """This unit has no such item."""
        self.word(VerdictKind.ABSENT, "absent, by the operator's word")

    def is_open(self) -> None:
        """There is no path."""
        self.word(VerdictKind.FAIL, "open, by the operator's word")

    def skip_step(self) -> None:
        """What has no verdict that stands becomes unsure."""
        for item in self._items:
            if not self.stands(item.name):
                self.bench.give(item.name, VerdictKind.UNSURE, reason="step skipped")

    def stands(self, item: str) -> bool:
        """Return whether an item's verdict holds though it was opened again."""
        return item in self._decided or self.bench.stands(item)

    def word(self, verdict: VerdictKind, reason: str) -> None:
        """Decide the present item by a word."""
        self.bench.give(self.item, verdict, reason=reason, limits=self._limits)
        self.decided()

    # --- from item to item

    def decided(self) -> None:
        """The present item has its verdict."""
        self._decided[self.item] = None

    @property
    def _next(self) -> int | None:
        if self._wanted_at is not None:
            return self._wanted_at
        return next((n for n, item in enumerate(self._items) if item.name not in self._decided), None)

    def what_next(self) -> StrEnum:
        """Find the item that a word wants, else the first that is not decided."""
        return ListSign.NONE if self._next is None else ListSign.ITEM

    def open_next(self) -> None:
        """Open it."""
        index, self._wanted_at = self._next, None
        self._open(index or 0)

    def _open(self, index: int) -> None:
        self._at = index
        self._decided.pop(self.item, None)
        self.fresh()
        self.bench.changed()
