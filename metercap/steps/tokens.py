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
from metercap.steps.machine import Given, Machine, Row, words_rows

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


class S(StrEnum):
    """States of learning."""

    OPEN = "open"
    ON = "on"
    END = "end"


class LearnTokens(Machine):
    """Asks for each token in turn and remembers what it reads."""

    TABLE = {  # noqa: RUF012
        (S.OPEN, Given.CONTACT): Row("contact", (S.ON,)),
        (S.OPEN, Given.GO): Row("stay", (S.OPEN,)),
        (S.ON, Given.VALUE): Row("value", (S.OPEN, S.ON, S.END)),
        (S.ON, Given.ENDED): Row("ended", (S.OPEN,)),
        **words_rows(
            (S.OPEN, S.ON), {Given.SKIP: Row("skip", (S.OPEN, S.END)), Given.SKIP_STEP: Row("skip_step", (S.END,))}
        ),
    }

    def __init__(self, marked: Mapping[str, float], bench: Bench) -> None:
        super().__init__(TokensStep(id=STEP_ID, marked=dict(marked)), bench, S.OPEN)
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

    def blocked(self) -> None:
        """What was gathered is worth nothing."""
        if self.state is S.ON:
            self.state = S.OPEN

    def contact(self) -> StrEnum:
        """A contact begins."""
        self._burst = self.bench.burst()
        return S.ON

    def ended(self) -> StrEnum:
        """It ended too soon."""
        self.bench.cue(CueKind.AGAIN, self.item)
        return S.OPEN

    def value(self) -> StrEnum:
        """A new conversion."""
        reading = self.reading
        if reading is None or reading.value is None:
            return S.ON
        self._burst.feed(reading)
        flat = self._burst.plateau()
        if flat is None:
            return S.ON
        name, ohm = self._left[0]
        if abs(flat.value - ohm) > LEARN_SHARE * ohm:
            return S.ON
        self.bench.tokens.learned[name] = flat.value
        self.bench.note(f"token {name} reads {format_value(flat.value, 'ohm', flat.resolution)}")
        self.bench.cue(CueKind.PASS, name)
        self.bench.ticked = (self.step.id, name)
        return self._next()

    def skip(self) -> StrEnum:
        """Do without this token."""
        return self._next()

    def skip_step(self) -> StrEnum:
        """Do without those left."""
        self._left.clear()
        self.done = True
        return S.END

    def _next(self) -> StrEnum:
        self._left.pop(0)
        if not self._left:
            self.done = True
            return S.END
        self.bench.changed()
        self.resume()
        return S.OPEN
