"""A simulated technician: sees prompts and cues, moves the probes, says words; and errs as people do.

The technician is one observer and one word source. What they know is what a person would: what the tool says,
where their own tips are, and their own count along a row of items. They do not see the tool's mind, and the
tool does not see theirs; a mistake is where the two differ.

    prompt probe → reach → touch ┬→ (cue contact) → hold → tick → lift → (cue go) → next item
                                 ├→ silence → patience ends → the word `open`, or away without a word
                                 ├→ cue lift / again → lift → go → the same item once more
                                 └→ slip: lift and touch again at once, the same item or the next

Three slots hold what is planned: `move` (the probes), `word` (the mouth) and `dial` (the other hand, on the
meter).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import ClassVar

from metercap.practice.board import TIPS_NAME
from metercap.practice.body import NEVER_S, Count, Tick, World
from metercap.practice.fingers import Fingers
from metercap.practice.habits import Habits
from metercap.practice.meter import OHMS
from metercap.records import Cue, CueKind, Do, Prompt, Record, Verdict

_COUNT_CHECK = re.compile(r"last tick (?:was )?on (?P<item>[^?]+?)\s*\?", re.IGNORECASE)
_HOLD_AND_SAY = re.compile(r"\btips on\b.*\bsay yes\b", re.IGNORECASE)
_SECOND_LOOK = "second look"
_PASSES_OVER = ("open", "skip", "absent")

LOOK_UP_S = 30.0
"""A technician with nothing to do looks at the screen this long after the last prompt; invented."""


class Hands(Fingers):
    """The technician. `rows` gives the items of each step that is walked as a row, in order.

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
        self._miscounted = False
        """They noticed that the tool's count is not their own, and say so at the next count check."""
        self._heard = self._ticked = self._wandered = self._spoke = self._wait_go = False
        self._busy_until_s = -NEVER_S
        self._new_step("")

    def see(self, record: Record, t_s: float) -> None:
        """Take in a record at session time `t_s`; only prompts, cues and verdicts reach a technician's
        mind."""
        kind = type(record)
        if kind is Cue:
            react = self._on_cue.get(record.cue)  # type: ignore[union-attr]
        elif kind is Prompt:
            if record.step != self.step:  # type: ignore[union-attr]
                self._new_step(record.step)  # type: ignore[union-attr]
            react = self._on_prompt.get(record.do)  # type: ignore[union-attr]
        else:
            if kind is Verdict and record.item == self._asked:  # type: ignore[union-attr]
                self._asked = None
            return
        if react is not None:
            react(self, record, t_s)

    # --- mind

    def _new_step(self, step: str) -> None:
        self.step = step
        self._count = Count(self.rows.get(step, ()))
        self._asked = self._redo = None
        self._holds_for = ""
        self._miscounted = False
        self._by_prompt = self.habits.follows == "prompt"
        self.drop("word")

    def _goal(self) -> str | None:
        """Return where the technician means to go next, by their own count or by the prompt."""
        if self._redo is not None:
            return self._redo
        if self._by_prompt or self._asked is None or self._asked not in self._count:
            return self._asked
        return self._count.next()

    # --- prompts

    def _probe(self, prompt: Prompt, t_s: float) -> None:
        self._asked, self._holds_for, self._spoke = prompt.item, "", False
        self.plan("look", t_s + LOOK_UP_S, self._look_up)
        if _SECOND_LOOK in prompt.say:
            self._by_prompt = True
        goal = self._goal()
        if goal is None:
            # By their own count the row is finished, yet the tool asks for one more: the two counts differ.
            self._by_prompt = self._miscounted = True
            self._say_soon(t_s, "skip")
            if self.here and not self.planned("move"):
                self.plan("move", t_s + self.reaction_s(), self.take_off)
        elif self.here:
            if self.here == goal and not self._ticked:
                self.plan("word", t_s + self.patience_s(), self._give_up)
            elif not self.planned("move"):
                self._plan_lift(t_s)
        elif not self._wait_go or not self.planned("move"):
            self._plan_touch(t_s)

    def _short(self, prompt: Prompt, t_s: float) -> None:
        self._asked, self._holds_for, self._spoke = prompt.item, "", False
        self._redo = TIPS_NAME
        if self.here == TIPS_NAME:
            self.plan("move", t_s + self.reaction_s(), lambda at_s: self._lift(at_s, heed=True))
            return
        self.drop("move", "word")
        if self.here:
            self.take_off(t_s)
        self._plan_touch(t_s)

    def _lift_prompt(self, prompt: Prompt, t_s: float) -> None:
        self._redo = None
        self._away(t_s)

    def _confirm(self, prompt: Prompt, t_s: float) -> None:
        self._away(t_s)
        self._say_soon(t_s, "yes")

    def _answer(self, prompt: Prompt, t_s: float) -> None:
        if asked := _COUNT_CHECK.search(prompt.say):
            mine = self.ticks[-1].here if self.ticks else ""
            right = asked["item"].strip() == mine and not self._miscounted
            self._miscounted = False
            self._away(t_s)
            self._say_soon(t_s, "yes" if right else "no")
        elif prompt.item is not None and _HOLD_AND_SAY.search(prompt.say):
            self._hold(prompt.item, t_s)
        else:
            self._say_soon(t_s, "yes")

    def _hold(self, item: str, t_s: float) -> None:
        """Hold both tips on a point, and say yes while they are on it."""
        self._asked, self._redo, self._holds_for, self._spoke = item, item, item, False
        if self.here == item and not self._ticked:
            self._say_soon(t_s, "yes")
        elif not self.here or not self.planned("move"):
            self.drop("move", "word")
            if self.here:
                self._plan_lift(t_s)
            else:
                self._plan_touch(t_s)

    def _dial(self, prompt: Prompt, t_s: float) -> None:
        if prompt.item is None and not self.habits.fixes_range:
            return
        if prompt.item is not None:  # what blocks the item; the range, asked with none, is a tip for later
            self._away(t_s)
        self.plan("dial", t_s + self.reaction_s() + 1.5, lambda at_s: self.world.dial(at_s, prompt.say))

    def _stop_prompt(self, prompt: Prompt, t_s: float) -> None:
        if self.tool_away(prompt.say):
            self.hands_off(t_s)
            if not self.here:
                self._probe(prompt, t_s)
        else:
            self._make_safe(prompt, t_s)

    def _make_safe(self, prompt: Prompt, t_s: float) -> None:
        """Voltage was found: lift, disconnect and discharge; who cannot, leaves the item for later."""
        self._away(t_s)
        item = prompt.item or self.last
        if self.habits.discharges:
            self._busy_until_s = t_s + self.habits.discharge_s
            self.plan("dial", self._busy_until_s, lambda at_s: self.world.board.discharge(item))
            if self._holds_for:
                self._redo = item
                self._plan_touch(t_s)
        else:
            self._count.done = item
            self._say_soon(t_s + 1.0, "skip")

    # --- cues

    def _contact(self, cue: Cue, t_s: float) -> None:
        self._heard = True
        if self.at_work:
            self.drop("word")
        elif self.here and not self._holds_for:
            # Somebody who holds for this long without a tick tries once more.
            self.plan("word", t_s + 3 * self.habits.patience_s, self._try_once_more)

    def _tick(self, cue: Cue, t_s: float) -> None:
        if self._spoke or cue.step != self.step:
            return  # what one's own word brought about, or a correction of earlier items
        here = self.here or self.last
        self._redo, self._holds_for = None, ""
        if cue.item == self._asked:
            self._asked = None
        if here != TIPS_NAME:
            self.ticks.append(Tick(t_s, here, cue.item))
        if not self.here:
            return
        self.drop("word")
        if self._wandered:
            self._wandered = False
            self.plan("word", t_s + self.reaction_s() + 0.5, lambda at_s: self._word(at_s, "back"))
        else:
            self._count.done = self.here
        self._ticked = True
        self._plan_lift(t_s)

    def _go(self, cue: Cue, t_s: float) -> None:
        if self._wait_go and not self.here:
            self._wait_go = False
            ready_s = max(self.lifted_s + self.move_s(), t_s + self.reaction_s(), self._busy_until_s)
            self.plan("move", ready_s, self._touch)

    def _lift_cue(self, cue: Cue, t_s: float) -> None:
        self.drop("word")
        if self.here:
            self._heard = True
            self.plan("move", t_s + self.reaction_s(), lambda at_s: self._lift(at_s, heed=True))
        elif self.planned("move"):
            self._wait_go = True  # off already: stay off until the tool is certain of it
            self.plan("move", t_s + self.habits.go_s, self._touch)

    def _again(self, cue: Cue, t_s: float) -> None:
        if self._ticked and self.here:
            return
        self.drop("word")
        self._redo = self.last or None
        if self._count.done == self.last:
            self._count.done = self._count.before(self.last)
        if self.here:
            self._heard = True
            self.plan("move", t_s + self.reaction_s(), lambda at_s: self._lift(at_s, heed=True))
        elif self._redo is not None:
            self._wait_go = False
            self.plan("move", t_s + self.reaction_s() + 0.5 * self.move_s(), self._touch)

    def _waiting(self, cue: Cue, t_s: float) -> None:
        self._look_up(t_s)

    def _look_up(self, t_s: float) -> None:
        """Look at the screen: whoever is idle although the tool asks for something does that."""
        if self._asked is None:
            return
        self.plan("look", t_s + LOOK_UP_S, self._look_up)
        if self.here or self.planned("move") or self.planned("word"):
            return
        if self._goal() is None:
            self._by_prompt = True
            self._miscounted = self._miscounted or self._asked != self.last
        self._plan_touch(t_s)

    def _stop(self, cue: Cue, t_s: float) -> None:
        if not self.stop_turning(t_s):
            self._away(t_s)

    def _hazard(self, cue: Cue, t_s: float) -> None:
        if not self.back_off(t_s):
            self._away(t_s)

    # --- moves

    def _away(self, t_s: float) -> None:
        self.drop("move", "word")
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
        self.take_off(t_s)
        if after_tick and self.chance(habits.doubles):
            self.slipped += 1
            self.plan("move", t_s + self.rng.uniform(0.1, 2 * habits.slip_s), lambda at_s: self._double(at_s, item))
        elif after_tick and self.chance(habits.early):
            self.slipped += 1
            self.plan("move", t_s + self.rng.uniform(0.05, habits.slip_s), self._touch)
        else:
            self._wait_go = heed or (self._heard and self.rng.random() < habits.waits_for_go)
            pause_s = habits.go_s if self._wait_go else self.move_s()
            self.plan("move", max(t_s + pause_s, self._busy_until_s), self._touch)

    def _touch(self, t_s: float) -> None:
        self._wait_go = False
        goal = self._goal()
        if goal is None:
            return
        wanders = goal in self._count and self.chance(self.habits.wanders)
        item = self.rng.choice([self._count.before(goal) or goal, self._count.after(goal) or goal]) if wanders else goal
        self._land(t_s, item)
        if item == TIPS_NAME:
            return
        if self._holds_for:
            self._say_soon(t_s, "yes")
            return
        if item != goal:
            self._wandered = True
            self.plan("move", t_s + self.rng.uniform(0.5, 2.0), lambda at_s: self._lift(at_s, heed=True))
        elif self.chance(self.habits.slips):
            self.plan("move", t_s + self.rng.uniform(0.1, 1.2), self._slip)
        elif self.chance(self.habits.on_beep):
            self._lift_on_sign(t_s)

    def _land(self, t_s: float, item: str) -> None:
        self.put_on(t_s, item)
        self._heard = self._ticked = self._wandered = False
        if self._redo == item != TIPS_NAME:
            self._redo = None
        if item != TIPS_NAME:
            self.plan("word", t_s + self.patience_s(), self._give_up)

    def _double(self, t_s: float, item: str) -> None:
        """Touch the ticked item once more, and leave it."""
        self._land(t_s, item)
        self.drop("word")
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
        self.drop("word")
        self.take_off(t_s)
        self.plan("move", t_s + self.move_s(), self._touch)

    def _give_up(self, t_s: float) -> None:
        """Silence for as long as patience lasts: the word `open`, or away without one. In volts zero is a
        value: `yes`."""
        if not self.here or self.here == TIPS_NAME:
            return
        if self.world.meter.quantity not in OHMS:
            self._word(t_s, "yes")
            return
        self._count.done = item = self.here
        if item not in self.left_silent and self.chance(self.habits.leaves_open):
            self.left_silent.append(item)
            self.take_off(t_s)
            self.plan("move", t_s + self.move_s(), self._touch)
        else:
            self._word(t_s, "open")

    def _try_once_more(self, t_s: float) -> None:
        if self.here and not self._ticked:
            self._redo = self.here
            self._lift(t_s, heed=True)

    # --- words

    def _word(self, t_s: float, word: str) -> None:
        self._spoke = word in _PASSES_OVER or word == "no"
        self.world.say(t_s, word)

    def _say_soon(self, t_s: float, word: str) -> None:
        self.plan("word", t_s + self.reaction_s() + self.habits.think_s, lambda at_s: self._word(at_s, word))

    _on_prompt: ClassVar[dict[Do, Callable[..., None]]] = {
        Do.PROBE: _probe,
        Do.SHORT: _short,
        Do.LIFT: _lift_prompt,
        Do.CONFIRM: _confirm,
        Do.ANSWER: _answer,
        Do.DIAL: _dial,
        Do.STOP: _stop_prompt,
        **Fingers.finger_prompts,
    }
    _on_cue: ClassVar[dict[CueKind, Callable[..., None]]] = {
        CueKind.CONTACT: _contact,
        CueKind.PASS: _tick,
        CueKind.FAIL: _tick,
        CueKind.UNSURE: _tick,
        CueKind.GO: _go,
        CueKind.LIFT: _lift_cue,
        CueKind.AGAIN: _again,
        CueKind.WAITING: _waiting,
        CueKind.STOP: _stop,
        CueKind.HAZARD: _hazard,
        **Fingers.turn_cues,
    }
