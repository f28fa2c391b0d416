"""The technician's probes: where they mean to go, how they land and lift, and the ways in which they slip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from random import Random

from metercap.practice.board import TIPS_NAME
from metercap.practice.body import NEVER_S, Count, Tick, World
from metercap.practice.chores import Chores
from metercap.practice.habits import Habits
from metercap.practice.meter import OHMS
from metercap.quantity import Quantity
from metercap.records import Prompt

_PASSES_OVER = ("open", "skip", "absent")

DOUBT_S = 0.3
"""Who touched a neighbour first gives no credit to a tick that comes this soon after; invented."""


class Probes(Chores):
    """Moves of the probes, with a count of one's own. `hands.Hands` says when.

    `ticks` are those heard by contact; `left_silent` the items left without a word; `slipped` counts slips of
    any kind.
    """

    def __init__(
        self, habits: Habits, world: World, rng: Random, rows: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        super().__init__(habits, world, rng)
        self.rows = dict(rows or {})
        self.ticks: list[Tick] = []
        self.left_silent: list[str] = []
        self.slipped = 0
        self._asked: str | None = None
        """What the tool asks for; None once it has its verdict."""
        self._redo: str | None = None
        """What must be touched once more, whatever the count says."""
        self._holds_for = ""
        """The point that is held for a `yes`."""
        self._hold_from_s = 0.0
        """When a `yes` to the point that is held begins to count, as the help says."""
        self._prompt: Prompt | None = None
        """The last prompt to probe."""
        self._miscounted = False
        """They noticed that the tool's count is not their own, and say so at the next count check."""
        self._heard = self._ticked = self._wandered = self._spoke = self._wait_go = False
        self._busy_until_s = -NEVER_S
        self._doubt_s = -NEVER_S
        """A tick before this may be of what was touched on the way."""
        self._unfixed = False
        """They gave a fixed range back to the meter for one step, and fix it again after."""
        self._new_step("", 0.0)

    def _new_step(self, step: str, t_s: float) -> None:
        self.step = step
        self._count = Count(self.rows.get(step, ()))
        self._asked = self._redo = None
        self._holds_for = ""
        self._miscounted = False
        self._by_prompt = self.habits.follows == "prompt"
        self.drop("word", "patience")
        if self._unfixed and self.world.meter.quantity is Quantity.RESISTANCE:
            self.plan("dial", t_s + 1.0, lambda at_s: self.world.dial(at_s, Quantity.RESISTANCE, "low"))
        self._unfixed = False

    def _goal(self) -> str | None:
        """Return where the technician means to go next, by their own count or by the prompt."""
        if self._redo is not None:
            return self._redo
        if self._by_prompt or self._asked is None or self._asked not in self._count:
            return self._asked
        return self._count.next()

    # --- moves

    def leave(self, word: str, text: str, t_s: float) -> None:
        """Take the tips away and say a word instead of what was asked."""
        self._away(t_s)
        self.say_soon(t_s, word, text)

    def _away(self, t_s: float) -> None:
        self.drop("move", "word", "patience")
        self._wait_go = False
        if self.here:
            self.plan("move", t_s + self.reaction_s(), self.take_off)

    def _plan_lift(self, t_s: float) -> None:
        self.plan("move", t_s + self.reaction_s(), self._lift)

    def _plan_touch(self, t_s: float) -> None:
        self._wait_go = False
        self.plan("move", max(t_s + self.reaction_s(), self._busy_until_s) + self.move_s(), self._touch)

    def _lift(self, t_s: float, heed: bool = False) -> None:
        habits, item = self.habits, self.here
        after_tick = self._ticked and self._heard and not heed
        if after_tick and self.chance(habits.slips_after):
            self._slip_ticked(t_s)
            return
        if after_tick and self.chance(habits.drags):
            self.slipped += 1
            self._touch(t_s)
            return
        self.take_off(t_s)
        if after_tick and self.chance(habits.doubles):
            self.slipped += 1
            self.plan("move", t_s + self.rng.uniform(0.1, 2 * habits.slip_s), lambda at_s: self._double(at_s, item))
        elif after_tick and self.chance(habits.early):
            self.slipped += 1
            self.plan("move", t_s + self.rng.uniform(0.05, habits.slip_s), self._touch)
        else:
            hears_go = self._heard and not self.stays_on
            self._wait_go = heed or (hears_go and self.rng.random() < habits.waits_for_go)
            pause_s = habits.go_s if self._wait_go else self.move_s()
            self.plan("move", max(t_s + pause_s, self._busy_until_s), self._touch)

    def _touch(self, t_s: float) -> None:
        self._wait_go = False
        goal = self._goal()
        if goal is None:
            return
        wanders = goal in self._count and self.chance(self.habits.wanders)
        beside = (
            self.rng.choice([self._count.before(goal) or goal, self._count.after(goal) or goal]) if wanders else goal
        )
        if goal in self._count and not wanders and self.chance(self.habits.neighbours):
            self._by_a_neighbour(t_s, goal)
            return
        self._land_on(t_s, goal, beside)

    def _by_a_neighbour(self, t_s: float, goal: str) -> None:
        """Touch a neighbour first, see it, and go over to the right one, over air or not."""
        self._land(t_s, self._count.before(goal) or self._count.after(goal) or goal)
        self.slipped += 1
        self._wandered = True
        leaves_s = t_s + self.rng.uniform(0.05, self.habits.neighbour_s)

        def right(at_s: float) -> None:
            self._land_on(at_s, goal, goal)
            self._doubt_s = at_s + DOUBT_S

        def off(at_s: float) -> None:
            self.take_off(at_s)
            self.plan("move", at_s + self.rng.uniform(0.05, 0.3), right)

        self.plan("move", leaves_s, right if self.chance(0.5) else off)

    def _land_on(self, t_s: float, goal: str, item: str) -> None:
        self._land(t_s, item)
        if item == TIPS_NAME:
            return
        if self._holds_for:
            self.say_soon(max(t_s, self._hold_from_s), "yes")
        elif self.stays_on:
            self.after_landing(self._prompt, t_s)
        elif item != goal:
            self._wandered = True
            self.plan("move", t_s + self.rng.uniform(0.5, 2.0), lambda at_s: self._lift(at_s, heed=True))
        elif self.chance(self.habits.slips):
            self.plan("move", t_s + self.rng.uniform(0.1, 1.2), self._slip)
        elif self.chance(self.habits.on_beep):
            self._lift_on_sign(t_s)

    def _slip_ticked(self, t_s: float) -> None:
        """After its tick the tip slides off the item for a moment, and is back; lifted when the hand is ready."""
        item = self.here
        self.slipped += 1
        self.take_off(t_s)

        def back(at_s: float) -> None:
            self._land(at_s, item)
            self.drop("patience")
            self._heard = self._ticked = True
            self.plan("move", at_s + self.rng.uniform(0.5, 2.5), lambda then_s: self._lift(then_s, heed=True))

        self.plan("move", t_s + self.rng.uniform(0.05, self.habits.slip_s), back)

    def _land(self, t_s: float, item: str) -> None:
        self.put_on(t_s, item)
        self._heard = self._ticked = self._wandered = False
        if self._redo == item != TIPS_NAME:
            self._redo = None
        if item != TIPS_NAME:
            self._wait_here(t_s)

    def _wait_here(self, t_s: float) -> None:
        if self.stays_on:
            self.plan("patience", t_s + self.patience_s(), self._look_at_range)
        else:
            self.plan("patience", t_s + self.patience_s(), self._give_up)

    def _double(self, t_s: float, item: str) -> None:
        """Touch the ticked item once more, and leave it."""
        self._land(t_s, item)
        self.drop("patience")
        self._ticked = True
        self.plan("move", t_s + self.rng.uniform(0.2, 1.0), lambda at_s: self._lift(at_s, heed=True))

    def _slip(self, t_s: float) -> None:
        """The tip slides off for a moment, and lands on the same item or already on the next."""
        item, ticked, heard = self.here, self._ticked, self._heard
        self.slipped += 1
        onward = self._count.after(item) if self.chance(self.habits.slips_next) else None
        if onward is not None and not ticked:
            self._count.done = item
        self.take_off(t_s)

        def land(at_s: float) -> None:
            self._land(at_s, onward or item)
            if onward is None and ticked:
                self._heard, self._ticked = heard, ticked
                self._plan_lift(at_s)

        self.plan("move", t_s + self.rng.uniform(0.05, self.habits.slip_s), land)

    def _lift_on_sign(self, t_s: float) -> None:
        """Lift on the meter's own sign: the beeper, or the first number that its display shows."""
        meter = self.world.meter
        place = self.world.board.place(self.here)
        if place.part.seen(t_s).ohm == float("inf"):
            return
        sign_s = 0.1 if meter.beeps(place, t_s) else self.rng.uniform(0.5, 1.5) * meter.conversion_s
        self.plan("move", t_s + sign_s + self.reaction_s(), self._lift_as_done)

    def _lift_as_done(self, t_s: float) -> None:
        self._count.done = self.here
        self.slipped += 1
        self.drop("patience")
        self.take_off(t_s)
        self.plan("move", t_s + self.move_s(), self._touch)

    def _give_up(self, t_s: float) -> None:
        """Silence for as long as patience lasts: the word `open`, or away without one. In volts zero is a
        value: `yes`."""
        if not self.here or self.here == TIPS_NAME:
            return
        if self.world.meter.quantity not in OHMS:
            self.speak(t_s, "yes")
            return
        if self.here not in self._count and self.world.range_up(t_s):
            self._unfixed = True
            self._wait_here(t_s)  # over-range in a fixed range says little where nobody expects a fuse
            return
        self._count.done = item = self.here
        if item not in self.left_silent and self.chance(self.habits.leaves_open):
            self.left_silent.append(item)
            self.take_off(t_s)
            self.plan("move", t_s + self.move_s(), self._touch)
        else:
            self.speak(t_s, "open")

    def _look_at_range(self, t_s: float) -> None:
        """Over-range where a value is to be read, in a fixed range: let the meter choose."""
        if self.here and not self._heard and not self.pressing:
            self.world.range_up(t_s)

    def _try_once_more(self, t_s: float) -> None:
        if self.here and not self._ticked:
            self._redo = self.here
            self._lift(t_s, heed=True)

    def speak(self, t_s: float, word: str, text: str = "") -> None:
        """Say a word now; what it brings about is no tick by contact."""
        self._spoke = word in _PASSES_OVER or word == "no"
        super().speak(t_s, word, text)
