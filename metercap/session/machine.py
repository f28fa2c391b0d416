"""Session: walks a plan's steps.

It answers what concerns no single step: which reading may be judged at all (blocks), what the tips do (touch), the
words that work everywhere, interludes (`probe NAME`), and moving from step to step. Everything it knows comes from
the first record and the events, so replaying them gives the same outcomes, bit for bit.
"""

from __future__ import annotations

from metercap.contact import Act, Block, Conversions
from metercap.contact.blocks import PAST_LIMIT, UNPROVED_KEY
from metercap.quantity import Quantity, format_value
from metercap.reading import Garbage, Reading, State
from metercap.records import Clock, CueKind, Event, Link, Operator, Outcome, SessionRecord
from metercap.session.facts import SessionFacts, facts_of
from metercap.session.heard import refusal
from metercap.session.saying import INTERLUDE, Saying
from metercap.session.tokens import TokenWords
from metercap.steps import WORDS, Given, Machine
from metercap.steps.advice import pencil_line
from metercap.steps.probing import IN_OHMS

__all__ = ["INTERLUDE", "Session"]

# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_BLANK, _OVER = State.BLANK, State.OVER
_NONE, _CONTACT, _MORE, _SLIP = Act.NONE, Act.CONTACT, Act.MORE, Act.SLIP
_ENDED, _LIFT, _GO = Act.ENDED, Act.LIFT, Act.GO
_UNCOUNTED = (Act.SLIP, Act.HELD)


