"""A simulated technician: sees prompts and cues, moves the probes, says words; and errs as people do.

The technician is one observer and one word source. What they know is what a person would: what the tool says,
where their own tips are, and their own count along a row of items. They do not see the tool's mind, and the
tool does not see theirs; a mistake is where the two differ.

    prompt probe → reach → touch ┬→ (cue contact) → hold → tick → lift → (cue go) → next item
                                 ├→ silence → patience ends → the word `open`, or away without a word
                                 ├→ cue lift / again → lift → go → the same item once more
                                 └→ slip: lift and touch again at once, the same item or the next

Slots hold what is planned: `move` (the probes), `word` (the mouth), `dial` (the meter), `turn` and `finger`
(the other hand), and `look` (the eyes, up to the screen, when nothing has happened for long). Three modules
below this one do the work: `fingers` turns, `chores` presses, mends and answers, `probes` moves the tips.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from metercap.asks import Asks
from metercap.practice.board import TIPS_NAME
from metercap.practice.body import Tick
from metercap.practice.chores import Chores
from metercap.practice.dial_words import dial_of
from metercap.practice.probes import Probes
from metercap.records import Cue, CueKind, Do, Prompt, Record, Verdict

HOLD_S = 2.0
"""A `yes` to a point that is held counts this long after its prompt."""
LOOK_UP_S = 30.0
"""A technician with nothing to do looks at the screen this long after the last prompt; invented."""


class Hands(Probes):
    """The technician: what they do on each prompt and cue. `rows` gives the items of steps that are walked as
    a row."""

    _last_do: Do | None = None

    def see(self, record: Record, t_s: float) -> None:
        """Take in a record at session time `t_s`; only prompts, cues and verdicts reach a technician's
        mind."""
        kind = type(record)
        if kind is Cue:
            react = self._on_cue.get(record.cue)  # type: ignore[union-attr]
        elif kind is Prompt:
            self._last_do = record.do  # type: ignore[union-attr]
            if record.step != self.step:  # type: ignore[union-attr]
                self._new_step(record.step, t_s)  # type: ignore[union-attr]
            react = self._on_prompt.get(record.do)  # type: ignore[union-attr]
        else:
            if kind is Verdict and record.item == self._asked:  # type: ignore[union-attr]
                self._asked = None
            return
        if react is not None:
            react(self, record, t_s)

    # --- prompts

    def _probe(self, prompt: Prompt, t_s: float) -> None:
        self._asked, self._holds_for, self._spoke = prompt.item, "", False
        self._prompt = prompt
        self.understand(prompt)
        if self.busy:
            self.let_go(t_s)
        self.plan("look", t_s + LOOK_UP_S, self._look_up)
        if prompt.second is True:
            self._by_prompt = True
        goal = self._goal()
        if goal is None:
            # By their own count the row is finished, yet the tool asks for one more: the two counts differ.
            self._by_prompt = self._miscounted = True
            self.say_soon(t_s, "skip")
            if self.here and not self.planned("move"):
                self.plan("move", t_s + self.reaction_s(), self.take_off)
        elif self.here:
            if self.here == goal and not self._ticked:
                self._wait_here(t_s)
            elif not self.planned("move"):
                self._plan_lift(t_s)
        elif self.planned("word"):
            pass  # first the word that is on one's lips; what it brings about comes with a prompt
        elif not self._wait_go or not self.planned("move"):
            self._plan_touch(t_s)

    def _short(self, prompt: Prompt, t_s: float) -> None:
        self._asked, self._holds_for, self._spoke = prompt.item, "", False
        self._redo = TIPS_NAME
        if self.here == TIPS_NAME:
            self.plan("move", t_s + self.reaction_s(), lambda at_s: self._lift(at_s, heed=True))
            return
        self.drop("move", "word", "patience")
        if self.here:
            self.take_off(t_s)
        self._plan_touch(t_s)

    def _lift_prompt(self, prompt: Prompt, t_s: float) -> None:
        self._redo = None
        self._away(t_s)

    def _confirm(self, prompt: Prompt, t_s: float) -> None:
        if prompt.asks is Asks.MENDED and self.planned("word"):
            return  # at it already: the meter was silent for a moment, and the prompt came again
        self._away(t_s)
        self.confirm(prompt, t_s)

    def _answer(self, prompt: Prompt, t_s: float) -> None:
        if prompt.asks is Asks.COUNT:
            mine = self.ticks[-1].here if self.ticks else ""
            right = prompt.item == mine and not self._miscounted
            self._miscounted = False
            self._away(t_s)
            self.say_soon(t_s, "yes" if right else "no")
        elif prompt.item is not None and prompt.asks is Asks.POINT:
            self._hold(prompt.item, t_s)
        else:
            away = self.busy or self.swapped
            self.answer(prompt, t_s)
            if away:
                self.plan("move", t_s + self.reaction_s(), self.take_off)

    def _hold(self, item: str, t_s: float) -> None:
        """Hold both tips on a point, and say yes while they are on it."""
        self._asked, self._redo, self._holds_for, self._spoke = item, item, item, False
        self._hold_from_s = t_s + HOLD_S
        if self.here == item and not self._ticked:
            self.say_soon(self._hold_from_s, "yes")
        elif not self.here or not self.planned("move"):
            self.drop("move", "word", "patience")
            if self.here:
                self._plan_lift(t_s)
            else:
                self._plan_touch(t_s)

    def _dial(self, prompt: Prompt, t_s: float) -> None:
        if prompt.item is None and not self.habits.fixes_range:
            return
        if prompt.item is not None:  # what blocks the item; the range, asked with none, is a tip for later
            self._away(t_s)
        self.plan("dial", t_s + self.reaction_s() + 1.5, lambda at_s: self._set_dial(prompt, at_s))

    def _set_dial(self, prompt: Prompt, t_s: float) -> None:
        self.world.dial(t_s, *dial_of(prompt, continuity=self.habits.continuity))

    def _stop_prompt(self, prompt: Prompt, t_s: float) -> None:
        if prompt.asks is Asks.TOOL_AWAY:
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
            self.say_soon(t_s + 1.0, "skip")

    # --- cues

    def _contact(self, cue: Cue, t_s: float) -> None:
        self._heard = True
        if self.stays_on:
            self.drop("patience", "finger")
            self.tell_unheard(t_s)
        elif self.here and not self._holds_for:
            # Somebody who holds for this long without a tick tries once more.
            self.plan("patience", t_s + 3 * self.habits.patience_s, self._try_once_more)

    def _tick(self, cue: Cue, t_s: float) -> None:
        if self._spoke or cue.step != self.step:
            return  # what one's own word brought about, or a correction of earlier items
        if self.busy and self._asked is not None:
            return  # no verdict yet: a dropout while something is flexed
        here = self.here or self.last
        self._redo, self._holds_for = None, ""
        if cue.item == self._asked:
            self._asked = None
        if here != TIPS_NAME:
            before = self.ticks[-1] if self.ticks else None
            twice = before is not None and before.here == here and before.named != cue.item
            if twice and self.chance(self.habits.notices):
                self._miscounted = True
            self.ticks.append(Tick(t_s, here, cue.item))
        if not self.here:
            return
        self.drop("patience")
        # Who goes by the screen sees that it names another item than the one under their tips.
        elsewhere = self._by_prompt and here in self._count and cue.item in self._count and cue.item != here
        if self._wandered or t_s < self._doubt_s or (elsewhere and self.chance(self.habits.notices)):
            self._wandered, self._doubt_s = False, t_s
            self.plan("word", t_s + self.reaction_s() + 0.5, lambda at_s: self.speak(at_s, "back"))
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
        self.drop("patience")
        if self.here:
            self._heard = True
            self.plan("move", t_s + self.reaction_s(), lambda at_s: self._lift(at_s, heed=True))
        elif self.planned("move"):
            self._wait_go = True  # off already: stay off until the tool is certain of it
            self.plan("move", t_s + self.habits.go_s, self._touch)

    def _again(self, cue: Cue, t_s: float) -> None:
        if self._wandered or (self._ticked and self.here):
            return  # they know better than to go back there
        self.drop("patience")
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
        idle = not self.busy and not self.planned("finger")
        if self.here and self.pressing and idle and self._last_do is Do.PROBE:
            self.after_landing(self._prompt, t_s)  # the tips are on, and nobody presses: the cable was off meanwhile
            return
        if self.here or self.planned("move") or self.planned("word") or self.planned("patience"):
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

    _on_prompt: ClassVar[dict[Do, Callable[..., None]]] = {
        Do.PROBE: _probe,
        Do.SHORT: _short,
        Do.LIFT: _lift_prompt,
        Do.CONFIRM: _confirm,
        Do.ANSWER: _answer,
        Do.DIAL: _dial,
        Do.STOP: _stop_prompt,
        **Chores.chore_prompts,
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
        **Chores.turn_cues,
    }
