"""A simulated technician: sees prompts and cues, moves the probes, says words; and errs as people do.

The technician is one observer and one word source. What they know is what a person would: what the tool says,
where their own tips are, and their own count along the row of items. They do not see the tool's mind, and the
tool does not see theirs; a mistake is where the two differ.

    prompt probe → reach → touch ┬→ (cue contact) → hold → tick → lift → (cue go) → next item
                                 ├→ silence → patience ends → the word `open`, or away without a word
                                 ├→ cue lift / again → lift → go → the same item once more
                                 └→ slip: lift and touch again at once, the same item or the next

Every action stands in a slot with its time; a new action in a slot replaces the old one, as a hand can do one
thing. All randomness comes from the generator given.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import ClassVar, NamedTuple, Protocol

from metercap.practice.board import AIR, AIR_NAME, TIPS_NAME, Board, Place
from metercap.practice.dial_words import read_dial
from metercap.practice.habits import Habits
from metercap.practice.meter import OHMS, Meter
from metercap.records import Cue, CueKind, Do, Prompt, Record, Verdict

NEVER_S = float("inf")
TICKS = (CueKind.PASS, CueKind.FAIL, CueKind.UNSURE, CueKind.ABSENT)
_COUNT_CHECK = re.compile(r"last tick (?:was )?on (?P<item>[^?]+?)\s*\?", re.IGNORECASE)


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

    def dial(self, t_s: float, text: str) -> None:
        """Set the meter as a prompt asked: quantity, range, HOLD and REL off."""
        ...


class Tick(NamedTuple):
    """A tick the technician heard by contact: when, with the tips where, and which item the tool named."""

    t_s: float
    here: str
    named: str


class Hands:
    """The technician. `rows` gives each step's items in the order they are walked."""

    def __init__(
        self, habits: Habits, world: World, rng: Random, rows: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        self.habits = habits
        self.world = world
        self.rng = rng
        self.rows = dict(rows or {})
        self.here = AIR_NAME
        self.step = ""
        self.asked: str | None = None
        self.ticks: list[Tick] = []
        self.left_silent: list[str] = []
        self.slipped = 0
        self._due: dict[str, tuple[float, Callable[[float], None]]] = {}
        self._new_step("")

    # What the bench calls

    @property
    def next_s(self) -> float:
        """When the next action is due; infinity when nothing is planned."""
        return min((t_s for t_s, _ in self._due.values()), default=NEVER_S)

    def act(self, t_s: float) -> None:
        """Do what is due at `t_s`: the earliest planned action."""
        slot = min(self._due, key=lambda name: self._due[name][0])
        self._due.pop(slot)[1](t_s)

    def see(self, record: Record, t_s: float) -> None:
        """Take in a record at session time `t_s`; only prompts, cues and verdicts reach a technician's
        mind."""
        kind = type(record)
        if kind is Cue:
            self._on_cue.get(record.cue, Hands._ignore)(self, record, t_s)  # type: ignore[union-attr]
        elif kind is Prompt:
            if record.step != self.step:  # type: ignore[union-attr]
                self._new_step(record.step)  # type: ignore[union-attr]
            self._on_prompt.get(record.do, Hands._ignore)(self, record, t_s)  # type: ignore[union-attr]
        elif kind is Verdict and record.step == self.step and record.item == self.asked:  # type: ignore[union-attr]
            self.asked = None

    def plan(self, slot: str, t_s: float, act: Callable[[float], None]) -> None:
        """Plan an action; what stood in the slot is dropped."""
        self._due[slot] = (t_s, act)

    def drop(self, *slots: str) -> None:
        """Plan nothing in these slots."""
        for slot in slots:
            self._due.pop(slot, None)

    def reaction_s(self) -> float:
        """Return one reaction time in seconds, never under 0.12."""
        return max(0.12, self.rng.gauss(self.habits.reaction_s, self.habits.reaction_sd_s))

    def chance(self, share: float) -> bool:
        """Draw whether a habit shows this time."""
        return share > 0.0 and self.rng.random() < share

    # Mind

    def _new_step(self, step: str) -> None:
        self.step = step
        self._row = list(self.rows.get(step, ()))
        self._done: str | None = None
        self._redo: str | None = None
        self._lost_count = self.habits.follows == "prompt"
        self._heard = self._ticked = self._wandered = self._worded = False
        self._wait_go = False
        self._lifted_s = -NEVER_S
        self._last = AIR_NAME
        self.asked = None

    def _goal(self) -> str | None:
        """Return where the technician means to go next, by their own count or by the prompt."""
        if self._redo is not None:
            return self._redo
        if self._lost_count or self.asked is None or self.asked not in self._row:
            return self.asked
        at = self._row.index(self._done) + 1 if self._done in self._row else 0
        return self._row[at] if at < len(self._row) else None

    # Prompts

    def _probe(self, prompt: Prompt, t_s: float) -> None:
        self.asked = prompt.item
        goal = self._goal()
        if goal is None:
            # By their own count the row is finished, yet the tool asks for one more: the two counts differ.
            self._lost_count = True
            self.plan("word", t_s + self.reaction_s() + self.habits.think_s, lambda at_s: self._word(at_s, "skip"))
            return
        if self.here == goal and not self._ticked:
            return
        if self.here:
            if "move" not in self._due:
                self._plan_lift(t_s)
        elif "move" not in self._due or not self._wait_go:
            self._plan_touch(t_s)

    def _short(self, prompt: Prompt, t_s: float) -> None:
        self.asked = prompt.item
        if self.here != TIPS_NAME:
            self._redo = TIPS_NAME
            self._leave(t_s)
            self._plan_touch(t_s)

    def _lift_now(self, prompt: Prompt, t_s: float) -> None:
        self._redo = None
        self.drop("move", "word")
        if self.here:
            self.plan("move", t_s + self.reaction_s(), self._lift_and_rest)

    def _confirm(self, prompt: Prompt, t_s: float) -> None:
        self._answer_with("yes", t_s)

    def _answer(self, prompt: Prompt, t_s: float) -> None:
        asked = _COUNT_CHECK.search(prompt.say)
        if asked is None:
            self._answer_with("yes", t_s)
            return
        self.drop("move", "word")
        if self.here:
            self.plan("move", t_s + self.reaction_s(), self._lift_and_rest)
        mine = self.ticks[-1].here if self.ticks else ""
        self._answer_with("yes" if asked["item"].strip() == mine else "no", t_s)

    def _dial(self, prompt: Prompt, t_s: float) -> None:
        if read_dial(prompt.say) is not None or prompt.do is Do.WAIT:
            self.plan("dial", t_s + self.reaction_s() + 1.5, lambda at_s: self.world.dial(at_s, prompt.say))

    # Cues

    def _contact(self, cue: Cue, t_s: float) -> None:
        self._heard = True
        if self.here:
            # Somebody who holds for this long without a tick tries once more.
            self.plan("word", t_s + 3 * self.habits.patience_s, self._fidget)

    def _tick(self, cue: Cue, t_s: float) -> None:
        worded, self._worded = self._worded, False
        here = self.here or self._last
        self._redo = None
        if here == TIPS_NAME:
            self.drop("word")
            self.plan("move", t_s + self.reaction_s(), self._lift_and_rest)
            return
        if not worded and here:
            self.ticks.append(Tick(t_s, here, cue.item))
        if not self.here:
            return
        if self._wandered:
            self._wandered = False
            self.plan("word", t_s + self.reaction_s() + 0.5, lambda at_s: self._word(at_s, "back"))
        else:
            self._done = self.here
            self.drop("word")
        self._ticked = True
        self._plan_lift(t_s)

    def _go(self, cue: Cue, t_s: float) -> None:
        if self._wait_go and not self.here:
            self._wait_go = False
            ready_s = self._lifted_s + self._move_s()
            self.plan("move", max(ready_s, t_s + self.reaction_s()), self._touch)

    def _lift_cue(self, cue: Cue, t_s: float) -> None:
        self.drop("word")
        if self.here:
            self._heard = True
            self.plan("move", t_s + self.reaction_s(), lambda at_s: self._lift(at_s, heed=True))
        if self.world.meter.hold or self.world.meter.rel:
            self.plan("dial", t_s + self.reaction_s() + 1.0, lambda at_s: self.world.dial(at_s, ""))

    def _again(self, cue: Cue, t_s: float) -> None:
        if self._ticked:
            return
        self.drop("word")
        if not self.here or self.here == self._last:
            self._redo = self._last or None
            if self._done == self._last:
                self._done = self._before(self._last)
        else:
            self._redo = self._last
        if self.here:
            self._heard = True
            self.plan("move", t_s + self.reaction_s(), lambda at_s: self._lift(at_s, heed=True))
        elif self._redo is not None:
            self._wait_go = False
            self.plan("move", t_s + self.reaction_s() + 0.5 * self._move_s(), self._touch)

    def _waiting(self, cue: Cue, t_s: float) -> None:
        if not self.here and not self._due and self._goal() is not None:
            self._plan_touch(t_s)

    def _stop(self, cue: Cue, t_s: float) -> None:
        """Voltage where none should be: away with the tips, and on with the word that leaves the item for
        later."""
        self.drop("move", "word")
        if self.here:
            self._done = self.here
            self.plan("move", t_s + self.reaction_s(), self._lift_and_rest)
        wait_s = self.reaction_s() + self.habits.think_s + 1.0
        self.plan("word", t_s + wait_s, lambda at_s: self._word(at_s, "skip"))

    def _ignore(self, record: Record, t_s: float) -> None:
        pass

    # Moves

    def _move_s(self) -> float:
        return max(0.3, self.rng.gauss(self.habits.move_s, self.habits.move_sd_s))

    def _plan_lift(self, t_s: float) -> None:
        self.plan("move", t_s + self.reaction_s(), self._lift)

    def _plan_touch(self, t_s: float) -> None:
        self._wait_go = False
        self.plan("move", t_s + self.reaction_s() + self._move_s(), self._touch)

    def _leave(self, t_s: float) -> None:
        self.drop("move", "word")
        if self.here:
            self._off(t_s)

    def _off(self, t_s: float) -> None:
        self.here = AIR_NAME
        self._lifted_s = t_s
        self.world.put(t_s, AIR)

    def _lift_and_rest(self, t_s: float) -> None:
        self._off(t_s)

    def _lift(self, t_s: float, heed: bool = False) -> None:
        ticked, habits, item = self._ticked, self.habits, self.here
        self._off(t_s)
        if not heed and ticked and self._heard:
            if self.chance(habits.doubles):
                self.slipped += 1
                gap_s = self.rng.uniform(0.1, 2 * habits.slip_s)
                self.plan("move", t_s + gap_s, lambda at_s: self._double(at_s, item))
                return
            if self.chance(habits.early):
                self.slipped += 1
                self.plan("move", t_s + self.rng.uniform(0.05, habits.slip_s), self._touch)
                return
        self._wait_go = heed or (self._heard and self.rng.random() < habits.waits_for_go)
        self.plan("move", t_s + (habits.go_s if self._wait_go else self._move_s()), self._touch)

    def _double(self, t_s: float, item: str) -> None:
        self._on(t_s, item)
        self._ticked = True
        self.plan("move", t_s + self.rng.uniform(0.2, 1.0), lambda at_s: self._lift(at_s, heed=True))

    def _touch(self, t_s: float) -> None:
        self._wait_go = False
        goal = self._goal()
        if goal is None:
            return
        self._wandered = goal != TIPS_NAME and self.chance(self.habits.wanders)
        item = self._neighbour(goal) if self._wandered else goal
        self._on(t_s, item)
        if item == TIPS_NAME:
            return
        if self._wandered:
            self.plan("move", t_s + self.rng.uniform(0.5, 2.0), lambda at_s: self._lift(at_s, heed=True))
        elif self.chance(self.habits.slips):
            self.plan("move", t_s + self.rng.uniform(0.1, 1.2), self._slip)
        elif self.chance(self.habits.on_beep):
            self._lift_on_sign(t_s)
        patience_s = max(2.0, self.rng.gauss(self.habits.patience_s, self.habits.patience_sd_s))
        self.plan("word", t_s + patience_s, self._give_up)

    def _on(self, t_s: float, item: str) -> None:
        habits = self.habits
        ohm = 0.0
        if item != TIPS_NAME:
            ohm = habits.touch_ohm * self.rng.uniform(0.5, 1.5)
            if self.chance(habits.dirty_touch):
                ohm += self.rng.uniform(0.02, 1.0) * habits.dirty_ohm
        self.here = self._last = item
        self._heard = self._ticked = False
        if self._redo == item != TIPS_NAME:
            self._redo = None
        self.world.put(t_s, self.world.board.place(item, ohm))

    def _slip(self, t_s: float) -> None:
        """The tip slides off for a moment, and lands on the same item or already on the next."""
        item = self.here
        ticked, heard = self._ticked, self._heard
        self.slipped += 1
        if self.chance(self.habits.slips_next) and item in self._row[:-1]:
            self._done = item
            item = self._row[self._row.index(item) + 1]
            heard = ticked = False
        self._off(t_s)

        def back(at_s: float) -> None:
            self._on(at_s, item)
            self._heard, self._ticked = heard, ticked
            if ticked:
                self._plan_lift(at_s)

        self.plan("move", t_s + self.rng.uniform(0.05, self.habits.slip_s), back)

    def _lift_on_sign(self, t_s: float) -> None:
        """Lift on the meter's own sign: the beeper, or the first number that its display shows."""
        meter = self.world.meter
        place = self.world.board.place(self.here)
        if place.part.seen(t_s).ohm == float("inf"):
            return
        sign_s = 0.1 if meter.beeps(place, t_s) else self.rng.uniform(0.5, 1.5) * meter.conversion_s
        self.plan("move", t_s + sign_s + self.reaction_s(), self._lift_done)

    def _lift_done(self, t_s: float) -> None:
        self._done = self.here
        self.slipped += 1
        self._off(t_s)
        self.plan("move", t_s + self._move_s(), self._touch)

    def _give_up(self, t_s: float) -> None:
        """Silence for as long as patience lasts: the word `open`, or away without a word."""
        if not self.here or self.world.meter.quantity not in OHMS:
            return
        item = self.here
        self._done = item
        if self.chance(self.habits.leaves_open):
            self.left_silent.append(item)
            self._off(t_s)
            self.plan("move", t_s + self._move_s(), self._touch)
        else:
            self._word(t_s, "open")

    def _fidget(self, t_s: float) -> None:
        if self.here and not self._ticked:
            self._redo = self.here
            self._lift(t_s, heed=True)

    def _neighbour(self, item: str) -> str:
        if item not in self._row:
            return item
        at = self._row.index(item) + self.rng.choice((-1, 1))
        return self._row[min(max(at, 0), len(self._row) - 1)]

    def _before(self, item: str) -> str | None:
        at = self._row.index(item) if item in self._row else 0
        return self._row[at - 1] if at else None

    # Words

    def _word(self, t_s: float, word: str) -> None:
        self._worded = word in ("open", "skip", "absent")
        self.world.say(t_s, word)

    def _answer_with(self, word: str, t_s: float) -> None:
        self.plan("word", t_s + self.reaction_s() + self.habits.think_s, lambda at_s: self._word(at_s, word))

    _on_prompt: ClassVar[dict[Do, Callable[..., None]]] = {
        Do.PROBE: _probe,
        Do.SHORT: _short,
        Do.LIFT: _lift_now,
        Do.CONFIRM: _confirm,
        Do.ANSWER: _answer,
        Do.DIAL: _dial,
        Do.WAIT: _dial,
    }
    _on_cue: ClassVar[dict[CueKind, Callable[..., None]]] = {
        CueKind.CONTACT: _contact,
        **dict.fromkeys(TICKS, _tick),
        CueKind.GO: _go,
        CueKind.LIFT: _lift_cue,
        CueKind.AGAIN: _again,
        CueKind.WAITING: _waiting,
        CueKind.STOP: _stop,
        CueKind.HAZARD: _stop,
    }
