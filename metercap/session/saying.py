"""Saying: the words that no single step answers: remarks, moves between steps, what is measured beside the plan."""

from __future__ import annotations

from typing import Literal

from metercap.plankeys import CheckStep, Item, SafeStep, StepBase
from metercap.quantity import format_value
from metercap.records import NAME, WAIVED_NOTE, Operator, SessionRecord, tag_of
from metercap.session.accepting import refused
from metercap.session.heard import CLAP, counted_on
from metercap.session.moving import Moving
from metercap.session.places import item_and_text, item_named, step_named
from metercap.session.power import NO_HAND
from metercap.session.route import Leg
from metercap.steps import Given, Machine, machine_for
from metercap.steps.walk.kinds import UNPLANNED

INTERLUDE = UNPLANNED
"""The step id of items that the plan does not have (`probe NAME`)."""


class Saying(Moving):
    """Two kinds of words: those heard at any moment, and moves, which a late key or a token's first touch keeps back.

    A move returns False where it means no more than what the step makes of the word.
    """

    def __init__(self, record: SessionRecord) -> None:
        super().__init__(record)
        self._words = {
            "note": self._word_note,
            NAME: self._word_name,
            "say": self._word_say,
            CLAP: self._word_clap,
            "quit": self._word_quit,
            "probe": self._word_probe,
            "accept": self._word_accept,
            "take": self._word_take,
            "symptom": self.search.said,
        }
        self._moves = {
            "to": self._word_to,
            "at": self._word_at,
            "back": self._word_back,
            "replaced": self._word_replaced,
            "waive": self._word_waive,
        }

    # --- heard at any moment

    def _word_note(self, text: str) -> None:
        self.bench.note(text)

    def _word_name(self, text: str) -> None:
        name = text.strip()
        if name:
            self.bench.tag = self.bench.tag if self.seat.in_job else tag_of(name)
            self.bench.note(f"the unit on the mat is {name}")

    def _word_say(self, _text: str) -> None:
        machine, last = self._machine, self.bench.last
        shown = "no value yet"
        if last is not None:
            shown = "over-range" if last.value is None else format_value(last.value, last.unit, last.resolution)
        where = machine.status() if machine is not None else ""
        left = "; ".join(each.said for each in self.left_open)
        where += f"; left open: {left}" if left else ""
        where += f"; proposed: {self.search.line}" if self.search.line else ""
        self.bench.note(
            f"{self.bench.tag}, {where}; last value {shown}" if self.bench.tag else f"{where}; last {shown}"
        )

    def _word_clap(self, _text: str) -> None:
        """Answer, so that the mark is seen and heard in the film too; the word's own time is what counts."""
        self.bench.note(CLAP)

    def _word_quit(self, _text: str) -> None:
        self._leave("quit")

    def _word_take(self, text: str) -> None:
        """Put this unit aside: the session that begins next is of another one."""
        if self.seat.take(text):
            self._leave("parked")

    def _leave(self, reason: Literal["quit", "parked"]) -> None:
        self._parting()
        self._over(reason)

    def _word_probe(self, name: str) -> None:
        """Measure an item that the plan does not have, in what the dial shows, then go on where we were."""
        name, machine, last = name.strip(), self._machine, self.bench.last
        if not name or self._kept is not None or machine is None:
            self.bench.note("probe needs a name, and one unplanned item is probed at a time")
            return
        if last is None:
            self.bench.note(f"probe {name}: the meter has shown nothing yet, so there is no quantity to measure it in")
            return
        taken = [item for _, item in self.bench.verdicts]
        taken += [item for planned in self.plan.steps for item in planned.item_names]
        name, quantity = counted_on(name, taken), last.quantity
        step = CheckStep(id=INTERLUDE, items=(Item(name),), quantity=quantity, unit=quantity.unit, contacts=1)
        if self.bench.blocks.past:
            self.bench.note(f"probe {name}: not in this step, {self.bench.blocks.past}")
            return
        forbidden = self._power.forbids(step)
        if forbidden:
            self.bench.note(f"probe {name}: no {quantity.value} now, {forbidden}")
            return
        self._parting()
        machine.blocked()  # the contact of the moment is not the planned item's any more
        self._kept = machine
        self._begin(machine_for(step, self.bench))

    def _word_accept(self, text: str) -> None:
        """Leave a verdict as it is, with a reason; where the item is asked about, that is answered as well."""
        bench, machine = self.bench, self._planned
        unplanned = tuple(Item(item) for step, item in bench.verdicts if step == INTERLUDE)
        steps: tuple[StepBase, ...] = self._route.steps
        steps = (*steps, CheckStep(id=INTERLUDE, items=unplanned)) if unplanned else steps
        found = item_and_text(text, steps, self._here)
        if isinstance(found, str):
            bench.note(found)
            return
        step, item, why = found
        here = machine is not None and step.id == machine.step.id
        asked = machine is not None and here and machine.state in machine.AFTER_VERDICT and machine.item == item
        is_open = step.id != INTERLUDE and not asked and self._is_open(step, item)
        no = refused(step, item, bench, is_open=is_open)
        if not no and not why:
            no = f"accept {item} needs its reason: accept {item} TEXT"
        if no:
            bench.note(no)
            return
        bench.accept(step.id, item, why)
        if asked and machine is not None and self._kept is None:
            machine.give(Given.NO)

    def _is_open(self, step: StepBase, item: str) -> bool:
        """Return whether an item is, or will be, asked for."""
        machine = self._planned
        if machine is not None and step.id == machine.step.id:
            return item in machine.undone
        return not self.bench.is_kept(step.id, item)

    # --- moves

    @property
    def _planned(self) -> Machine | None:
        """The machine of the plan's own step: an interlude only keeps it waiting."""
        return self._kept or self._machine

    @property
    def _here(self) -> str:
        return "" if self._planned is None else self._planned.step.id

    def _word_to(self, said: Operator, _machine: Machine) -> bool:
        """Leave this step for another."""
        step = step_named(said.text, self._route.steps)
        if isinstance(step, str):
            self.bench.note(step)
        elif step.id != self._here:
            self._go(Leg(step))
        elif self._kept is not None:
            self._take_up(self._kept)
        else:
            self.bench.note(f"{step.id} is the step at hand")
        return True

    def _word_at(self, said: Operator, _machine: Machine) -> bool:
        """Go to an item, of whatever step."""
        found = item_named(said.text, self._route.steps, self._here)
        if isinstance(found, str):
            self.bench.note(found)
            return True
        step, item = found
        if step.id != self._here:
            self._go(Leg(step, item))
            return True
        machine = self._machine if self._kept is None else self._take_up(self._kept)
        if machine is None or not machine.give(Given.AT, item, said.source):
            self.bench.note(f"{step.id} takes its own order: {'' if machine is None else machine.status()}")
        return True

    def _prove(self) -> None:
        """Leave this step for the proof that the unit is dead."""
        step = self._power.proves
        if step is None:
            self.bench.note("no step of this session proves the unit dead")
        else:
            self._go(Leg(step))

    def _word_waive(self, said: Operator, machine: Machine) -> bool:
        """Measure ohms of a unit that is not proved dead: with a reason, and not where it was seen to be live."""
        bench, why = self.bench, said.text.strip()
        insists = self._power.insists(bench)
        if not bench.blocks.unproved:
            no = "no proof is missing here"
        elif said.source in NO_HAND:
            no = f"a {said.source} waives no proof: at the keys, or by a line"
        elif insists:
            no = f"{insists}: nothing but a measurement proves it dead"
        else:
            no = "" if why else "it needs its reason: waive TEXT"
        if no:
            bench.note(f"waive: {no}")
            return True
        self._power.accept()
        self._doubt(machine)
        bench.note(f"{WAIVED_NOTE}{why}", aloud=True)
        return True

    def _word_replaced(self, said: Operator, machine: Machine) -> bool:
        """A new part is in: an item that is named is gone to and measured; other text is what the part is called."""
        text, planned = said.text.strip(), self._planned
        self._power.part_replaced()
        self._doubt(machine)
        if isinstance(machine.step, SafeStep) and machine.has_behind:
            self._prove()  # what was found dead before the part went in proves nothing
            machine = self._machine or machine
        places = [(step, name) for step in self._route.steps for name in step.item_names]
        named = any(text.casefold() in (name.casefold(), f"{step.id}/{name}".casefold()) for step, name in places)
        if named and planned is not None:
            found = item_named(text, self._route.steps, self._here)
            if isinstance(found, str):
                self.bench.note(found)
                return True
            step, item = found
            here = (step.id, item) == (self._here, planned.item) and self._kept is None
            deaf = (planned.state, Given.REPLACED) not in planned.TABLE and (planned.state, Given.AT) in planned.TABLE
            if not here or deaf:  # deaf: a count check names the item, and asks about the part that is out
                self._word_at(said, machine)
            there = self._machine
            if there is None or (there.step.id, there.item) != (step.id, item):
                return True
            if not there.give(Given.REPLACED, "", said.source):
                self.bench.replaced(item, item)
            return True
        if (machine.state, Given.REPLACED) in machine.TABLE:
            return False
        if text:
            self.bench.replaced(machine.step.id, text, measured=False)
        else:
            self.bench.note(f"replaced needs a name here: {machine.status()}")
        return True

    def _word_back(self, _said: Operator, machine: Machine) -> bool:
        """Before anything is decided in a step, back leads over its border."""
        if self._kept is not None or machine.has_behind:
            return False
        leg = self._route.behind()
        if leg is None:
            return False
        self._go(leg)
        return True
