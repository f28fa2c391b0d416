"""Blocks: what stops the ticking and never fails an item.

Wrong quantity, HOLD, REL, MIN/MAX, low battery, a frozen display, a dead link, a unit not proved dead. A block says
what to do; when it ends the open item is prompted again and a certain lift comes first. One block stands at a time, the
most basic first.
"""

from __future__ import annotations

from collections.abc import Collection

import msgspec

from metercap.asks import Asks, PromptFacts
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import Do, Link, LinkState, at

FROZEN_S = 5.0
"""Nothing changes for this long after a `lift` cue: the display may be on HOLD without a flag."""

JACKS = "leads in the voltage/resistance jacks, never the current jack"

UNPROVED_KEY = "unproved"
PAST_LIMIT = "past"
"""The key of the block that no word ends."""
PAST = "it must be turned back before the unit is powered: go to it and measure it inside its limit"
UNPROVED = "disconnect the supply and every cell, and discharge"
_SAY = {
    "hold": "HOLD is on: switch it off",
    "rel": "REL is on: switch REL off, the tool nulls",
    "min": "MIN/MAX is on: switch it off, the display is not live",
    "max": "MIN/MAX is on: switch it off, the display is not live",
    "peak_max": "PEAK is on: switch it off, the display is not live",
    "peak_min": "PEAK is on: switch it off, the display is not live",
}
"""Flags of a display that is not live, and what to do."""
_SIGNS = frozenset((*_SAY, "low_battery"))
"""Flags that stop the ticking."""
_DIAL = {
    Quantity.RESISTANCE: "ohms",
    Quantity.CONTINUITY: "continuity",
    Quantity.VOLTAGE_DC: "volts dc",
    Quantity.VOLTAGE_AC: "volts ac",
    Quantity.CURRENT_DC: "amps dc",
    Quantity.CURRENT_AC: "amps ac",
    Quantity.CAPACITANCE: "capacitance",
    Quantity.FREQUENCY: "frequency",
    Quantity.DUTY: "duty cycle",
    Quantity.DIODE: "diode",
    Quantity.TEMPERATURE: "temperature",
}


class Block(msgspec.Struct, frozen=True):
    """Why the ticking is stopped: `key` names the cause, `do` and `say` make its prompt.

    `wanted` are the quantities that end it, where the dial does.
    """

    key: str
    do: Do
    say: str
    wanted: tuple[Quantity, ...] = ()

    @property
    def facts(self) -> PromptFacts:
        """What its prompt says, as data."""
        if self.wanted:
            return {"quantity": self.wanted[0], "dial": self.wanted}
        if self.do is not Do.ANSWER:
            return {}
        return {"asks": Asks.PROVE if self.key == UNPROVED_KEY else Asks.GO_ON}


def dial_text(wanted: Collection[Quantity]) -> str:
    """Return "set the meter to ohms; leads in …", naming the wanted quantities in their order."""
    names = " or ".join(_DIAL[quantity] for quantity in wanted)
    return f"set the meter to {names}; {JACKS}"


class Blocks:
    """Watches readings and link records for what makes them unfit to judge.

    `wanted` is set by the step, in its order of preference; empty means that any quantity will do. `unproved` says why
    ohms are asked for on a unit that is not proved dead, and is empty otherwise; `ways` what leads on from there;
    `past` what stands past a hazard limit on a unit that is to be powered, which no word clears.
    """

    __slots__ = (
        "_battery",
        "_battery_ok",
        "_frozen",
        "_is_frozen",
        "_link",
        "_seen",
        "deadline_s",
        "past",
        "unproved",
        "wanted",
        "ways",
    )

    def __init__(self) -> None:
        self.wanted: tuple[Quantity, ...] = ()
        self.unproved = ""
        self.ways = ""
        self.past = ""
        self._link: Block | None = None
        self._battery = False
        self._battery_ok = False
        self.deadline_s: float | None = None
        """When an unchanged display after a `lift` cue becomes suspicious."""
        self._frozen: tuple[object, ...] | None = None
        """What was shown at that cue, until it changes."""
        self._is_frozen = False
        self._seen: Reading | None = None

    @property
    def battery_low(self) -> bool:
        """True from the first low-battery reading on: every later verdict is flagged."""
        return self._battery

    def deadline_passed(self, t_s: float) -> None:
        """The display has not changed since the `lift` cue, and `deadline_s` is over."""
        if self.deadline_s is not None and t_s >= self.deadline_s:
            self.deadline_s, self._is_frozen = None, True

    def link(self, event: Link) -> None:
        """Take a link record; a link that came up is trusted again from its first reading on."""
        if event.state is LinkState.UP:
            return
        self._link = Block(f"link {event.state}", Do.WAIT, event.why or f"the link is {event.state}")
        self._moves()

    def battery_accepted(self) -> None:
        """The operator said yes to going on with a low battery."""
        self._battery_ok = True

    def lift_cued(self, reading: Reading) -> None:
        """A `lift` cue was given while `reading` was shown: watch whether the display ever changes."""
        self.deadline_s, self._is_frozen = at(reading.t_s + FROZEN_S), False
        self._frozen = (reading.value, reading.resolution, reading.state)

    def feed(self, reading: Reading) -> Block | None:
        """Take a reading; return the block that stands, or None when it is fit to be judged."""
        self._seen = reading
        self._link = None
        if self._frozen is not None and self._frozen != (reading.value, reading.resolution, reading.state):
            self._moves()
        signs = not _SIGNS.isdisjoint(reading.flags)
        if signs and "low_battery" in reading.flags:
            self._battery = True
        elif not self._battery_ok:
            self._battery = False  # replaced before anything was judged with it
        if signs or self._is_frozen or self.past or self.unproved:
            return self.standing()
        # Most readings show no such sign, and then a quantity that is not wanted is all that can stand.
        return self.standing() if self.wanted and reading.quantity not in self.wanted else None

    def _moves(self) -> None:
        """The display is no frozen one, or nobody can tell."""
        self.deadline_s, self._is_frozen, self._frozen = None, False, None

    def standing(self) -> Block | None:
        """Return the block that stands, by what was seen last."""
        if self._link is not None:
            return self._link
        if self.past:
            return Block(PAST_LIMIT, Do.WAIT, f"{self.past}: {PAST}")
        if self.unproved:
            ways = f"; {self.ways}" if self.ways else ""
            return Block(UNPROVED_KEY, Do.ANSWER, f"not proved dead, {self.unproved}: {UNPROVED}{ways}")
        seen = self._seen
        if seen is not None:
            if self.wanted and seen.quantity not in self.wanted:
                return Block("quantity", Do.DIAL, dial_text(self.wanted), self.wanted)
            for flag in seen.flags:
                if flag in _SAY:
                    return Block(flag, Do.DIAL, _SAY[flag])
        if self._is_frozen:
            return Block("frozen", Do.DIAL, "the display does not change: is HOLD on? lift the probes")
        if self._battery and not self._battery_ok:
            say = "the meter's battery is low and its readings may be wrong: replace it, or say yes to go on"
            return Block("battery", Do.ANSWER, say)
        return None
