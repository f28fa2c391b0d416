"""What virtual hands can do at the bench: each move that a person may make, and what it finds there.

`by_hand.ByHand` says what the hands see and offer; here they act. Nothing moves by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from random import Random

from msgspec import UNSET

from metercap.asks import Asks
from metercap.errors import SceneError, UsageError
from metercap.practice.board import REVERSED, TIPS_NAME
from metercap.practice.body import Body, World
from metercap.practice.dial_words import dial_of, read_dial
from metercap.practice.fingers import FULL_TURNS
from metercap.practice.habits import Habits
from metercap.practice.hand_lines import FAR_TURNS, read_turns
from metercap.practice.moving import Connector, Switch
from metercap.practice.parts import Part, Supply, Trimmer
from metercap.quantity import Quantity, format_value, natural_key, parse_value
from metercap.records import Do, Prompt

SLIDE_S = 0.3
"""How long the tips are in the air from one point straight to the next: shorter than any lift that counts."""
TWIST_S = 0.1
"""How long one press of a key turns the screw at least; a key held down repeats faster than this."""
DIAL_WORDS = {
    Quantity.RESISTANCE: "ohms",
    Quantity.CONTINUITY: "continuity",
    Quantity.VOLTAGE_DC: "volts dc",
    Quantity.VOLTAGE_AC: "volts ac",
}
"""What is on a practice meter's dial (`dials.DIAL`), as it is said."""
PRESSED = "pressed"
FLEXING = "flexing"


