"""What all steps' state machines have in common.

A step is a table: for each state, the inputs that mean something there. An input's `Row` names what is done and the one
state that follows. Where an event alone does not say what follows (a reading may settle a value or not), a `Look` comes
first: it takes the event in and says which finer input it is, of those it names, or that it is nothing yet. A state
that nobody waits in has the input NOW alone: it is left at once, by what its look finds (the next item, or the end).
So the table can be read, enumerated, tested whole and drawn: `tests/steps/pictures.py` draws it into DEVELOPERS.md.
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
from metercap.records import CueKind, Do, at
from metercap.steps.bench import Bench
from metercap.steps.facts import Facts, StepFacts


class Given(StrEnum):
    """What is given to a step's machine, whatever its kind; finer inputs are of its own enumeration."""

    CONTACT = "contact"
    VALUE = "value"
    """A reading that is a new conversion in a credited contact, or any new conversion where contact does not show."""
    ENDED = "ended"
    GO = "go"
    DUE = "due"
    BLOCKED = "blocked"
    """A block began, or an interlude: what was gathered from the present contact is worth nothing."""
    NOW = "now"
    """The only input of a state that is left at once."""
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
    TARGET = "target"
    GOOD = "good"


WORDS = frozenset(g.value for g in Given) - {"contact", "value", "ended", "go", "due", "blocked", "now"}
"""Words that go to the step; the rest the session answers itself."""

PATIENCE_S = 10.0
"""How long without contact until one reminder, where the plan does not say."""
END = "end"
"""The value of every kind's last state."""


# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_NONE, _CONTACT, _MORE, _ENDED, _GO = Act.NONE, Act.CONTACT, Act.MORE, Act.ENDED, Act.GO
_VALUE, _NOW = Given.VALUE, Given.NOW
_OVER = State.OVER


class Row(msgspec.Struct, frozen=True):
    """One cell of a table: the machine's method to call ("" where there is nothing to do), and the state after it.

    `to` None: it stays where it is. `asks`: there the hands are asked for what is open.
    """

    action: str
    to: StrEnum | None
    asks: bool = False


class Look(msgspec.Struct, frozen=True):
    """One cell of a table: the method that says which of `signs` the input is, or None: nothing yet, and it stays."""

    action: str
    signs: tuple[StrEnum, ...]


Cell = Row | Look
Cells = Mapping[StrEnum, Cell]
Table = Mapping[tuple[StrEnum, StrEnum], Cell]


def table(states: Mapping[StrEnum, Mapping[StrEnum, Cell]]) -> Table:
    """Return a table from its cells, written state by state."""
    return {(state, given): cell for state, cells in states.items() for given, cell in cells.items()}


class Machine:
    """One running step. `done` is true when it has ended; `deadline_s` is when it wants to be woken, or None.

    `text` and `said_by` (its source) are of the word that is being worked on, for actions that need them; `reading` is
    the newest reading.
    """

    TABLE: ClassVar[Table] = {}
    shows_contact: ClassVar[bool] = True
    """False for steps in volts and for words only: open tips read about zero there, and prove nothing."""
    AFTER_VERDICT: ClassVar[tuple[Any, ...]] = ()
    """States that ask about an item after its verdict (clean it? replaced?): who answers no leaves it as it is."""
    leads_off: ClassVar[bool] = True
    """Whether the lead null is taken off what is shown: not where the leads themselves are measured."""

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

    def facts(self) -> Facts:
        """Return what the step knows at this moment, for whoever shows it; nothing is changed by it."""
        return StepFacts()

    def start(self) -> None:
        """Open the step: prompt for the first thing."""
        raise NotImplementedError

    def start_at(self, item: str) -> None:
        """Open the step at one of its items, whatever became of it; a kind that has its own order keeps to that."""
        self.start()

    @property
    def undone(self) -> tuple[str, ...]:
        """The items that have no decision when the step is left now; one half done is none."""
        return self.step.item_names

    @property
    def has_behind(self) -> bool:
        """True where `back` means something in this step; where not, it leads to the step before."""
        return (self.state, Given.BACK) in self.TABLE

    @property
    def until_s(self) -> float | None:
        """When the wait is over that the step has begun, whoever looks; None where it waits for nothing."""
        return None

    def be_left(self) -> None:
        """The step is left for another: say what becomes of what waits for an answer. It is opened anew later."""

    def resume(self) -> None:
        """Prompt again for the open item: a block ended, or an interlude."""
        raise NotImplementedError

    def asks(self) -> None:
        """Ask for what is open, on arriving there by a row that says so."""
        self.resume()

    def give(self, given: StrEnum, text: str = "", source: str = "") -> bool:
        """Work on one input; return False when the table has no cell for it here (a word that means nothing now)."""
        cell = self.TABLE.get((self.state, given))
        if cell is None:
            return False
        self.text, self.said_by = text, source
        self._work(cell)
        return True

    def _work(self, cell: Cell) -> None:
        while type(cell) is Look:
            sign = getattr(self, cell.action)()
            if sign is None:
                return
            if sign not in cell.signs:
                raise AssertionError(f"{type(self).__name__}: {self.state}, {cell.action}: {sign} is not in the table")
            cell = self.TABLE[self.state, sign]
        if type(cell) is Row:
            if cell.action:
                getattr(self, cell.action)()
            if cell.to is not None:
                self.move(cell.to)
            if cell.asks:
                self.asks()

    def move(self, state: StrEnum) -> None:
        """Go to a state; one that is left at once is left."""
        self.state = state
        if state == END:
            self.done, self.deadline_s = True, None
        elif (now := self.TABLE.get((state, _NOW))) is not None:
            self._work(now)

    def see(self, reading: Reading, act: Act, new: bool) -> None:
        """Take a reading that no block keeps back; `act` is what the touch says, `new` marks a new conversion."""
        self.reading = reading
        if act is _MORE:
            if new:
                self.give(_VALUE)
        elif act is _NONE:
            if new and not self.shows_contact:
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
        self.give(Given.BLOCKED)

    def part(self) -> None:
        """The session ends, or goes elsewhere: write what stands half done."""

    def say(self, do: Do, text: str, item: str | None = None, **facts: Unpack[PromptFacts]) -> None:
        """Prompt for the current item, with the step's own words first where the plan has some."""
        self.bench.prompt(do, self.item if item is None else item, text, **facts)

    def arm(self) -> None:
        """Start the patience of what is open."""
        self.deadline_s = at(self.bench.t_s + PATIENCE_S)

    def waiting(self) -> None:
        """No contact for a while: say so once, and stay."""
        self.deadline_s = None
        self.bench.cue(CueKind.WAITING, self.item)

    def status(self) -> str:
        """Return where we are, in one line to show or speak."""
        return f"{self.step.id}: {self.item}"
