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
from metercap.metrology.proportion import clopper_pearson, fisher_exact
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading, State
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.judge import Limits
from metercap.steps.keys import Item, Ohm, Seconds, Share, StepBase
from metercap.steps.machine import Given, Machine, Row, words_rows

CONVERSIONS = 3
"""Conversions that a press and a release last at least."""
HAND_S = 1.0
"""From a prompt to a finger that has moved (common practice, no source)."""


class ExerciseStep(StepBase, frozen=True, tag="exercise", kw_only=True):
    """Keys of an `exercise` step. `form` "no" closes when pressed, "nc" opens.

    `pace_s` is the longest a press or a release may take; default: three conversions, one more, and the hand. A closed
    contact reads at most `max`; above `open_above` (default: only over-range) it is open.
    """

    items: tuple[Item, ...]
    presses: int = 20
    pace_s: Seconds | None = None
    max: Ohm = 2.0
    form: Literal["no", "nc"] = "no"
    open_above: Ohm | None = None
    rest_s: Seconds | None = None
    confidence: Share = 0.95

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Ohms, or continuity."""
        return (Quantity.RESISTANCE, Quantity.CONTINUITY)

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every switch."""
        return tuple(item.name for item in self.items)


class S(StrEnum):
    """States of exercising."""

    READY = "ready"
    """Waiting for the first sign of the switch: a closure ("no"), or a closed contact at rest ("nc")."""
    CLOSE = "close"
    """The contact should close now: pressed ("no") or released ("nc")."""
    PART = "part"
    """The contact should open now."""
    REST = "rest"
    """A pause between two presses."""
    CLEAN = "clean"
    """Closures were missed: clean and exercise again?"""
    END = "end"


class Press:
    """What one press showed: None while it is silent and not yet decided."""

    __slots__ = ("good", "why")

    def __init__(self, good: bool | None, why: str = "") -> None:
        self.good = good
        self.why = why


_GOING = (S.CLOSE, S.PART, S.REST)
_AFTER = (S.READY, S.CLOSE, S.PART, S.REST, S.CLEAN, S.END)


