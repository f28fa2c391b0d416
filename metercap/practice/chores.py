"""What a technician does besides probing and turning: press, flex, load, clean, mend, switch, start; and
answers to questions.

What nobody recognises is answered with `yes`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from metercap.asks import Asks
from metercap.practice.fingers import Fingers
from metercap.practice.moving import Connector, Switch
from metercap.practice.parts import Supply
from metercap.records import Do, Prompt

SILENT_S = 4.0
"""A press that shows nothing for this long is let go, and another one tried; invented."""
CLEAN_S = 20.0
"""How long cleaning a contact takes; invented."""
REPLACE_S = 15.0
"""How long it takes to change a cell; invented."""
MEND_S = 60.0
"""How long a repair takes; invented."""
START_S = 2.0
"""How long it takes to see whether the unit has come up; invented."""


class Chores(Fingers):
    """The hand that presses, flexes, loads and mends, and the mouth that answers.

    `stays_on`: the tips are to stay where they are until the verdict, whatever happens meanwhile.
    `miscounted` is set by whoever keeps the count.
    """

    stays_on = False
    pressing = False
    """The tips are across a switch, whose open contact is nothing to wonder about."""
    unheard = 0
    """Presses before the first closure that showed nothing."""
    _asked_on = False
    busy = False
    """A switch is pressed, a cable flexed or a load put on just now."""

    def say_soon(self, t_s: float, word: str, text: str = "") -> None:
        """Say a word after reaction and thought."""
        self.plan("word", t_s + self.reaction_s() + self.habits.think_s, lambda at_s: self.speak(at_s, word, text))

    def speak(self, t_s: float, word: str, text: str = "") -> None:
        """Say a word now."""
        self.world.say(t_s, word, text)

    def understand(self, prompt: Prompt) -> None:
        """Take in how a prompt to probe wants the tips held."""
        self.stays_on = prompt.keep is True
        self.pressing = prompt.asks is Asks.ACROSS

    def after_landing(self, prompt: Prompt | None, t_s: float) -> None:
        """The tips are on: a prompt may have asked for a press as well."""
        self.unheard = 0
        if prompt is not None and prompt.press is True:
            self._press_until_heard(t_s + self.reaction_s())

    def tell_unheard(self, t_s: float) -> None:
        """A press is heard at last: say how many before it were not."""
        if self.unheard:
            self.say_soon(t_s, "missed", str(self.unheard))
        self.unheard = 0

    # --- presses, flexing, loads

    def _part(self) -> object:
        return self.world.board.parts.get(self.here)

    def _press(self, t_s: float) -> None:
        part = self._part()
        if isinstance(part, Switch):
            self.busy = True
            part.press(t_s, min(1.0, max(0.0, self.rng.gauss(self.habits.depth, self.habits.depth_sd))))

    def _release(self, t_s: float) -> None:
        part = self._part()
        if isinstance(part, Switch):
            self.busy = False
            part.release(t_s, min(1.0, abs(self.rng.gauss(0.0, self.habits.rest_sd))))

    def _press_until_heard(self, t_s: float) -> None:
        """Press; when nothing is heard, let go and press again."""

        def again(at_s: float) -> None:
            self.unheard += 1
            self._release(at_s)
            self._press_until_heard(at_s + 1.0)

        def press(at_s: float) -> None:
            self._press(at_s)
            self.plan("finger", at_s + SILENT_S, again)

        self.plan("finger", t_s, press)

    def press(self, prompt: Prompt, t_s: float) -> None:
        """The prompt `press`."""
        self.plan("finger", t_s + self.reaction_s(), self._press)

    def release(self, prompt: Prompt, t_s: float) -> None:
        """The prompt `release`."""
        self.plan("finger", t_s + self.reaction_s(), self._release)

    def keep(self, prompt: Prompt, t_s: float) -> None:
        """The prompt `keep`: flex what can be flexed, or put the load on that is named."""
        part = self._part()
        self.stays_on = True
        self.drop("patience")
        if isinstance(part, Connector):
            self.busy = True
            self.plan("finger", t_s + self.reaction_s(), lambda at_s: part.flex(at_s, on=True))
        elif isinstance(part, Supply) and isinstance(ohm := prompt.load_ohm, float):
            self.busy = True
            self.plan("finger", t_s + self.reaction_s() + 1.0, lambda at_s: part.put_load(ohm))

    def let_go(self, t_s: float) -> None:
        """Let go of switch, cable or load."""
        part = self._part()
        if self.busy and isinstance(part, Connector):
            part.flex(t_s, on=False)
        elif self.busy and isinstance(part, Supply):
            part.put_load(None)
        elif self.busy:
            self._release(t_s)
        self.busy = False
        self.drop("finger")

    # --- questions

    def confirm(self, prompt: Prompt, t_s: float) -> None:
        """Do what is to be confirmed, then say so."""
        board = self.world.board
        if prompt.asks is Asks.MENDED:
            if board.fixed or not self.habits.mends:
                self.say_soon(t_s, "no")
                return
            board.fixed = True
            self.say_soon(t_s + MEND_S, "fixed", self.habits.repair)
            return
        if isinstance(prompt.power, str):
            board.power(on=prompt.power == "on")
        if prompt.asks is Asks.NEXT_UNIT:
            # Asked again after a yes: there is no other unit, and a no ends it.
            self._asked_on = not self._asked_on
            self.say_soon(t_s, "yes" if self._asked_on else "no")
            return
        seen = "yes" if prompt.asks is Asks.BEGUN else self.answers.get(prompt.step, "yes")
        self.say_soon(t_s, "fail" if seen == "no" else seen)  # `no` would only mean: not yet

    def answer(self, prompt: Prompt, t_s: float) -> None:
        """Answer a question truthfully; what is not understood is a yes."""
        asks = prompt.asks
        if asks is Asks.STARTED:
            self.say_soon(t_s + START_S, "pass" if self.world.board.start() else "fail")
        elif asks is Asks.POLARITY:
            self.minded = self.here
            self.say_soon(t_s, "no" if self.swapped else "yes")
        elif asks is Asks.REPLACED:
            new = self.world.board.replace(prompt.item or self.last)
            self.say_soon(t_s + (REPLACE_S if new else 0.0), "replaced" if new else "no")
        elif asks is Asks.CLEANED:
            self._clean(prompt.item or self.last, t_s)
        else:
            self.say_soon(t_s, "yes")

    def _clean(self, item: str, t_s: float) -> None:
        part = self.world.board.parts.get(item)
        if isinstance(part, Switch) and self.habits.mends:
            part.clean()
            self.say_soon(t_s + CLEAN_S, "yes")
        else:
            self.say_soon(t_s, "no")

    chore_prompts: ClassVar[dict[Do, Callable[..., None]]] = {
        Do.TURN: Fingers.turn,
        Do.PRESS: press,
        Do.RELEASE: release,
        Do.KEEP: keep,
    }
