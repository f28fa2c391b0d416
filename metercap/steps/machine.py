"""What all steps' state machines have in common.

A step is a table of states × inputs. Each row names an action and the states it may lead to. The action is a method of
the machine; it returns the next state, which must be one of the row's. An event becomes an input first (a reading's
touch, a word, a deadline), so that the table can be read, enumerated and tested whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Any, ClassVar, Unpack

import msgspec

from metercap.asks import PromptFacts
from metercap.contact import Act
from metercap.plankeys import StepBase
from metercap.reading import Reading, State
from metercap.records import CueKind, Do
from metercap.steps.bench import Bench


class Given(StrEnum):
    """The inputs of a step's machine."""

    CONTACT = "contact"
    VALUE = "value"
    """A reading that is a new conversion in a credited contact, or any new conversion where contact does not show."""
    ENDED = "ended"
    GO = "go"
    DUE = "due"
    YES = "yes"
    NO = "no"
    OPEN = "open"
    SKIP = "skip"
    SKIP_STEP = "skip step"
    ABSENT = "absent"
    BACK = "back"
    AGAIN = "again"
    AT = "at"
    PASS = "pass"
    FAIL = "fail"
    MISSED = "missed"
    FIXED = "fixed"
    REPLACED = "replaced"
    UNDO = "undo"


WORDS = frozenset(g.value for g in Given) - {"contact", "value", "ended", "go", "due"}
"""Words that go to the step; the rest the session answers itself."""


# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_NONE, _CONTACT, _MORE, _ENDED, _GO = Act.NONE, Act.CONTACT, Act.MORE, Act.ENDED, Act.GO
_VALUE = Given.VALUE
_OVER = State.OVER


class Row(msgspec.Struct, frozen=True):
    """One cell of a table: the machine's method to call, and the states it may return."""

    action: str
    to: tuple[StrEnum, ...]


class Machine:
    """One running step. `done` is true when it has ended; `deadline_s` is when it wants to be woken, or None.

    `text` and `said_by` (its source) are of the word that is being worked on, for actions that need them; `reading` is
    the newest reading.
    """

    TABLE: ClassVar[Mapping[tuple[Any, Given], Row]] = {}
    shows_contact: ClassVar[bool] = True
    """False for steps in volts and for words only: open tips read about zero there, and prove nothing."""

    def __init__(self, step: StepBase, bench: Bench, first: StrEnum) -> None:
        self.step = step
        self.bench = bench
        self.state: StrEnum = first
        self.done = False
        self.deadline_s: float | None = None
        self.text = ""
        self.said_by = ""
        self.reading: Reading | None = None

    @property
    def item(self) -> str:
        """The item that is asked for now; the step's id where there is none."""
        return self.step.id

    @property
    def wanted(self) -> tuple[Any, ...]:
        """The quantities the meter may be set to now."""
        return self.step.wanted

    def start(self) -> None:
        """Open the step: prompt for the first thing."""
        raise NotImplementedError

    def resume(self) -> None:
        """Prompt again for the open item: a block ended, or an interlude."""
        raise NotImplementedError

    def give(self, given: Given, text: str = "", source: str = "") -> bool:
        """Work on one input; return False when the table has no row for it here (a word that means nothing now)."""
        row = self.TABLE.get((self.state, given))
        if row is None:
            return False
        self.text, self.said_by = text, source
        after: StrEnum = getattr(self, row.action)()
        if after not in row.to:
            raise AssertionError(f"{type(self).__name__}: {self.state} × {given} → {after} is not in the table")
        self.state = after
        return True

    def see(self, reading: Reading, act: Act, new: bool) -> None:
        """Take a reading that no block keeps back; `act` is what the touch says, `new` marks a new conversion."""
        self.reading = reading
        if act is _NONE:
            if new and not self.shows_contact:
                self.give(_VALUE)
        elif act is _MORE:
            if new:
                self.give(_VALUE)
        elif act is _CONTACT:
            self.give(Given.CONTACT)
            self.give(_VALUE)
        elif act is _ENDED:
            self.give(Given.ENDED)
        elif act is _GO:
            self.give(Given.GO)

    def is_off(self, reading: Reading) -> bool:
        """Return whether a reading shows that the tips touch nothing."""
        return reading.state is _OVER

    def want(self) -> None:
        """Tell the blocks which quantity the step wants from now on."""
        self.bench.want(self.wanted, self.item)

    def blocked(self) -> None:
        """A block began: what was gathered from the present contact is worth nothing."""

    def part(self) -> None:
        """The session ends, or goes elsewhere: write what stands half done."""

    def say(self, do: Do, text: str, item: str | None = None, **facts: Unpack[PromptFacts]) -> None:
        """Prompt for the current item, with the step's own words first where the plan has some."""
        self.bench.prompt(do, self.item if item is None else item, text, **facts)

    def waiting(self) -> StrEnum:
        """No contact for a while: say so once, and stay."""
        self.deadline_s = None
        self.bench.cue(CueKind.WAITING, self.item)
        return self.state

    def stay(self) -> StrEnum:
        """Do nothing."""
        return self.state

    def status(self) -> str:
        """Return where we are, in one line to show or speak."""
        return f"{self.step.id}: {self.item}"


def words_rows(states: tuple[StrEnum, ...], rows: Mapping[Given, Row]) -> dict[tuple[StrEnum, Given], Row]:
    """Return `rows` for each of `states`: a table's cells that are alike."""
    return {(state, given): row for state in states for given, row in rows.items()}