class Moves(Body):
    """The tips, the screwdriver and the other hand. Each move takes its text and session time.

    It returns what was felt or seen beyond the move itself, often nothing; UsageError when it cannot be done.
    """

    def __init__(
        self, habits: Habits, world: World, rng: Random, rows: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        super().__init__(habits, world, rng)
        self.rows = dict(rows or {})
        self.seen = ""
        """What the eyes see at the board, in a few words."""
        self._prompt: Prompt | None = None
        self._dial: Prompt | None = None
        self._must_lift = False
        self._landing = ""
        self._held = ""
        self._turned: Trimmer | None = None
        self._rate = 0.0
        self._still_s = 0.0

    def _name(self, item: str) -> str:
        """The board's first name of a point: a step's id may stand for one."""
        parts = self.world.board.parts
        part = parts.get(item)
        return item if part is None else next(name for name, one in parts.items() if one is part)

    def _goal(self) -> str | None:
        """What `touch` means: what the open prompt asks for, where it asks for a touch."""
        prompt = self._prompt
        if prompt is None:
            return None
        if prompt.do is Do.SHORT:
            return TIPS_NAME
        if prompt.item is None or prompt.do in (Do.CONFIRM, Do.WAIT, Do.LIFT):
            return None
        if prompt.do is Do.ANSWER and prompt.asks is not Asks.POINT:
            return None
        return prompt.item

    def _part(self) -> Part | None:
        return self.world.board.parts.get(self.here.removesuffix(REVERSED))

    def _work(self) -> tuple[str, Callable[[float], str]] | None:
        """What the other hand finds to do here: a name, and the deed."""
        prompt, part = self._prompt, self._part()
        if prompt is not None and prompt.do is Do.STOP and prompt.asks is not Asks.TOOL_AWAY:
            item = prompt.item or self.last
            return "disconnect and discharge", lambda t_s: self.discharge(item, t_s)
        if prompt is not None and prompt.asks is Asks.STARTED:
            return "start the unit", lambda t_s: self.start("", t_s)
        if isinstance(part, Switch):
            return "press", self._press_switch
        if isinstance(part, Connector):
            return "flex", self._flex
        load_ohm = prompt.load_ohm if prompt is not None else UNSET
        if isinstance(part, Supply) and load_ohm is not UNSET:
            return f"put {format_value(load_ohm, 'ohm')} on", lambda t_s: self._put_load(load_ohm, t_s)
        return None

    # --- the tips

    def touch(self, text: str, t_s: float) -> str:
        """Put both tips on a point; alone, on the one that is asked for. From another point they slide over."""
        item = text or self._goal()
        if not item:
            raise UsageError("nothing to touch is asked for just now", hint="name a point")
        board = self.world.board
        if item != TIPS_NAME:
            try:
                board.place(item)
            except SceneError as error:
                names = sorted((name for name in board.parts), key=natural_key)
                raise UsageError(f"this board has no {item}", hint=f"it has {', '.join(names)}") from error
        if item == self.here:
            return f"the tips are on {self._name(item)} already"
        if self.here:
            self.take_off(t_s)
            self.plan("move", t_s + SLIDE_S, self._land)
        self._landing = item
        if not self.planned("move"):
            self._land(t_s)
        return ""

    def _land(self, t_s: float) -> None:
        item = self.here = self.last = self._landing
        ohm = 0.0 if item == TIPS_NAME else self.habits.touch_ohm * self.rng.uniform(0.5, 1.5)
        self._must_lift = False
        self.world.put(t_s, self.world.board.place(item, ohm, flipped=self.swapped and item != TIPS_NAME))

    def next(self, text: str, t_s: float) -> str:
        """Slip on to the point after this one in its row, or on the board."""
        now = self.here or self.last or self._goal() or ""
        row = next((list(row) for row in self.rows.values() if now in row), None)
        row = row or sorted(self.world.board.parts, key=natural_key)
        at = row.index(now) + 1 if now in row else 0
        if at >= len(row):
            raise UsageError(f"{now} is the last one of its row", hint="name a point")
        return self.touch(row[at], t_s)

    def lift(self, text: str, t_s: float) -> None:
        """Take both tips off."""
        self.drop("move")
        self._must_lift = False
        if self.here:
            self.take_off(t_s)

    def short(self, text: str, t_s: float) -> str:
        """Hold the tips together."""
        return self.touch(TIPS_NAME, t_s)

    def swap(self, text: str, t_s: float) -> None:
        """Swap the tips, red for black; on a point they leave it for a moment."""
        self.swapped = not self.swapped
        if self.here and self.here != TIPS_NAME:
            self._landing = self.here
            self.take_off(t_s)
            self.plan("move", t_s + SLIDE_S, self._land)

    # --- the screwdriver

    def turn(self, text: str, t_s: float) -> None:
        """Turn the trimmer under the tips, or the one that is asked for."""
        told = read_turns(text)
        if told is None:
            raise UsageError(f"{text[:40]!a} is no way to turn", hint="+0.5, -0.1, up, down, up far, down far")
        trimmer = self._trimmer()
        if trimmer is None:
            raise UsageError("there is no trimmer under the tips", hint="touch one first")
        share = min(1.0, trimmer.turns / FULL_TURNS)
        far = abs(told.turns) >= FAR_TURNS
        rate = (self.habits.far_turns_s if far else self.habits.near_turns_s) * share * (1 if told.turns > 0 else -1)
        length_s = abs(told.turns / rate) if told.exact else max(TWIST_S, abs(told.turns * share / rate))
        going = self._turned is trimmer and self._rate == rate
        if self._turned is not None and not going:
            self._turned.turn(t_s, 0.0)
        end_s = (
            self._still_s + length_s if going and told.exact else max(self._still_s if going else 0.0, t_s + length_s)
        )
        self._turned, self._rate, self._still_s = trimmer, rate, end_s
        trimmer.turn(t_s, rate)
        self.plan("turn", end_s, self._rest)

    def _rest(self, t_s: float) -> None:
        if self._turned is not None:
            self._turned.turn(t_s, 0.0)
        self._turned, self._rate = None, 0.0

    def _trimmer(self) -> Trimmer | None:
        parts = self.world.board.parts
        asked = self._prompt.item if self._prompt is not None else None
        return next((part for name in (self.here, asked) if isinstance(part := parts.get(name or ""), Trimmer)), None)

    # --- the other hand

    def press(self, text: str, t_s: float) -> str:
        """Do what the other hand finds to do here."""
        work = self._work()
        if work is None:
            raise UsageError("nothing here to press, flex, load or start", hint="touch a switch, a cable or a cell")
        return work[1](t_s)

    def _press_switch(self, t_s: float) -> str:
        part = self._part()
        assert isinstance(part, Switch)
        if self._held:
            return "it is pressed already"
        part.press(t_s, min(1.0, max(0.0, self.rng.gauss(self.habits.depth, self.habits.depth_sd))))
        self._held = PRESSED
        return ""

    def _flex(self, t_s: float) -> str:
        part = self._part()
        assert isinstance(part, Connector)
        if not self._held:
            part.flex(t_s, on=True)
        self._held = FLEXING
        return ""

    def load(self, text: str, t_s: float) -> str:
        """Put a load across the cell under the tips, or take it off."""
        if not isinstance(self._part(), Supply):
            raise UsageError("there is no cell under the tips", hint="touch one first")
        if text.casefold() == "off":
            self.let_go(t_s)
            return ""
        return self._put_load(parse_value(text, unit="ohm").value, t_s)

    def _put_load(self, ohm: float, t_s: float) -> str:
        part = self._part()
        assert isinstance(part, Supply)
        if not ohm > 0.0:
            raise UsageError("a load of 0 ohm is a short, and no cell is shorted here", hint="load 470 ohm")
        part.put_load(ohm)
        self._held = f"{format_value(ohm, 'ohm')} across it"
        return ""

    def release(self, text: str, t_s: float) -> str:
        """Let go of what the other hand holds."""
        if not self._held:
            return "the other hand holds nothing"
        self.let_go(t_s)
        return ""

    def let_go(self, t_s: float) -> None:
        """Let go of switch, cable or load; lifting does it too."""
        part = self._part()
        if self._held and isinstance(part, Switch):
            part.release(t_s, min(1.0, abs(self.rng.gauss(0.0, self.habits.rest_sd))))
        elif self._held and isinstance(part, Connector):
            part.flex(t_s, on=False)
        elif self._held and isinstance(part, Supply):
            part.put_load(None)
        self._held = ""

    # --- the unit and the meter

    def start(self, text: str, t_s: float) -> str:
        """Switch the unit on once, and look whether it comes up."""
        self.seen = "it comes up" if self.world.board.start() else "it stays dark"
        return self.seen

    def power(self, text: str, t_s: float) -> None:
        """Switch the unit's supply."""
        if text.casefold() not in ("on", "off"):
            raise UsageError(f"{text[:40]!a} is no state of a supply", hint="power on, power off")
        self.world.board.power(on=text.casefold() == "on")

    def discharge(self, text: str, t_s: float) -> str:
        """Disconnect and discharge a point."""
        item = self._known(text)
        self.world.board.discharge(item)
        return f"{self._name(item)} is disconnected and discharged"

    def clean(self, text: str, t_s: float) -> str:
        """Clean a switch's contact."""
        part = self.world.board.parts[self._known(text)]
        if not isinstance(part, Switch):
            raise UsageError("only a switch's contact is cleaned here", hint="clean S1")
        part.clean()
        return "cleaned"

    def _known(self, text: str) -> str:
        item = (text or self.here or self.last).removesuffix(REVERSED)
        if item not in self.world.board.parts:
            raise UsageError(f"this board has no {item or 'such point'}", hint="name a point of the board")
        return item

    def turn_dial(self, text: str, t_s: float) -> str:
        """Turn the meter's dial; alone, as a prompt asked, or from a fixed range back to auto range."""
        if text and read_dial(text) is None:
            raise UsageError(f"{text[:40]!a} is not on the dial", hint="dial ohms, volts dc, volts ac, continuity")
        asked, self._dial = self._dial, None
        if text:
            self.world.dial(t_s, read_dial(text))
        elif asked is not None:
            self.world.dial(t_s, *dial_of(asked, continuity=self.habits.continuity))
        elif not self.world.range_up(t_s):
            raise UsageError("no prompt asks for the dial", hint="dial ohms, volts dc, volts ac, continuity")
        return self._meter_text()

    def range(self, text: str, t_s: float) -> str:
        """Fix the lowest range of the dial, or give it back to the meter."""
        if text.casefold() == "low":
            self.world.dial(t_s, self.world.meter.quantity, "low")
        elif text.casefold() == "auto":
            self.world.range_up(t_s)
        else:
            raise UsageError(f"{text[:40]!a} is no range", hint="range low, range auto")
        return self._meter_text()

    def hold(self, text: str, t_s: float) -> str:
        """Press HOLD."""
        self.world.meter.press_hold()
        return self._key("HOLD", self.world.meter.hold)

    def rel(self, text: str, t_s: float) -> str:
        """Press REL."""
        self.world.meter.press_rel()
        return self._key("REL", self.world.meter.rel)

    def _key(self, name: str, on: bool) -> str:
        if not on:
            self._dial = None
        return f"{name} is {'on' if on else 'off'}"

    def look(self, text: str, t_s: float) -> str:
        """Look at the meter."""
        shown = self.world.meter.shown
        if shown is None:
            return self._meter_text()
        value = "OL" if shown.value is None else format_value(shown.value, shown.quantity.unit, shown.range.resolution)
        return f"the display shows {value}, {self._meter_text()}"

    def _meter_text(self) -> str:
        meter = self.world.meter
        return f"the dial is on {DIAL_WORDS[meter.quantity]}, {'auto' if meter.auto else 'fixed'} range"
