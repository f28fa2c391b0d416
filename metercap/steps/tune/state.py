"""What is remembered while a step tunes, and what its parts share: where the hands are, what they are asked."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, Literal

from metercap.asks import Asks
from metercap.judging.judge import Judgement
from metercap.metrology.domain import round6
from metercap.plankeys import TuneStep
from metercap.reading import Reading, State
from metercap.records import Do
from metercap.steps.bench import Bench
from metercap.steps.facts import InForce, TuneFacts
from metercap.steps.machine import Machine
from metercap.steps.nearzero import ABOUT_ZERO_COUNTS, ABOUT_ZERO_V, about_zero, shows_contact
from metercap.steps.probing import Probing
from metercap.steps.tune import asking
from metercap.steps.tune.table import TuneState
from metercap.steps.tune.trimmers import Trimmers
from metercap.steps.tune.turning import Turning

_QUESTIONS: dict[StrEnum, Asks] = {
    TuneState.RULE: Asks.RULE,
    TuneState.WIDER: Asks.WIDER,
    TuneState.UNDO: Asks.UNDO,
}
COARSE = 3
"""Conversions in too coarse a range after which the meter does not walk any more."""


# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_OVER, _FOUND = State.OVER, TuneState.FOUND


class TuneBase(Machine):
    """What is shared: `found` reads as found, `hands` has it turned, `machine` goes from trimmer to trimmer."""

    def __init__(self, step: TuneStep, bench: Bench) -> None:
        super().__init__(step, bench, TuneState.FOUND)
        self._step = step
        self._names = step.item_names
        self._trimmers = Trimmers(step, bench)
        self._at = 0
        self._order = list(range(len(self._names)))
        """In which the trimmers are turned: the plan's, but for the one that the step was opened for."""
        self._begun_with = (0, 0)
        """How many trimmers were to be read and how many were over when the step began."""
        self._phase: Literal[TuneState.FOUND, TuneState.TURN, TuneState.LEFT] = TuneState.FOUND
        self._to_find: list[tuple[str, str]] = []
        self._turned: set[str] = set()
        self._over: set[str] = set()
        """Items that ended without turning: absent, open, skipped as found."""
        self._reread: set[str] = set()
        """Items read as left since the last turn."""
        self._alone = len(self._names) == 1 and step.contacts == 1
        self._probing = Probing(self._trimmers.aim(self._names[0], found=True), bench.judge)
        self._turning: Turning | None = None
        self._lost_at = ""
        self._lost_s: float | None = None
        """When contact was lost with a trimmer at rest; None where it was turned."""
        self._final = False
        self._asked: set[str] = set()
        self._narrow: float | None = None
        """Half the tightest band that can be proved, where the trimmer's is tighter; None where it is not."""
        self._said = 0.0
        """The value that the operator said to turn to, not confirmed yet."""
        self._why_not = ""
        self._rested: Judgement | None = None
        self._in_ohms = shows_contact(step.wanted[0])
        self._sure = False
        """The operator said that both tips are on, where open tips read about the same."""
        self._coarse = 0
        self._coarse_taken = False
        self._asks_touch = False
        self._creeps: tuple[float, float] | None = None
        """When a creep was seen first and last."""
        self._creep_said = False

    @property
    def item(self) -> str:
        """The trimmer in turn."""
        if self._phase is _FOUND and self._to_find:
            return self._to_find[0][1]
        return self._names[self._at]

    @property
    def _trimmers_of_item(self) -> Trimmers:
        reading_later = self._phase is TuneState.FOUND and self._to_find and self._to_find[0][0] != self.step.id
        return self._trimmers.of(self._to_find[0][0]) if reading_later else self._trimmers

    def facts(self) -> TuneFacts:
        """Where the trimmer in turn is, and where it should be."""
        trimmers, name, turning = self._trimmers_of_item, self.item, self._turning
        past, found = self.bench.standing.get(name), trimmers.found(name)
        last = None if turning is None else turning.last
        reading = last or self.bench.found_by.get((trimmers.step.id, name)) or self._shown_now()
        about: dict[str, Any] = {
            "done": len(self._over) + len(self._reread if self._phase is TuneState.LEFT else self._turned),
            "of": len(self._names),
            "phase": self._telling,
            "unit": trimmers.unit,
            "resolution": 0.0 if reading is None else reading.resolution,
            "found": None if found is None else found.value,
            "unread": self.bench.unread.get((trimmers.step.id, name), ""),
            "good": trimmers.good(name),
            "side": None if past is None else past.side,
            "rest_s": self._step.rest_s,
        }
        band = trimmers.seen(name) if turning is None else turning.band
        if band is None:
            sides = trimmers.hazards(name)
            return TuneFacts(**about, never_below=sides.never_below, never_above=sides.never_above)
        inner = max(band.tolerance if reading is None else trimmers.proved(band, reading), 0.0)
        about |= {
            "limits": InForce(band.low, band.high, trimmers.unit, trimmers.rule),
            "target": band.target,
            "low": band.low,
            "high": band.high,
            "inner_low": round6(band.target - inner),
            "inner_high": round6(band.target + inner),
            "never_below": band.never_below,
            "never_above": band.never_above,
        }
        if turning is None or last is None:
            return TuneFacts(**about)
        return TuneFacts(**about, **trimmers.where(turning, inner))

    @property
    def _telling(self) -> str:
        """What is done with the trimmer in turn."""
        if self.state in _QUESTIONS:
            return "ask"
        return "stop" if self.state in (TuneState.STOP, TuneState.STOP_ON) else self._phase.value

    def _shown_now(self) -> Reading | None:
        """The newest reading, where it is of the step's quantity and holds a value."""
        last = self.bench.last
        return last if last is not None and last.value is not None and last.quantity in self._step.wanted else None

    def is_off(self, reading: Reading) -> bool:
        """Over-range in ohms. In volts and amps about zero, until the operator says that both tips are on."""
        if self._in_ohms:
            return reading.state is _OVER
        if self._sure or reading.value is None:
            return False
        if reading.unit == "A":
            return abs(reading.value) < ABOUT_ZERO_COUNTS * reading.resolution
        return about_zero(reading)

    def resume(self) -> None:
        """Prompt again for what is open."""
        if self.state is TuneState.TARGET:
            self.say(Do.ANSWER, asking.no_reference(self.item), asks=Asks.TARGET)
        elif self.state is TuneState.TARGET_SAID:
            text, facts = asking.read_back(self._trimmers, self.item, self._said)
            self.say(Do.ANSWER, text, **facts)
        elif self.state in _QUESTIONS:
            self.say(Do.ANSWER, f"{self.item}: yes or no?", asks=_QUESTIONS[self.state])
        else:
            self.arm()
            self._prompt(stopping=self.state in (TuneState.STOP, TuneState.STOP_ON))

    def part(self) -> None:
        """The session ends, or goes elsewhere: an excursion is written as it stands."""
        self._passed()
        if self._turning is not None:
            self._trimmers.leave(self.item, self._turning)

    def status(self) -> str:
        """Which trimmer, and what is done with it."""
        return f"{self.step.id}: {self.item}, {self._phase}"

    def _too_coarse(self, reading: Reading) -> bool:
        if self._coarse_taken or not self._trimmers_of_item.too_coarse(self.item, reading):
            self._coarse = 0
            return False
        self._coarse += 1
        if self._coarse == COARSE:
            text = f"{self.item}: a finer range; yes if the meter has none (leads in the V/Ω jacks)"
            wanted = self._step.wanted
            self.bench.prompt(Do.DIAL, self.item, text, asks=Asks.GO_ON, quantity=wanted[0], dial=wanted, range="finer")
        return True

    def _leave_item(self) -> None:
        """The item is left by a word: say first if it stands past its limit, and write the excursion as it stands."""
        self.bench.say_standing(self.item)
        self.part()

    def say_turn(self) -> None:
        """Say what to turn to."""
        self._asks_touch = False
        if self._turning is not None:
            text, facts = asking.turn(self._trimmers, self.item, self._turning)
            self.say(Do.TURN, text, **facts)

    def _prompt(self, *, stopping: bool = False) -> None:
        phase = "stop" if self._phase is TuneState.TURN and stopping else self._phase.value
        if phase == "turn" and self._is_held:
            phase = "lift"
        do, text, facts = asking.prompt(self._trimmers_of_item, self.item, phase, yes=self._hidden)
        self.say(do, text, **facts)

    @property
    def _hidden(self) -> bool:
        """Whether both tips on the trimmer may read as if they were in the air."""
        trimmers, name = self._trimmers_of_item, self.item
        if self._in_ohms or (isinstance(trimmers.step.target, str) and trimmers.good(name) is None):
            return False
        band = trimmers.band(name)
        return self._step.wanted[0].unit == "V" and band.low < ABOUT_ZERO_V and band.high > -ABOUT_ZERO_V

    @property
    def _is_held(self) -> bool:
        """Whether the tips are on the trimmer in turn in a contact that does not count."""
        raise NotImplementedError

    def _passed(self) -> None:
        """A contact that does not count is over."""
        raise NotImplementedError

    def _aim(self, at: int) -> None:
        """Turn a trimmer, in the contact that goes on or in one that begins."""
        raise NotImplementedError

    def aim_anew(self) -> None:
        """Turn the present trimmer, from a contact that begins; as found stays."""
        raise NotImplementedError