class Session(Saying):
    """One run of a plan on one unit; see the module's text.

    `finished` is true after the last step or `quit`; `end_reason` says which. `deadline_s` is when a `Clock` event is
    due, `due_step` whose it is. `wanted` is what the meter should measure, for links that can set it.
    """

    def __init__(self, record: SessionRecord) -> None:
        super().__init__(record)
        on_port = bool(record.options.get("port"))
        self._pencil = pencil_line(record.meter, record.conversion_s, self._route.steps) if on_port else ""
        self._tokens = TokenWords(self.bench)
        self.pending: Operator | None = None
        """A word that a token said: the driver feeds it right after the reading."""

    # --- what the driver and the links ask

    @property
    def deadline_s(self) -> float | None:
        """When the next `Clock` event is due, or None."""
        if self.finished or self._machine is None:
            return None
        mine, frozen = self._machine.deadline_s, self.bench.blocks.deadline_s
        if (
            mine is None
            or (self.bench.block is not None and self._held_back(self._machine))
            or (frozen is not None and frozen < mine)
        ):
            mine = frozen
        if self.bench.calls:
            first = min(self.bench.calls.values())
            return first if mine is None else min(mine, first)
        return mine

    @property
    def due_step(self) -> str:
        """The step that the next deadline belongs to; of a wait that runs on elsewhere, its own."""
        due_s = self.deadline_s
        elsewhere = [step for step, until_s in self.bench.calls.items() if until_s == due_s]
        return min(elsewhere) if elsewhere else self._machine.step.id if self._machine is not None else ""

    @property
    def wanted(self) -> Quantity | None:
        """The quantity the open step wants first, or None."""
        if self._machine is None or not self._machine.wanted:
            return None
        first: Quantity = self._machine.wanted[0]
        return first

    @property
    def wanted_range(self) -> float | None:
        """The highest value the open step expects, in SI, for a meter whose range can be set; None when unknown."""
        step = self._machine.step if self._machine is not None else None
        high = getattr(step, "max", None)
        return high if isinstance(high, float) else None

    def facts(self) -> SessionFacts | None:
        """Return what is known at this moment, for whoever shows it; None when no step runs."""
        machine = self._machine
        return (
            None
            if machine is None
            else facts_of(
                machine,
                self.bench,
                aside=self._kept is not None,
                left_open=self.left_open,
                proposed=self.search.proposed,
            )
        )

    @property
    def measured_s(self) -> dict[Quantity, float]:
        """T in seconds by quantity, as this session measured it."""
        return self.bench.conversions.measured_s

    def start(self) -> list[Outcome]:
        """Open the first step and return its outcomes, at time 0."""
        for verdict in self._inherited.verdicts:
            self.bench.inherit(verdict)
        self.bench.say_standing()
        self.seat.say()
        if self._pencil:
            self.bench.note(self._pencil)
        self.search.begin()
        if self._step_on():
            self._move_on()
        return self.bench.take()

    def feed(self, event: Event) -> list[Outcome]:
        """Take one event and return what came of it, in order."""
        bench, machine = self.bench, self._machine
        bench.t_s = event.t_s
        if machine is None or self.finished:
            return []
        kind = type(event)
        if kind is Reading:
            self._reading(event, machine)  # type: ignore[arg-type]
        elif kind is Operator:
            self._word(event, machine)  # type: ignore[arg-type]
            if self._machine is not None and not self.finished:
                self._blocks(self._machine)  # the word may have ended a block, or voided a proof
            if bench.block is not None and not bench.has_told and not self.finished:
                self._say_block(bench.block)
        elif kind is Link:
            bench.blocks.link(event)  # type: ignore[arg-type]
            self._blocks(machine)
        elif kind is Clock:
            self._clock(machine)
        elif kind is not Garbage:
            raise TypeError(f"not an event: {event!r}")
        if self.finished or (self._machine is not None and self._machine.done):
            self._move_on()
        if not self.finished:
            self.search.tell_found()
        return bench.take()

    # --- events

    def _reading(self, reading: Reading, machine: Machine) -> None:
        bench = self.bench
        new = bench.conversions.begins(reading)
        if new and bench.conversions.pace.news:
            self._rates(bench.conversions)
        # Most readings find no block standing and none before: the rest of it is passed over then.
        if bench.blocks.feed(reading) is not None or bench.block is not None:
            self._blocks(machine)
        bench.last = reading
        if bench.block is not None:
            return
        touch = bench.touch
        if reading.state is _BLANK:
            touch.blank()
            return
        if not machine.shows_contact:
            # This step does not ask where the tips are, but the next one must know.
            if reading.quantity in IN_OHMS:
                touch.feed(reading, bench.conversions.pace, new, reading.state is _OVER)
            else:
                touch.block()
            machine.see(reading, _NONE, new)
            return
        act = touch.feed(reading, bench.conversions.pace, new, machine.is_off(reading))
        if act is _NONE:
            machine.see(reading, act, new)
            return
        if bench.tokens.learned and self._tokens.take(reading, act, new, machine):
            self.pending, self._tokens.said = self._tokens.said, None
            return
        if act is _MORE:
            machine.see(reading, act, new)
            return
        if act is _CONTACT:
            bench.contact(machine.item, same=False)
            bench.cue(CueKind.CONTACT, machine.item)
        elif act is _SLIP:
            bench.contact(machine.item, same=True)
        elif act is _ENDED:
            bench.lift(machine.item, same=False)
        elif act is _LIFT:
            bench.lift(machine.item, same=True)
        elif act is _GO:
            bench.cue(CueKind.GO, machine.item)
        if act in _UNCOUNTED and touch.lift_due(reading.t_s):
            bench.cue(CueKind.LIFT, machine.item)
            bench.blocks.lift_cued(reading)
            if touch.is_early:
                left_s = touch.stay(bench.conversions.pace).left_s
                bench.note(f"this contact does not count: lift, stay off {left_s:.1f} s until go, then {machine.item}")
        machine.see(reading, act, new)

    def _rates(self, conversions: Conversions) -> None:
        """Say once when the meter turned out slower or faster than its profile."""
        news = conversions.take_news()
        if news is None:
            return
        quantity, longer = news
        rate = format_value(1.0 / conversions.times_s[quantity], "Hz")
        how = "slower" if longer else "faster"
        self.bench.note(f"the meter converts at {rate}, {how} than was known: that rate is used from now on")

    def _blocks(self, machine: Machine) -> None:
        """A block may have begun or ended."""
        was = self.bench.blocked
        ended = self.bench.refresh(machine.item)
        if ended:
            machine.resume()
        elif self.bench.blocked and not was:
            machine.blocked()

    def _clock(self, machine: Machine) -> None:
        bench = self.bench
        bench.blocks.deadline_passed(bench.t_s)
        for step in [step for step, until_s in bench.calls.items() if until_s <= bench.t_s]:
            del bench.calls[step]
            bench.cue(CueKind.WAITING, machine.item)
            bench.note(self.seat.call(step), aloud=True)
        self._blocks(machine)
        mine = machine.deadline_s
        due = mine is not None and mine <= bench.t_s and not self._held_back(machine)
        if due and not machine.give(Given.DUE):
            machine.deadline_s = None  # nothing waits for it in this state; it must not stand for ever

    def _held_back(self, machine: Machine) -> bool:
        """A block stops whatever rests on readings; a step of words only waits out its time."""
        block = self.bench.block
        return block is not None and (bool(machine.wanted) or block.key == PAST_LIMIT)

    def _word(self, event: Operator, machine: Machine) -> None:
        word, bench = event.word, self.bench
        own = self._words.get(word)
        if own is not None:
            own(event.text)
            return
        refused = refusal(event, bench, held_back=self._held_back(machine))
        if refused:
            bench.note(refused)
            if bench.block is not None:
                bench.urge(bench.block.do, machine.item, bench.block.say, **bench.block.facts)
            return
        if event.source != "token" and self._tokens.heard(word, machine):
            return
        if bench.block is not None and bench.block.key in ("battery", UNPROVED_KEY) and word in ("yes", "no"):
            if word == "yes":
                self._agree(bench.block.key)
            return
        move = self._moves.get(word)
        if move is not None and move(event, machine):
            return
        if word in WORDS and machine.give(Given(word), event.text, event.source):
            return
        bench.note(f"the word {word!r} means nothing here: {machine.status()}")

    def _say_block(self, block: Block) -> None:
        """A word was heard while a block holds every prompt back: where it led, and what comes first all the same."""
        machine, bench = self._machine, self.bench
        if machine is not None:
            bench.note(f"{machine.status()}; first: {block.say}")
            bench.urge(block.do, machine.item, block.say, **block.facts)

    def _agree(self, key: str) -> None:
        """A yes to a block: a low battery is gone on with, a unit that is not proved dead is proved."""
        if key == UNPROVED_KEY:
            self._prove()
        else:
            self.bench.blocks.battery_accepted()
