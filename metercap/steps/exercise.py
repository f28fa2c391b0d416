"""exercise: paced presses of a cover or interlock switch until a missed closure shows, and again after cleaning.

Unpowered. Tips stay across the contacts while the other hand presses. A press and a release last at least three
conversions each, so what is shorter (bounce) cannot be seen. The first presses are as found, since exercising cleans.

For a normally open switch a press that never closes reads like tips that slipped off. Such a silent press counts as
failed only between two closures, or by the word `fail`; `again` says that the probes had slipped.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Literal

from metercap.metrology.domain import round6
from metercap.metrology.proportion import clopper_pearson
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading, State
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.exercise_table import GOING, TABLE, ExerciseStep, S
from metercap.steps.judge import Judgement, Limits
from metercap.steps.listed import Listed
from metercap.steps.presses import Presses

CONVERSIONS = 3
"""Conversions that a press and a release last at least."""
HAND_S = 1.0
"""From a prompt to a finger that has moved (common practice, no source)."""


class Exercise(Listed):
    """Paces the presses, and counts closures."""

    FIRST, END = S.READY, S.END
    shows_contact = False
    TABLE = TABLE

    def __init__(self, step: ExerciseStep, bench: Bench) -> None:
        super().__init__(step, bench, Limits(None, step.max, "ohm", step.rule or bench.rule))
        self._step = step
        self._closed: list[float] = []
        """Values of the present closure, oldest first."""
        self._apart = 0
        self._poor = 0
        self._gap = False
        self.fresh()

    def fresh(self) -> None:
        """Forget the switch before."""
        self._presses = Presses()
        self._before: tuple[int, int] | None = None
        self._dropouts = 0
        self._inside: list[float] = []
        self._last: Reading | None = None
        self._from_s = 0.0
        self._forget_press()

    # --- what the session asks

    @property
    def progress(self) -> tuple[int, int, int]:
        """Closures seen, presses counted, presses asked for."""
        return self._presses.counted[0], len(self._presses.all), self._step.presses

    def resume(self) -> None:
        """Prompt for what is open."""
        if self.state is S.CLEAN:
            self._ask_clean()
        elif self.state is S.READY:
            self._ask_ready()
        else:
            self.state = self._ask(self.state is S.CLOSE)

    def blocked(self) -> None:
        """The press in hand is worth nothing; it is asked for anew."""
        self.deadline_s = None
        self._forget_press()
        if self.state in GOING:
            self.state = S.READY

    def status(self) -> str:
        """How many presses, and how many closed."""
        good, done, asked = self.progress
        return f"{self.step.id}: {self.item}, {good} of {done} closed, {asked} asked for"

    # --- readings

    def _sort(self) -> Literal["closed", "open", "poor", "coarse"]:
        """Sort the newest conversion, and keep what it adds."""
        reading = self.reading
        if reading is None:
            return "coarse"
        value = None if reading.value is None else self.bench.judge.corrected(reading)
        if value is not None and value <= self._step.max < value + reading.resolution:
            self.bench.ask_fixed_range(reading)
            return "coarse"  # 0.00 MΩ says nothing about 2 Ω
        if reading.state is State.OVER or value is None or (self._step.open_above or math.inf) < value:
            self._apart += 1
            if self._closed:
                self._gap = True
            return "open"
        if value > self._step.max:
            self._poor += 1
            return "poor"
        if self._gap and self._closed:
            self._dropouts += 1
        self._gap = False
        self._apart = 0
        self._closed.append(value)
        self._last = reading
        return "closed"

    def first(self) -> StrEnum:
        """The first sign of the switch."""
        kind = self._sort()
        if kind == "coarse":
            return S.READY
        if kind != "closed":
            self._closed.clear()
            self._gap = False
            return S.READY
        if len(self._closed) < CONVERSIONS:
            return S.READY
        self.bench.cue(CueKind.CONTACT, self.item)
        self._from_s = self.bench.t_s
        if self._step.form == "no":  # this closure is the first press
            return self._close_good()
        return self._ask(close=False)

    def closing(self) -> StrEnum:
        """A conversion while the contact should close."""
        self._sort()
        return self._close_good() if len(self._closed) >= CONVERSIONS else S.CLOSE

    def parting(self) -> StrEnum:
        """A conversion while the contact should open."""
        if self._sort() != "open":
            self._apart = 0
        if self._apart < CONVERSIONS:
            return S.PART
        return self._parted()

    def not_closed(self) -> StrEnum:
        """Time is up, and the contact has not closed."""
        if self._closed:
            self._presses.add(False, "too short a closure")
        elif self._poor:
            self._presses.add(False, "high contact resistance")
        else:
            self._presses.add(None)
        return self._go_on(close=False)

    def not_parted(self) -> StrEnum:
        """Time is up, and the contact has not opened."""
        if self._step.form == "nc":
            self._presses.add(False, "did not open")
            self._presses.counted_already = True
            return self._go_on(close=True)
        # Still closed after the release: the next press could not be told from this one, so it waits.
        self.deadline_s = None
        self._presses.spoil("did not open in time")
        self.bench.cue(CueKind.WAITING, self.item)
        return S.PART

    def rested(self) -> StrEnum:
        """The pause is over."""
        return self._ask(close=self._step.form == "no")

    # --- words

    def word_fail(self) -> StrEnum:
        """The last silent press was a failure: the operator felt it."""
        self._presses.fail()
        return self.judge_run() if self._complete() else self.state

    def word_again(self) -> StrEnum:
        """The probes had slipped: silent presses since the last closure do not count."""
        self._presses.drop_silent()
        self._forget_press()
        self._ask_ready()
        return S.READY

    def cleaned(self) -> StrEnum:
        """Cleaned: exercise again; the runs so far are before it."""
        before = self._presses.counted
        self.again()
        self._before = before
        return S.READY

    def skip(self) -> StrEnum:
        """Give up on this switch; what was counted stands in the reason."""
        if self.state is S.CLEAN:
            return self.decided()
        good, done, _ = self.progress
        return self.word(VerdictKind.UNSURE, f"skipped after {good} of {done} closures")

    # --- pacing

    def _phase_s(self) -> float:
        if self._step.pace_s is not None:
            return self._step.pace_s
        reading = self.reading
        quantity = reading.quantity if reading is not None else Quantity.RESISTANCE
        return (CONVERSIONS + 1) * self.bench.conversions.times_s[quantity] + HAND_S

    def _ask(self, close: bool) -> StrEnum:
        self._forget_press()
        press = close == (self._step.form == "no")
        good, done, asked = self.progress
        action = Do.PRESS if press else Do.RELEASE
        verb = "press and hold" if press else "release"
        self.say(action, f"{self.item}: {verb} ({done + 1 if press else done} of {asked}, {good} closed)")
        self.deadline_s = at(self.bench.t_s + self._phase_s())
        return S.CLOSE if close else S.PART

    def _ask_ready(self) -> None:
        text = "then press and hold" if self._step.form == "no" else "released"
        self.say(Do.PROBE, f"{self.place}: hold both tips across its contacts, {text}; keep the tips on all the time")
        self.arm()

    def _ask_clean(self) -> None:
        self.say(Do.ANSWER, f"{self.item} missed closures: clean it, then say yes to exercise it again; no leaves it")

    def _forget_press(self) -> None:
        self._closed = []
        self._apart = self._poor = 0
        self._gap = False

    def _close_good(self) -> StrEnum:
        """A closure long enough."""
        self._inside.extend(self._closed[1:-1])
        self._presses.add(True)
        return self._go_on(close=False)

    def _parted(self) -> StrEnum:
        return self._go_on(close=True)

    def _complete(self) -> bool:
        return len(self._presses.all) >= self._step.presses

    def _go_on(self, close: bool) -> StrEnum:
        """After a closure (or none) comes the opening, and the other way round; a press ends with its release."""
        ends = close if self._step.form == "no" else not close
        if ends and self._complete():
            return self.judge_run()
        if ends and self._step.rest_s:
            self._forget_press()
            self.deadline_s = at(self.bench.t_s + self._step.rest_s)
            return S.REST
        return self._ask(close)

    # --- the end of a switch

    def judge_run(self) -> StrEnum:
        """The last press is over: give the verdict, and offer to clean where closures were missed."""
        self.deadline_s = None
        k, n = self._presses.counted
        interval = clopper_pearson(k, n, self._step.confidence) if n else None
        verdict, reasons = self._presses.judge(self._earlier(), self._step.confidence)
        judged = self._contact(reasons)
        if verdict is VerdictKind.PASS and judged is not None and judged.verdict is not VerdictKind.PASS:
            verdict = judged.verdict
        if self._dropouts:
            reasons.append(f"{self._dropouts} dropouts while held")
            verdict = VerdictKind.FAIL if verdict is VerdictKind.PASS else verdict
        self.bench.before.setdefault((self.step.id, self.item), {"k": k, "runs": n})
        self.bench.give(
            self.item,
            verdict,
            judged=judged,
            limits=self._limits,
            reason="; ".join(reasons),
            n=len(self._inside),
            from_s=self._from_s,
            settled=True,
            k=k,
            runs=n,
            low=None if interval is None else interval.low,
            high=None if interval is None else interval.high,
            confidence=self._step.confidence,
        )
        if verdict is VerdictKind.FAIL and k < n and self._before is None:
            self._ask_clean()
            return S.CLEAN
        return self.decided()

    def _contact(self, reasons: list[str]) -> Judgement | None:
        """Judge the contact resistance by the conversions inside the closures; say when it varies much."""
        last = self._last
        if last is None:
            return None
        inner = self._inside or [self.bench.judge.corrected(last)]
        if max(inner) > 2.0 * max(min(inner), 5.0 * last.resolution):
            low, high = (format_value(x, "ohm", last.resolution) for x in (min(inner), max(inner)))
            reasons.append(f"contact resistance from {low} to {high}")
        middle = round6(math.fsum(inner) / len(inner))
        return self.bench.judge.judge(last, self._limits, value=middle, conversions=inner[-10:])

    def _earlier(self) -> tuple[int, int] | None:
        if self._before is not None:
            return self._before
        counted = self.bench.before.get((self.step.id, self.item))
        return None if counted is None else (int(counted["k"]), int(counted["runs"]))

    def finish(self) -> StrEnum:
        """End the step; the tips may still be on, so the next one wants a certain lift."""
        self.bench.touch.block()
        return super().finish()
