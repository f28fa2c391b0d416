"""Tokens: marked resistors on the mat whose touch is a word, so that no hand leaves the probes.

A plan names one to three. Each is touched once before the first step in ohms, and what it reads then is what is
looked for. Two steady conversions on one are its word, whatever item is asked for; `plan check` refuses a token whose
value the plan could meet. `end` stands for the end of the step (`skip step`).
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from metercap.contact import Burst
from metercap.plankeys import StepBase
from metercap.quantity import Quantity, format_value
from metercap.records import CueKind, Do
from metercap.steps.bench import Bench
from metercap.steps.facts import TokensFacts
from metercap.steps.machine import Cells, Given, Look, Machine, Row, table

STEP_ID = "tokens"
LEARN_SHARE = 0.10
"""A token may differ this much from its marked value (common practice, no source)."""


class TokensStep(StepBase, frozen=True, tag="tokens", kw_only=True):
    """The step that the session puts before the first one in ohms when the plan has tokens; it is in no plan file."""

    marked: dict[str, float]

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Ohms."""
        return (Quantity.RESISTANCE,)


class TokensState(StrEnum):
    """States of learning."""

    OPEN = "open"
    ON = "on"
    NEXT = "next"
    """A token was learned, or done without."""
    END = "end"


class TokensSign(StrEnum):
    """What a conversion turns out to be, and what follows a token."""

    SETTLED = "settled near its value"
    TOKEN = "token left"
    NONE = "none left"


_State, _Sign = TokensState, TokensSign

_WORDS: Cells = {Given.SKIP: Row("drop_one", _State.NEXT), Given.SKIP_STEP: Row("drop_all", _State.END)}


class LearnTokens(Machine):
    """Asks for each token in turn and remembers what it reads."""

    TABLE = table(
        {
            _State.OPEN: {**_WORDS, Given.CONTACT: Row("contact", _State.ON)},
            _State.ON: {
                **_WORDS,
                Given.VALUE: Look("settle", (_Sign.SETTLED,)),
                _Sign.SETTLED: Row("learn", _State.NEXT),
                Given.ENDED: Row("ended", _State.OPEN),
                Given.BLOCKED: Row("", _State.OPEN),
            },
            _State.NEXT: {
                Given.NOW: Look("what_next", (_Sign.TOKEN, _Sign.NONE)),
                _Sign.TOKEN: Row("expect", _State.OPEN, asks=True),
                _Sign.NONE: Row("", _State.END),
            },
        }
    )

    def __init__(self, marked: Mapping[str, float], bench: Bench) -> None:
        super().__init__(TokensStep(id=STEP_ID, marked=dict(marked)), bench, TokensState.OPEN)
        self._left = list(marked.items())
        self._of = len(marked)
        self._burst = Burst()

    @property
    def item(self) -> str:
        """The token in turn."""
        return self._left[0][0] if self._left else self.step.id

    def facts(self) -> TokensFacts:
        """Which token, of how many."""
        return TokensFacts(done=self._of - len(self._left), of=self._of, ohm=self._left[0][1] if self._left else None)

    def start(self) -> None:
        """Ask for the first token."""
        self.bench.changed()
        self.resume()

    def resume(self) -> None:
        """Prompt for the token in turn."""
        if self._left:
            name, ohm = self._left[0]
            self.say(Do.PROBE, f"touch the token {name!r}, {format_value(ohm, 'ohm')}, until the tick")

    def contact(self) -> None:
        """A contact begins."""
        self._burst = self.bench.burst()

    def ended(self) -> None:
        """It ended too soon."""
        self.bench.cue(CueKind.AGAIN, self.item)

    def settle(self) -> TokensSign | None:
        """Take a new conversion; a value far from the marked one is another part's."""
        reading = self.reading
        if reading is None or reading.value is None:
            return None
        self._burst.feed(reading)
        flat, ohm = self._burst.plateau(), self._left[0][1]
        return None if flat is None or abs(flat.value - ohm) > LEARN_SHARE * ohm else TokensSign.SETTLED

    def learn(self) -> None:
        """What it reads now is what is looked for."""
        flat, (name, _) = self._burst.plateau(), self._left[0]
        if flat is None:
            raise AssertionError("learned without a settled value")
        self.bench.tokens.learned[name] = flat.value
        self.bench.note(f"token {name} reads {format_value(flat.value, 'ohm', flat.resolution)}")
        self.bench.cue(CueKind.PASS, name)
        self.bench.ticked = (self.step.id, name)
        self.drop_one()

    def drop_one(self) -> None:
        """Nothing more is asked of this token."""
        self._left.pop(0)

    def drop_all(self) -> None:
        """Do without those left."""
        self._left.clear()

    def what_next(self) -> TokensSign:
        """Find the next token."""
        return TokensSign.TOKEN if self._left else TokensSign.NONE

    def expect(self) -> None:
        """Ask for it: what touches now belongs to the last one."""
        self.bench.changed()