class Exercise(Machine):
    """Paces the presses, and counts closures."""

    shows_contact = False
    TABLE = {  # noqa: RUF012
        (S.READY, Given.VALUE): Row("first", (S.READY, S.PART, S.CLOSE)),
        (S.READY, Given.DUE): Row("waiting", (S.READY,)),
        (S.CLOSE, Given.VALUE): Row("closing", _AFTER),
        (S.CLOSE, Given.DUE): Row("not_closed", _AFTER),
        (S.PART, Given.VALUE): Row("parting", _AFTER),
        (S.PART, Given.DUE): Row("not_parted", _AFTER),
        (S.REST, Given.DUE): Row("rested", (S.CLOSE, S.PART)),
        (S.CLEAN, Given.YES): Row("cleaned", (S.READY,)),
        (S.CLEAN, Given.NO): Row("onward", (S.READY, S.END)),
        **words_rows(
            _GOING,
            {Given.FAIL: Row("word_fail", _AFTER), Given.AGAIN: Row("word_again", (S.READY, S.CLOSE, S.PART, S.REST))},
        ),
        **words_rows(
            (S.READY, *_GOING, S.CLEAN),
            {
                Given.SKIP: Row("skip", (S.READY, S.END)),
                Given.ABSENT: Row("absent", (S.READY, S.END)),
                Given.OPEN: Row("never", (S.READY, S.END)),
                Given.SKIP_STEP: Row("skip_step", (S.END,)),
            },
        ),
    }

    def __init__(self, step: ExerciseStep, bench: Bench) -> None:
        super().__init__(step, bench, S.READY)
        self._step = step
        self._at = 0
        self._limits = Limits(None, step.max, "ohm", step.rule or bench.rule)
        self._presses: list[Press] = []
        self._before: list[bool] | None = None
        self._closed: list[float] = []
        """Values of the present closure, oldest first."""
        self._apart = 0
        self._poor = 0
        self._gap = False
        self._counted = False
        self._dropouts = 0
        self._inside: list[float] = []
        self._last: Reading | None = None
        self._from_s = 0.0

    # --- what the session asks

    @property
    def item(self) -> str:
        """The switch in turn."""
        return self._step.items[min(self._at, len(self._step.items) - 1)].name

    @property
    def progress(self) -> tuple[int, int, int]:
        """Closures seen, presses counted, presses asked for."""
        return sum(press.good is True for press in self._presses), len(self._presses), self._step.presses

    def start(self) -> None:
        """Ask for the first switch that has no verdict."""
        self._at = -1
        self.state = self._next_item()

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
        self._fresh()
        if self.state in _GOING:
            self.state = S.READY

    def status(self) -> str:
        """How many presses, and how many closed."""
        good, done, asked = self.progress
        return f"{self.step.id}: {self.item}, {good} of {done} closed, {asked} asked for"

    # --- readings

    def _sort(self) -> Literal["closed", "open", "poor"]:
        """Sort the newest conversion, and keep what it adds."""
        reading = self.reading
        assert reading is not None
        value = None if reading.value is None else self.bench.judge.corrected(reading)
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

    def waiting(self) -> StrEnum:
        """Nothing yet: say so once."""
        self.deadline_s = None
        self.bench.cue(CueKind.WAITING, self.item)
        return S.READY

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
            self._add(Press(False, "too short a closure"))
        elif self._poor:
            self._add(Press(False, "high contact resistance"))
        else:
            self._add(Press(None))
        return self._go_on(close=False)

    def not_parted(self) -> StrEnum:
        """Time is up, and the contact has not opened."""
        if self._step.form == "nc":
            self._add(Press(False, "did not open"))
            self._counted = True
            return self._go_on(close=True)
        # Still closed after the release: the next press could not be told from this one, so it waits.
        self.deadline_s = None
        if self._presses:
            self._presses[-1] = Press(False, "did not open in time")
        self.bench.cue(CueKind.WAITING, self.item)
        return S.PART

    def rested(self) -> StrEnum:
        """The pause is over."""
        return self._ask(close=self._step.form == "no")

    # --- words

    def word_fail(self) -> StrEnum:
        """The last silent press was a failure: the operator felt it."""
        for press in reversed(self._presses):
            if press.good is None:
                press.good, press.why = False, "silent, by the operator's word"
                break
        else:
            self._add(Press(False, "by the operator's word"))
        return self._finish() if self._complete() else self.state

    def word_again(self) -> StrEnum:
        """The probes had slipped: silent presses since the last closure do not count."""
        while self._presses and self._presses[-1].good is None:
            self._presses.pop()
        self._fresh()
        self._ask_ready()
        return S.READY

    def cleaned(self) -> StrEnum:
        """Cleaned: exercise again; the runs so far are before it."""
        self._before = [press.good is True for press in self._presses if press.good is not None]
        self._restart()
        return S.READY

    def onward(self) -> StrEnum:
        """Leave it as it is."""
        return self._next_item()

    def skip(self) -> StrEnum:
        """Give up on this switch; what was counted stands in the reason."""
        if self.state is S.CLEAN:
            return self._next_item()
        good, done, _ = self.progress
        return self._word(VerdictKind.UNSURE, f"skipped after {good} of {done} closures")

    def absent(self) -> StrEnum:
        """This unit has no such switch."""
        return self._word(VerdictKind.ABSENT, "absent, by the operator's word")

    def never(self) -> StrEnum:
        """It never closes."""
        return self._word(VerdictKind.FAIL, "never closes, by the operator's word")

    def skip_step(self) -> StrEnum:
        """What has no verdict becomes unsure."""
        for name in self._step.item_names:
            if (self.step.id, name) not in self.bench.verdicts:
                self.bench.give(name, VerdictKind.UNSURE, reason="step skipped")
        return self._end()

    # --- pacing

    def _phase_s(self) -> float:
        if self._step.pace_s is not None:
            return self._step.pace_s
        reading = self.reading
        quantity = reading.quantity if reading is not None else Quantity.RESISTANCE
        return (CONVERSIONS + 1) * self.bench.conversions.times_s[quantity] + HAND_S

    def _ask(self, close: bool) -> StrEnum:
        self._fresh()
        press = close == (self._step.form == "no")
        good, done, asked = self.progress
        action = Do.PRESS if press else Do.RELEASE
        verb = "press and hold" if press else "release"
        self.say(action, f"{self.item}: {verb} ({done + 1 if press else done} of {asked}, {good} closed)")
        self.deadline_s = at(self.bench.t_s + self._phase_s())
        return S.CLOSE if close else S.PART

    def _ask_ready(self) -> None:
        item = self._step.items[self._at]
        where = f", {item.where}" if item.where else ""
        if self._step.form == "no":
            text = "hold both tips across its contacts, then press and hold"
        else:
            text = "hold both tips across its contacts, released"
        self.say(Do.PROBE, f"{item.name}{where}: {text}; keep the tips on all the time")
        self.deadline_s = at(self.bench.t_s + 10.0)

    def _ask_clean(self) -> None:
        self.say(Do.ANSWER, f"{self.item} missed closures: clean it, then say yes to exercise it again; no leaves it")

    def _fresh(self) -> None:
        self._closed = []
        self._apart = self._poor = 0
        self._gap = False

    def _close_good(self) -> StrEnum:
        """A closure long enough."""
        for press in self._presses:
            if press.good is None:  # silent, but between two closures
                press.good, press.why = False, "silent between closures"
        self._inside.extend(self._closed[1:-1])
        self._add(Press(True))
        return self._go_on(close=False)

    def _parted(self) -> StrEnum:
        return self._go_on(close=True)

    def _add(self, press: Press) -> None:
        """Count a press once: one that did not open is counted already when it closes again."""
        if self._counted:
            self._counted = False
            return
        self._presses.append(press)

    def _complete(self) -> bool:
        return len(self._presses) >= self._step.presses

    def _go_on(self, close: bool) -> StrEnum:
        """After a closure (or none) comes the opening, and the other way round; a press ends with its release."""
        ends = close if self._step.form == "no" else not close
        if ends and self._complete():
            return self._finish()
        if ends and self._step.rest_s:
            self._fresh()
            self.deadline_s = at(self.bench.t_s + self._step.rest_s)
            return S.REST
        return self._ask(close)

    # --- the end of a switch

    def _finish(self) -> StrEnum:
        self.deadline_s = None
        runs = [press.good is True for press in self._presses if press.good is not None]
        unheard = len(self._presses) - len(runs)
        k, n = runs.count(True), len(runs)
        interval = clopper_pearson(k, n, self._step.confidence) if n else None
        verdict, reasons = self._judge(k, n, unheard)
        last = self._last
        judged = None
        if last is not None:
            inner = self._inside or [self.bench.judge.corrected(last)]
            middle = round6(math.fsum(inner) / len(inner))
            judged = self.bench.judge.judge(last, self._limits, value=middle, conversions=inner[-10:])
            if max(inner) > 2.0 * max(min(inner), 5.0 * last.resolution):
                low, high = (format_value(x, "ohm", last.resolution) for x in (min(inner), max(inner)))
                reasons.append(f"contact resistance from {low} to {high}")
            if verdict is VerdictKind.PASS and judged.verdict is not VerdictKind.PASS:
                verdict = judged.verdict
        if self._dropouts:
            reasons.append(f"{self._dropouts} dropouts while held")
            if verdict is VerdictKind.PASS:
                verdict = VerdictKind.FAIL
        self.bench.before[self.step.id, self.item] = self.bench.before.get(
            (self.step.id, self.item), {"k": k, "runs": n}
        )
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
        return self._next_item()

    def _judge(self, k: int, n: int, unheard: int) -> tuple[VerdictKind, list[str]]:
        reasons: list[str] = []
        if k < n:
            reasons.append(f"{n - k} of {n} presses missed")
            first = [press.good is True for press in self._presses if press.good is not None]
            half = n // 2
            early, late = first[:half].count(False), first[n - half :].count(False)
            if half >= 3 and early != late:
                reasons.append(f"{early} in the first {half}, {late} in the last {half}")
            why = sorted({press.why for press in self._presses if press.good is False and press.why})
            reasons.extend(why)
        if unheard:
            reasons.append(f"{unheard} silent presses at the end are not counted: say fail, or again")
        before = self._earlier()
        if before is not None:
            was_k, was_n = before
            reasons.append(f"before cleaning {was_n - was_k} of {was_n} missed")
            if k == n and n and was_k < was_n:
                p = round6(fisher_exact(((was_k, was_n - was_k), (k, 0)), "less"))
                word = "changed" if p <= 1.0 - self._step.confidence else "better, not proved"
                reasons.append(f"{word} (p = {p:.3g})")
        if k < n:
            return VerdictKind.FAIL, reasons
        if unheard or n == 0:
            return VerdictKind.UNSURE, reasons
        return VerdictKind.PASS, reasons

    def _earlier(self) -> tuple[int, int] | None:
        if self._before is not None:
            return self._before.count(True), len(self._before)
        counted = self.bench.before.get((self.step.id, self.item))
        return None if counted is None else (int(counted["k"]), int(counted["runs"]))

    def _word(self, verdict: VerdictKind, reason: str) -> StrEnum:
        self.bench.give(self.item, verdict, reason=reason, limits=self._limits)
        return self._next_item()

    def _restart(self) -> None:
        self._presses = []
        self._counted = False
        self._inside = []
        self._dropouts = 0
        self._last = None
        self._fresh()
        self.bench.changed()
        self._ask_ready()

    def _next_item(self) -> StrEnum:
        self._at += 1
        while self._at < len(self._step.items) and self.bench.is_kept(self.step.id, self.item):
            self._at += 1
        if self._at >= len(self._step.items):
            return self._end()
        self._before = None
        self._restart()
        return S.READY

    def _end(self) -> StrEnum:
        self.deadline_s = None
        self.bench.touch.block()  # the tips may still be on: the next step wants a certain lift
        self.done = True
        return S.END
