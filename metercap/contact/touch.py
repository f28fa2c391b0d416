"""Touch: is this contact credited to the item that is asked for?

One contact, one item. After a tick the next item needs a lift that is certain, as `lift` counts it. Contact before
that is the same one (a slip). A contact that begins within `EARLY_S` of a change of the expected item, or is already
on then, belongs to the hand's last place and is never credited.

    UNKNOWN      nothing seen yet
    FREE         the tips are off for certain: the next contact counts
    ON           a credited contact
    BROKEN       a credited contact ended before anything was decided; the same item may be touched again
    SPENT_ON     contact that does not count: held after a tick, a slip, too early, or after a block
    SPENT_OFF    off, but not yet for certain

The table holds every state × input; time and readings are turned into inputs before it is asked.
"""

from __future__ import annotations

from enum import StrEnum

from metercap.contact.lift import LiftCount, Stay
from metercap.contact.pace import Pace
from metercap.contact.ranging import Ranging
from metercap.reading import Reading

EARLY_S = 0.8
"""A contact this soon after a change of the expected item is the hand that has not moved yet."""

HELD_S = 1.0
"""A contact unbroken since its tick is reminded of the lift after two conversions and this long."""

RECONTACT_S = 0.5
"""Default of how long a hand may slip (common practice, no source)."""


class TouchState(StrEnum):
    """Where the tips are, as far as readings can tell."""

    UNKNOWN = "unknown"
    FREE = "free"
    ON = "on"
    BROKEN = "broken"
    SPENT_ON = "spent on"
    SPENT_OFF = "spent off"


class TouchInput(StrEnum):
    """What a reading or a decision means to the touch."""

    OPEN = "open"
    """No contact, for not yet long enough."""
    CERTAIN = "certain"
    """No contact, for long enough."""
    TOUCH = "touch"
    EARLY = "early"
    """Contact, within EARLY_S of a change of the expected item."""
    CHANGE = "change"
    """The expected item changed: a tick, a word, a step's start."""
    BLOCK = "block"
    """HOLD, REL, wrong quantity, lost link: a certain lift comes first."""


class Act(StrEnum):
    """What the step should know after an input."""

    NONE = ""
    CONTACT = "contact"
    """A credited contact begins."""
    MORE = "more"
    """A credited contact goes on."""
    ENDED = "ended"
    """A credited contact ended."""
    SLIP = "slip"
    """A contact that does not count begins."""
    HELD = "held"
    """A contact that does not count goes on."""
    LIFT = "lift"
    """A contact that does not count ended."""
    GO = "go"
    """The lift became certain."""


# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_U, _F, _ON, _BR, _SON, _SOFF = TouchState
_OPEN, _CERTAIN, _TOUCH, _EARLY, _CHANGE, _BLOCK = TouchInput
_NONE, _CONTACT, _MORE, _SLIP, _HELD = Act.NONE, Act.CONTACT, Act.MORE, Act.SLIP, Act.HELD

TABLE: dict[tuple[TouchState, TouchInput], tuple[TouchState, Act]] = {
    (_U, _OPEN): (_F, Act.NONE),
    (_U, _CERTAIN): (_F, Act.NONE),
    (_U, _TOUCH): (_SON, Act.SLIP),
    (_U, _EARLY): (_SON, Act.SLIP),
    (_U, _CHANGE): (_U, Act.NONE),
    (_U, _BLOCK): (_SOFF, Act.NONE),
    (_F, _OPEN): (_F, Act.NONE),
    (_F, _CERTAIN): (_F, Act.NONE),
    (_F, _TOUCH): (_ON, Act.CONTACT),
    (_F, _EARLY): (_SON, Act.SLIP),
    (_F, _CHANGE): (_F, Act.NONE),
    (_F, _BLOCK): (_SOFF, Act.NONE),
    (_ON, _OPEN): (_BR, Act.ENDED),
    (_ON, _CERTAIN): (_BR, Act.ENDED),
    (_ON, _TOUCH): (_ON, Act.MORE),
    (_ON, _EARLY): (_ON, Act.MORE),
    (_ON, _CHANGE): (_SON, Act.NONE),
    (_ON, _BLOCK): (_SON, Act.NONE),
    (_BR, _OPEN): (_BR, Act.NONE),
    (_BR, _CERTAIN): (_F, Act.NONE),
    (_BR, _TOUCH): (_ON, Act.CONTACT),
    (_BR, _EARLY): (_SON, Act.SLIP),
    (_BR, _CHANGE): (_SOFF, Act.NONE),
    (_BR, _BLOCK): (_SOFF, Act.NONE),
    (_SON, _OPEN): (_SOFF, Act.LIFT),
    (_SON, _CERTAIN): (_F, Act.GO),
    (_SON, _TOUCH): (_SON, Act.HELD),
    (_SON, _EARLY): (_SON, Act.HELD),
    (_SON, _CHANGE): (_SON, Act.NONE),
    (_SON, _BLOCK): (_SON, Act.NONE),
    (_SOFF, _OPEN): (_SOFF, Act.NONE),
    (_SOFF, _CERTAIN): (_F, Act.GO),
    (_SOFF, _TOUCH): (_SON, Act.SLIP),
    (_SOFF, _EARLY): (_SON, Act.SLIP),
    (_SOFF, _CHANGE): (_SOFF, Act.NONE),
    (_SOFF, _BLOCK): (_SOFF, Act.NONE),
}


