"""A technician's body: one pair of probes, one mouth, reaction times; and the count a person keeps along a
row."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import NamedTuple, Protocol

from metercap.asks import Range
from metercap.practice.board import AIR, AIR_NAME, TIPS_NAME, Board, Place
from metercap.practice.habits import Habits
from metercap.practice.meter import Meter
from metercap.quantity import Quantity

NEVER_S = float("inf")

TREMOR_S = (0.5, 2.0)
"""How long a tremor lasts after a touch, in seconds; invented."""
HOLDS_S = (0.05, 0.15)
BREAKS_S = (0.01, 0.06)
"""How long contact holds and breaks in it: some eight times a second (physiological tremor, from memory)."""


class World(Protocol):
    """What hands act on; the bench."""

    board: Board
    meter: Meter

    def put(self, t_s: float, place: Place) -> None:
        """The probes are at `place` from `t_s` on."""
        ...

    def say(self, t_s: float, word: str, text: str = "") -> None:
        """The technician says a word."""
        ...

    def dial(self, t_s: float, wanted: Quantity | None, range_: Range | None = None) -> None:
        """Set the meter: quantity (None leaves it), range; HOLD and REL go off."""
        ...

    def range_up(self, t_s: float) -> bool:
        """Give a fixed range back to the meter's own choice; return whether it was fixed."""
        ...


class Tick(NamedTuple):
    """A tick that the technician heard: when, with the tips where, and which item the tool named."""

    t_s: float
    here: str
    named: str


class Count:
    """A technician's own count along a row of items. `done` is the last one they hold for finished."""

    def __init__(self, items: Sequence[str]) -> None:
        self.items = list(items)
        self.done: str | None = None

    def __contains__(self, item: str | None) -> bool:
        return item in self.items

    def next(self) -> str | None:
        """The item after `done`; None when the row is finished."""
        at = self.items.index(self.done) + 1 if self.done in self.items else 0
        return self.items[at] if at < len(self.items) else None

    def after(self, item: str) -> str | None:
        """The item after `item`, or None at the end of the row and outside of it."""
        at = self.items.index(item) + 1 if item in self.items else len(self.items)
        return self.items[at] if at < len(self.items) else None

    def before(self, item: str) -> str | None:
        """The item before `item`, or None."""
        at = self.items.index(item) if item in self.items else 0
        return self.items[at - 1] if at else None


class Body:
    """Planned actions in slots, and what the probes do. A new action in a slot replaces the old one."""

    def __init__(self, habits: Habits, world: World, rng: Random) -> None:
        self.habits = habits
        self.world = world
        self.rng = rng
        self.here = AIR_NAME
        self.last = AIR_NAME
        self.swapped = False
        self.answers: Mapping[str, str] = {}
        """What this unit makes them answer to a step's question, where that is not `yes`."""
        self.minded = AIR_NAME
        self.lifted_s = -NEVER_S
        self._due: dict[str, tuple[float, Callable[[float], None]]] = {}

    @property
    def next_s(self) -> float:
        """When the next action is due; infinity when nothing is planned."""
        return min((t_s for t_s, _ in self._due.values()), default=NEVER_S)

    def act(self) -> None:
        """Do the earliest planned action."""
        slot = min(self._due, key=lambda name: self._due[name][0])
        t_s, action = self._due.pop(slot)
        action(t_s)

    def plan(self, slot: str, t_s: float, action: Callable[[float], None]) -> None:
        """Plan an action."""
        self._due[slot] = (t_s, action)

    def planned(self, slot: str) -> bool:
        """Whether something stands in the slot."""
        return slot in self._due

    def drop(self, *slots: str) -> None:
        """Plan nothing in these slots."""
        for slot in slots:
            self._due.pop(slot, None)

    def reaction_s(self) -> float:
        """Return one reaction time in seconds, never under 0.12."""
        return max(0.12, self.rng.gauss(self.habits.reaction_s, self.habits.reaction_sd_s))

    def move_s(self) -> float:
        """Return how long one move to another item takes, in seconds, never under 0.3."""
        return max(0.3, self.rng.gauss(self.habits.move_s, self.habits.move_sd_s))

    def patience_s(self) -> float:
        """Return how long this technician waits on a silent item, in seconds, never under 2."""
        return max(2.0, self.rng.gauss(self.habits.patience_s, self.habits.patience_sd_s))

    def chance(self, share: float) -> bool:
        """Draw whether a habit shows this time."""
        return share > 0.0 and self.rng.random() < share

    def put_on(self, t_s: float, item: str) -> None:
        """Put both tips on an item, or together."""
        ohm = 0.0
        if item != TIPS_NAME:
            ohm = self.habits.touch_ohm * self.rng.uniform(0.5, 1.5)
            if self.chance(self.habits.dirty_touch):
                ohm += self.rng.uniform(0.02, 1.0) * self.habits.dirty_ohm
            if self.chance(self.habits.partly):
                ohm += self.rng.uniform(self.habits.partly_ohm_from, self.habits.partly_ohm_to)
            # Whoever was asked about this item's tips minds them.
            self.swapped = item != self.minded and self.chance(self.habits.swaps)
        self.here = self.last = item
        place = self.world.board.place(item, ohm, flipped=self.swapped)
        self.world.put(t_s, place)
        self.drop("tremor")
        if item != TIPS_NAME and self.chance(self.habits.trembles):
            self._tremble(t_s, t_s + self.rng.uniform(*TREMOR_S), place)

    def _tremble(self, t_s: float, until_s: float, place: Place) -> None:
        """Contact holds for a moment of a tremor, and then breaks for one."""
        if t_s < until_s:
            self.plan("tremor", t_s + self.rng.uniform(*HOLDS_S), lambda at_s: self._break(at_s, until_s, place))

    def _break(self, t_s: float, until_s: float, place: Place) -> None:
        self.world.put(t_s, AIR)

        def back(at_s: float) -> None:
            self.world.put(at_s, place)
            self._tremble(at_s, until_s, place)

        self.plan("tremor", t_s + self.rng.uniform(*BREAKS_S), back)

    def put_down(self, t_s: float) -> None:
        """Stop turning."""

    def let_go(self, t_s: float) -> None:
        """Let go of what the other hand holds."""

    def take_off(self, t_s: float) -> None:
        """Lift the tips; whatever the other hand does there, it stops."""
        self.put_down(t_s)
        self.let_go(t_s)
        self.drop("tremor")
        self.here = AIR_NAME
        self.lifted_s = t_s
        self.world.put(t_s, AIR)
