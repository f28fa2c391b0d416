"""Moving: from step to step, in the plan's order or where the operator goes, and interludes between."""

from __future__ import annotations

from typing import Literal

from metercap.contact import Conversions
from metercap.judging.good import Goods
from metercap.plan import Plan, from_builtins
from metercap.records import Outcome, SessionRecord
from metercap.session.inherit import Inherited
from metercap.session.power import Power
from metercap.session.route import LeftOpen, Leg, Route
from metercap.session.searching import Searching
from metercap.session.seat import Seat
from metercap.steps import Bench, Machine
from metercap.steps.nextunit import NextUnit
from metercap.steps.tokens import LearnTokens


class Moving:
    """What a session has at hand: the bench, the plan, the step that runs, and the one that an interlude keeps waiting.

    `finished` is true after the last step or `quit`; `end_reason` says which.
    """

    def __init__(self, record: SessionRecord) -> None:
        self.record = record
        self.plan: Plan = from_builtins(record.plan)
        self.bench = Bench(record.meter, record.tag, self.plan.rule)
        self.bench.conversions = Conversions(record.meter, record.conversion_s)
        self.bench.reference = record.reference
        self.bench.goods = Goods(record)
        self.bench.known_good = record.known_good
        self._inherited = Inherited.of(record.inherited)
        self._inherited.into(self.bench)
        only = record.options.get("steps")
        steps = [step for step in self.plan.steps if not only or step.id in only]
        self.bench.steps = tuple(steps)
        self.finished = False
        self.end_reason: Literal["done", "quit", "parked"] = "done"
        self._route = Route(steps, self.bench)
        self._power = Power(self.plan, steps, waived=bool(record.options.get("no_safe")))
        self.seat = Seat(record, self._inherited, self.bench, self._power)
        said = self._inherited.symptom
        self.search = Searching(record, self.plan, steps, self.bench, self._power, said)
        self._tokens_asked = False
        self._machine: Machine | None = None
        self._kept: Machine | None = None
        """The machine an interlude keeps waiting."""

    @property
    def left_open(self) -> tuple[LeftOpen, ...]:
        """Steps that were left or passed over, and what of them comes back before the end."""
        return self._route.open

    @property
    def waits(self) -> dict[str, float]:
        """When each wait is over that was begun and not asked about yet, by step."""
        machines = [each for each in (self._machine, self._kept) if each is not None]
        mine = {each.step.id: each.until_s for each in machines if each.until_s is not None}
        return {**self.bench.waits, **mine}

    def _move_on(self) -> None:
        """The step at hand, or an interlude, has ended: go on."""
        machine = self._machine
        if self.finished or machine is None:
            self._machine = None
            return
        while machine.done:
            if self._kept is not None:
                machine = self._take_up(self._kept)
                continue
            if not isinstance(machine, LearnTokens | NextUnit):
                self._route.ended(machine)
            self._power.ended(machine, self.bench)
            if not self._step_on():
                return
            machine = self._machine
            if machine is None:
                return

    def _take_up(self, machine: Machine) -> Machine:
        """An interlude is over: the step that it kept waiting goes on."""
        self._machine, self._kept = machine, None
        self.bench.step = machine.step.id
        self.bench.changed()
        self._doubt(machine)
        machine.want()
        machine.resume()
        return machine

    def _step_on(self, *, sent: bool = False) -> bool:
        """Begin the next step; False, and finished, when there is none. `sent`: the operator goes there."""
        leg = self._route.next()
        if leg is None and (asked := self.seat.next_unit()) is not None:
            self._begin(asked)
            return True
        if leg is None:
            self.bench.say_standing()
            self._over(self.seat.ends_as)
            self._machine = None
            return False
        if leg.again:
            self._tell_open("before the end, left open:", LeftOpen(leg.step.id, self._route.undecided(leg.step)))
        if leg.step.in_ohms and self.plan.tokens and not self._tokens_asked:
            self._tokens_asked = True
            self._route.turn_back(leg)
            self._begin(LearnTokens(self.plan.tokens, self.bench))
            return True
        if not sent:
            self.search.tell(leg.step.id)
        self._begin(self.seat.machine_for(leg.step), leg.item)
        return True

    def _doubt(self, machine: Machine) -> None:
        """Look whether what a step measures wants a proof of being dead that there is none of."""
        self.bench.blocks.unproved = self._power.doubt(machine.step)
        self.bench.blocks.ways = self._power.ways(self.bench)

    def _tell_open(self, head: str, *more: LeftOpen) -> None:
        left = "; ".join(each.said for each in (*more, *self.left_open))
        if left:
            self.bench.note(f"{head} {left}", aloud=bool(more))

    def _begin(self, machine: Machine, item: str = "") -> None:
        self._machine = machine
        self.bench.step = machine.step.id
        for caution in machine.step.cautions:
            self.bench.note(caution)
        if self._kept is None:
            self._power.enter(machine.step, self.bench)
        self._doubt(machine)
        self.bench.blocks.past = self._power.past(machine.step, self.bench)
        machine.want()
        machine.start_at(item) if item else machine.start()

    def _go(self, leg: Leg) -> None:
        """Leave the step at hand for another, or for one item there; what is not decided here comes back."""
        self._parting()
        machine = self._kept or self._machine
        self._kept = None
        if isinstance(machine, LearnTokens):
            self._tokens_asked = False
        elif machine is not None and not isinstance(machine, NextUnit):
            machine.be_left()
            self._route.left(machine)
        self._route.turn_to(leg)
        self._step_on(sent=True)
        self._tell_open("left open, and back before the end:")

    def _parting(self) -> None:
        """Before the session ends or goes elsewhere: a trimmer that stands past its limit is said and written."""
        self.bench.say_standing()
        for machine in (self._machine, self._kept):
            if machine is not None:
                machine.part()

    def end(self, t_s: float) -> list[Outcome]:
        """End where a signal ends it; return what must be said and written first."""
        self.bench.t_s = t_s
        if not self.finished:
            self._parting()
            self._over(self.end_reason)
        return self.bench.take()

    def _over(self, reason: Literal["done", "quit", "parked"]) -> None:
        """The session is over; what waits goes on waiting."""
        self.bench.waits = self.waits
        self.finished, self.end_reason = True, reason