class Touch:
    """Follows contact and lift over a whole session, across items and steps.

    `recontact_s` is the step's. Feed it readings of the wanted quantity only; the rest comes as `block()`.
    """

    __slots__ = (
        "_change_s",
        "_conversions",
        "_lift",
        "_lift_cued",
        "_range",
        "_since_change",
        "ranging",
        "recontact_s",
        "state",
    )

    def __init__(self) -> None:
        self.state = TouchState.UNKNOWN
        self.recontact_s = RECONTACT_S
        self.ranging = Ranging()
        self._change_s = 0.0
        self._lift = LiftCount()
        self._since_change = False
        self._conversions = 0
        self._lift_cued = False
        self._range = 0.0

    def change(self, t_s: float) -> None:
        """The expected item changed at `t_s`: a contact on now, or beginning within EARLY_S, never counts."""
        self._change_s = t_s
        on = self.state in (_ON, _SON)
        self._since_change = on
        if on:
            self._conversions = 0
            self._lift_cued = False
        self.state = TABLE[self.state, _CHANGE][0]

    def block(self) -> None:
        """Something stopped the ticking: a certain lift comes first."""
        self._lift.broken()
        self.ranging.forget()
        self.state = TABLE[self.state, _BLOCK][0]

    def blank(self) -> None:
        """An unreadable display proves neither contact nor lift: the span of the lift starts anew."""
        self._lift.broken()
        self.ranging.blank()

    def feed(self, reading: Reading, pace: Pace, new: bool, off: bool) -> Act:
        """Take one reading and return what happened.

        `pace` is that of its quantity, `new` says whether it is a new conversion, `off` whether it shows no contact:
        over-range in ohms, about zero in volts.
        """
        was = self.state
        if off:
            if was is _F:
                if new:
                    self.ranging.air(reading)
                return _NONE
            certain = self._lift.off(reading, pace, self.recontact_s, self.ranging, new)
            given = _CERTAIN if certain else _OPEN
        else:
            self._lift.broken()
            given = _EARLY if reading.t_s - self._change_s < EARLY_S else _TOUCH
        self.state, act = TABLE[was, given]
        if act is _CONTACT or act is _SLIP:
            self._conversions = 1
            self._lift_cued = False
            self._since_change = False
            self._range = reading.resolution
            if was is _F:
                self.ranging.touched(reading)
        elif new and (act is _MORE or act is _HELD):
            self._conversions += 1
            if reading.resolution != self._range:
                self._range = reading.resolution
                self.ranging.goes_on(self._range)
        return act

    @property
    def owes_lift(self) -> bool:
        """True until the tips have been off for certain."""
        return self.state is _SOFF or self.state is _SON

    def stay(self, pace: Pace) -> Stay:
        """Return how long the tips have still to stay off for a certain lift."""
        return self._lift.left(pace, self.recontact_s, self.ranging)

    @property
    def is_early(self) -> bool:
        """True in a contact that came before its lift was certain, or too soon after a change; not one held since."""
        return self.state is _SON and not self._since_change

    def lift_due(self, t_s: float) -> bool:
        """Return True once when a contact that does not count has lasted long enough to say "lift"."""
        if self._lift_cued or self.state is not _SON or self._conversions < 2:
            return False
        if self._since_change and t_s - self._change_s < HELD_S:
            return False
        self._lift_cued = True
        return True
