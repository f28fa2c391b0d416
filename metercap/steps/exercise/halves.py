"""Half a press: what the contact shows while it should close or open, by when, and what that counts for."""

from __future__ import annotations

import math

from metercap.judging.judge import Limits
from metercap.metrology.domain import round6
from metercap.plankeys import ExerciseStep
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import CueKind
from metercap.steps.bench import Bench
from metercap.steps.exercise.closure import LEAST, Closure, Contact, kind_of
from metercap.steps.exercise.presses import Presses
from metercap.steps.exercise.table import ExerciseSign
from metercap.steps.listed import Listed

HAND_S = 2.0
"""From a prompt to a finger that has moved, four standard deviations above the mean of 0.7 ± 0.3 s (common practice, no
source). Only a press that shows nothing takes so long."""
LET_GO_S = 1.5
"""How long a finger gets that moves while the contact shows nothing; a later one is waited for where it shows."""


class Halves(Listed):
    """One half after the other, asked for at `_asked_s`; `_still`: the contact was already as it should become."""

    def __init__(self, step: ExerciseStep, bench: Bench) -> None:
        super().__init__(step, bench, Limits(None, step.max, "ohm", step.rule or bench.rule))
        self._step = step
        self._seen = Closure()
        self._presses = Presses()
        self._inside: list[float] = []
        self._by_press: list[float] = []
        """The mean of each closure that had such values, in ohm."""
        self._last: Reading | None = None
        self._unopened = False
        """A normally closed switch was pressed and has not opened: its closing adds nothing."""
        self._overdue = self._still = False
        self._from_s = self._asked_s = 0.0

    def _sort(self) -> None:
        """Take in what the newest conversion shows; one too coarse to say anything is passed over."""
        reading = self.reading
        if reading is None:
            return
        value = None if reading.value is None else self.bench.judge.corrected(reading)
        if value is not None and value <= self._step.max < value + reading.resolution:
            self.bench.ask_fixed_range(reading)
            return  # 0.00 MΩ says nothing about 2 Ω
        kind = kind_of(reading, value, self._step.max, self._step.open_above)
        if kind is Contact.CLOSED:
            self._last = reading
        self._seen.feed(kind, value or 0.0, self.bench.t_s)

    def first(self) -> ExerciseSign | None:
        """Look for the first sign of the switch."""
        self._sort()
        if self._seen.last is not Contact.CLOSED:
            self._seen.forget()
        return ExerciseSign.SHOWN if self._seen.is_closed else None

    def shown(self) -> None:
        """The tips are on its contacts; the first closure of one that is open at rest is its first press."""
        self.bench.cue(CueKind.CONTACT, self.item)
        self._from_s = self.bench.t_s
        if self._step.form == "no":
            self.count_closed()

    def tips_on(self) -> None:
        """The switch has shown nothing yet, and the operator says that the tips are on it: presses count from here."""
        self._from_s = self.bench.t_s

    def closing(self) -> ExerciseSign | None:
        """Take a conversion while the contact should close."""
        self._sort()
        seen = self._seen
        if self._unopened and seen.is_open:  # the press came late: it did open
            self._presses.take_back()
            self._unopened = self._still = False
            seen.forget()
        if seen.is_closed and not self._too_soon():
            return ExerciseSign.CLOSED
        if self._overdue and (seen.last is Contact.OPEN or seen.is_poor):
            return ExerciseSign.UNCLOSED
        return None

    def close_due(self) -> ExerciseSign | None:
        """Time is up; what still goes on is waited for, and so is a meter that sends nothing."""
        self.deadline_s = None
        self._overdue = self._seen.last is not Contact.OPEN or self._stalled()
        return None if self._overdue else ExerciseSign.UNCLOSED

    def parting(self) -> ExerciseSign | None:
        """Take a conversion while the contact should open."""
        self._sort()
        seen = self._seen
        late = self._presses.silent > 0 and not self._unopened
        if late and seen.is_closed:  # the closure came after its time: it counts all the same
            self._keep_inside()
            self._presses.take_back()
            self._presses.add(True)
            seen.forget()
            self._still = late = False
        if seen.is_open and not self._too_soon():
            # Let go before it had lasted: neither a closure nor silent. A worn one may touch on its way up.
            if late and len(seen.values) > 1:
                self._presses.take_back()
            return ExerciseSign.PARTED
        if self._overdue and self._step.form == "nc" and seen.last is Contact.CLOSED:
            return ExerciseSign.UNPARTED
        return None

    def part_due(self) -> ExerciseSign | None:
        """Time is up, and the contact has not opened."""
        self.deadline_s, self._overdue = None, True
        if self._step.form == "nc" and self._seen.last is Contact.CLOSED and not self._stalled():
            return ExerciseSign.UNPARTED
        # Still closed after the release: the next press could not be told from this one, so it waits.
        if self._step.form == "no" and self._seen.last is not Contact.OPEN:
            self.bench.cue(CueKind.WAITING, self.item)
        return None

    def asking(self) -> ExerciseSign | None:
        """Take a conversion while the tool asks whether anybody is pressing: what the switch does is an answer."""
        self._sort()
        if self._step.form == "nc":
            return ExerciseSign.PARTED if self._seen.is_open else None
        if self._seen.last is Contact.OPEN:
            self._seen.forget()
        return ExerciseSign.CLOSED if self._seen.is_closed else None

    # --- counting

    def count_closed(self) -> None:
        """A closure long enough."""
        if self._unopened:
            self._unopened = False
        else:
            self._keep_inside()
            self._presses.add(True)

    def _keep_inside(self) -> None:
        """Keep what no edge of the closure fell into."""
        inside = self._seen.inside
        self._inside.extend(inside)
        if inside:
            self._by_press.append(round6(math.fsum(inside) / len(inside)))

    def count_unclosed(self) -> None:
        """No closure, or none that counts."""
        if self._unopened:
            self._unopened = False
        elif self._seen.is_poor:
            self._presses.add(False, "high contact resistance")
        elif self._seen.values or self._seen.poor:
            self._presses.add(False, "too short a closure")
        else:
            self._presses.add(None, "" if self._step.form == "no" else "did not close")

    def count_unparted(self) -> None:
        """A normally closed contact that stays closed: the switch is worn, or nobody pressed it."""
        self._presses.add(None, "did not open")
        self._unopened = True

    # --- time

    def _phase_s(self) -> float:
        if self._step.pace_s is not None:
            return self._step.pace_s
        return (LEAST + 1) * self._conversion_s() + HAND_S

    def _conversion_s(self) -> float:
        quantity = Quantity.RESISTANCE if self.reading is None else self.reading.quantity
        return self.bench.conversions.times_s[quantity]

    def _forget_press(self) -> None:
        self._seen.forget()
        self._overdue = False

    def _too_soon(self) -> bool:
        """Return whether a finger may still be on its way, since nothing had to change at the contact."""
        return self._still and self.bench.t_s < self._asked_s + min(LET_GO_S, self._phase_s())

    def _stalled(self) -> bool:
        """Return whether the meter has sent no conversion for so long that the contact may have changed unseen."""
        return self.bench.t_s - self._seen.last_s > 2.0 * self._conversion_s()
