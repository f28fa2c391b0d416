"""exercise: paced presses of a cover or interlock switch until a missed closure shows, and again after cleaning.

Unpowered. Tips stay across the contacts while the other hand presses. A press and a release last at least three
conversions each, so what is shorter (bounce) cannot be seen. The first presses are as found, since exercising cleans.

For a normally open switch a press that never closes reads like tips that slipped off, and like a bench with nobody at
it. Such a silent press counts as failed only where a closure comes after it, or by a word: `fail` for one, `missed` for
several at once, `yes` when the tool asks whether anybody is pressing. `again` says that the probes had slipped.
Whatever still goes on when its time is up, a closure or a release, is waited for: slow hands fail no switch.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from metercap.asks import Asks
from metercap.plankeys import ExerciseStep
from metercap.reading import Reading
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.exercise.closure import Contact, kind_of, resistance
from metercap.steps.exercise.paced import Paced
from metercap.steps.exercise.pressed import Pressed
from metercap.steps.exercise.table import GOING, TABLE, S
from metercap.steps.facts import ExerciseFacts
from metercap.steps.presses import BY_WORD, Presses, k_of_n, number_in

SILENT = 3
"""So many silent presses in a row raise the question whether anybody is pressing."""


class Exercise(Paced):
    """Paces the presses, and counts closures."""

    FIRST, END = S.READY, S.END
    AFTER_VERDICT = (S.CLEAN,)
    shows_contact = False
    TABLE = TABLE

    def __init__(self, step: ExerciseStep, bench: Bench) -> None:
        super().__init__(step, bench)
        self._from_s = 0.0
        self.fresh()

    def fresh(self) -> None:
        """Forget the switch before."""
        self._past = Pressed(self.bench.before.get((self.step.id, self.item), {}))
        self._asked = False
        self._new_round()
        self._presses, self._seen.dropouts = self._past.presses()
        if self._past.asks == "clean":
            self.state = S.CLEAN

    def _new_round(self) -> None:
        self._presses = Presses()
        self._seen.dropouts = 0
        self._inside: list[float] = []
        self._last: Reading | None = None
        self._unopened = False
        """A normally closed switch was pressed and has not opened: its closing adds nothing."""
        self._forget_press()

    # --- what the session asks

    @property
    def progress(self) -> tuple[int, int, int]:
        """Closures seen, presses counted, presses asked for."""
        return self._presses.counted[0], len(self._presses.all), self._step.presses

    def facts(self) -> ExerciseFacts:
        """The presses of this round, and of those before."""
        told: dict[str, Any] = {**self.told, **self._presses.told, "asked": self._step.presses}
        rounds, dropouts = tuple(self._past.rounds), self._seen.dropouts
        return ExerciseFacts(form=self._step.form, rounds=rounds, dropouts=dropouts, **told)

    def give(self, given: StrEnum, text: str = "", source: str = "") -> bool:
        """Work on an input, and keep what is counted by then: the first presses are never forgotten."""
        taken = super().give(given, text, source)
        if self.state not in (S.CLEAN, S.END):
            self._keep(self._presses)
        return taken

    def _keep(self, presses: Presses | None = None) -> None:
        if kept := self._past.kept(presses, self._seen.dropouts):
            self.bench.counted(self.item, kept)

    def decided(self) -> StrEnum:
        """Nothing is asked about this switch any more."""
        if self._past.asks:
            self._past.asks = ""
            self._keep(None if self.state is S.CLEAN else self._presses)
        return super().decided()

    def resume(self) -> None:
        """Prompt for what is open."""
        asks = {S.CLEAN: self._ask_clean, S.READY: self._ask_ready, S.ASK: self._ask_pressing}
        if self.state in asks:
            asks[S(self.state)]()
        else:
            self.state = self._ask(self.state is S.CLOSE)

    def blocked(self) -> None:
        """The press in hand is worth nothing; it is asked for anew."""
        self.deadline_s = None
        self._unopened = False
        self._forget_press()
        if self.state in GOING:
            self.state = S.READY

    def status(self) -> str:
        """How many presses, and how many closed."""
        good, done, asked = self.progress
        return f"{self.step.id}: {self.item}, {done} of {asked} presses done, {good} closed"

    # --- readings

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

    def first(self) -> StrEnum:
        """The first sign of the switch: it proves that the tips are on its contacts."""
        self._sort()
        if self._seen.last is not Contact.CLOSED:
            self._seen.forget()
        if not self._seen.is_closed:
            return S.READY
        self.bench.cue(CueKind.CONTACT, self.item)
        self._from_s = self.bench.t_s
        if self._step.form == "no":  # this closure is the first press
            return self._close_good()
        return self._ask(close=False)

    def tips_on(self) -> StrEnum:
        """The switch has shown nothing yet, and the operator says that the tips are on it: presses count from here."""
        self._from_s = self.bench.t_s
        return self._ask(close=self._step.form == "no")

    def closing(self) -> StrEnum:
        """A conversion while the contact should close."""
        self._sort()
        seen = self._seen
        if self._unopened and seen.is_open:  # the press came late: it did open
            self._presses.take_back()
            self._unopened = self._still = False
            seen.forget()
        if seen.is_closed and not self._too_soon():
            return self._close_good()
        if self._overdue and (seen.last is Contact.OPEN or seen.is_poor):
            return self._close_bad()
        return S.CLOSE

    def parting(self) -> StrEnum:
        """A conversion while the contact should open."""
        self._sort()
        seen = self._seen
        late = self._presses.silent > 0 and not self._unopened
        if late and seen.is_closed:  # the closure came after its time: it counts all the same
            self._inside.extend(seen.inside)
            self._presses.take_back()
            self._presses.add(True)
            seen.forget()
            self._still = late = False
        if seen.is_open and not self._too_soon():
            # Let go before it had lasted: neither a closure nor silent. A worn one may touch on its way up.
            if late and len(seen.values) > 1:
                self._presses.take_back()
            return self._go_on(close=True)
        if self._overdue and self._step.form == "nc" and seen.last is Contact.CLOSED:
            return self._did_not_open()
        return S.PART

    def not_closed(self) -> StrEnum:
        """Time is up, and the contact has not closed; what still goes on is waited for, and so is a meter that sends
        nothing."""
        self.deadline_s = None
        self._overdue = self._seen.last is not Contact.OPEN or self._stalled()
        return S.CLOSE if self._overdue else self._close_bad()

    def not_parted(self) -> StrEnum:
        """Time is up, and the contact has not opened."""
        self.deadline_s, self._overdue = None, True
        if self._step.form == "nc" and self._seen.last is Contact.CLOSED and not self._stalled():
            return self._did_not_open()
        # Still closed after the release: the next press could not be told from this one, so it waits.
        if self._step.form == "no" and self._seen.last is not Contact.OPEN:
            self.bench.cue(CueKind.WAITING, self.item)
        return S.PART

    def rested(self) -> StrEnum:
        """The pause is over."""
        return self._ask(close=self._step.form == "no")

    def asking(self) -> StrEnum:
        """A conversion while the tool asks whether anybody is pressing: what the switch does is an answer."""
        self._sort()
        if self._step.form == "nc":
            return self._ask(close=True) if self._seen.is_open else S.ASK
        if self._seen.last is Contact.OPEN:
            self._seen.forget()
        return self._close_good() if self._seen.is_closed else S.ASK

    # --- words

    def word_fail(self) -> StrEnum:
        """The last silent press was a failure: the operator felt it."""
        self._presses.fail()
        return self._judge_if_complete()

    def fail_closing(self) -> StrEnum:
        """The press in hand failed, where none before it is undecided."""
        if self._presses.silent:
            return self.word_fail()
        self._presses.add(False, BY_WORD)
        return self._go_on(close=False)

    def fail_parting(self) -> StrEnum:
        """The last press failed. A contact that stays closed though the switch was let go ends the round."""
        if self._overdue and self._step.form == "no" and self._seen.last is Contact.CLOSED:
            self._presses.spoil(f"did not open, {BY_WORD}")
            return self.judge_run()
        return self.word_fail()

    def word_missed(self) -> StrEnum:
        """So many presses showed nothing; where the tool asks, so many of the silent ones were made."""
        self._presses.missed(number_in(self.text))
        return self._answered() if self.state is S.ASK else self._judge_if_complete()

    def count_silent(self) -> StrEnum:
        """Yes, the tips were on and the switch was pressed: the silent presses are misses."""
        self._presses.decide(BY_WORD if self._step.form == "nc" else f"silent, {BY_WORD}")
        return self._answered()

    def word_again(self) -> StrEnum:
        """The probes had slipped: silent presses since the last closure are set aside."""
        self._presses.set_aside()
        self._unopened = False
        self._forget_press()
        self.state = S.READY
        self._ask_ready()
        return S.READY

    def cleaned(self) -> StrEnum:
        """Cleaned: exercise again; the rounds so far are before it."""
        self._past.asks = "again"
        self._new_round()
        self.state = S.READY
        self.bench.changed()
        self._ask_ready()
        return S.READY

    def skip(self) -> StrEnum:
        """Give up on this switch; what was counted stands in the reason."""
        if self.state is S.CLEAN:
            return self.decided()
        good, done, _ = self.progress
        return self.word(VerdictKind.UNSURE, f"skipped after {good} closures in {done} presses")

    # --- asking

    def _ask(self, close: bool) -> StrEnum:
        self._forget_press()
        self._asked_s = self.bench.t_s
        # Where the contact is already as it should become, a finger that moves shows nothing: it gets its time.
        self._still = self._seen.last is (Contact.CLOSED if close else Contact.OPEN)
        press = close == (self._step.form == "no")
        good, done, asked = self.progress
        action = Do.PRESS if press else Do.RELEASE
        verb = "press and hold" if press else "release"
        text = f"{self.item}: {verb} ({done} of {asked} presses done, {good} closed)"
        self.say(action, text, done=done, of=asked, closed=good)
        self.deadline_s = at(self.bench.t_s + self._phase_s())
        return S.CLOSE if close else S.PART

    def _ask_ready(self) -> None:
        text = "then press and hold" if self._step.form == "no" else "released"
        ask = "if nothing shows, say yes with the tips on it, or missed and how many"
        told = self._presses.told_before
        say = f"{self.place}: {told}hold both tips across its contacts, {text}; keep the tips on; {ask}"
        self.say(Do.PROBE, say, asks=Asks.ACROSS, press=self._step.form == "no", keep=True)
        self.arm()

    def _ask_pressing(self) -> None:
        self.deadline_s = None
        n = self._presses.silent
        ask = "pressing it, tips on? yes counts them as missed, missed tells how many, again if the tips had slipped"
        self.say(Do.ANSWER, f"{self.item}: {ask} ({n} presses showed nothing)", asks=Asks.PRESSING)

    def _ask_clean(self) -> None:
        in_round = f" in round {len(self._past.rounds)}" if len(self._past.rounds) > 1 else ""
        text = f"{self.item} failed{in_round}: clean it, then say yes to exercise it again; no leaves it"
        self.say(Do.ANSWER, text, asks=Asks.CLEANED)

    def _close_good(self) -> StrEnum:
        """A closure long enough."""
        if self._unopened:
            self._unopened = False
        else:
            self._inside.extend(self._seen.inside)
            self._presses.add(True)
        return self._go_on(close=False)

    def _close_bad(self) -> StrEnum:
        """No closure, or none that counts."""
        if self._unopened:
            self._unopened = False
        elif self._seen.is_poor:
            self._presses.add(False, "high contact resistance")
        elif self._seen.values or self._seen.poor:
            self._presses.add(False, "too short a closure")
        else:
            self._presses.add(None, "" if self._step.form == "no" else "did not close")
        return self._go_on(close=False)

    def _did_not_open(self) -> StrEnum:
        """A normally closed contact that stays closed: the switch is worn, or nobody pressed it."""
        self._presses.add(None, "did not open")
        self._unopened = True
        return self._go_on(close=True)

    @property
    def _complete(self) -> bool:
        return len(self._presses.all) >= self._step.presses

    def _judge_if_complete(self) -> StrEnum:
        return self.judge_run() if self._complete and not self._presses.silent else self.state

    def _answered(self) -> StrEnum:
        """The silent presses are decided: go on, or judge."""
        return self.judge_run() if self._complete else self._ask(close=self._step.form == "no")

    def _go_on(self, close: bool) -> StrEnum:
        """After a closure (or none) comes the opening, and the other way round; a press ends with its release."""
        if close != (self._step.form == "no"):
            return self._ask(close)
        silent = self._presses.silent
        if silent and (self._complete or (silent >= SILENT and not self._asked)):
            self._asked = True
            self._forget_press()
            self.state = S.ASK
            self._ask_pressing()
            return S.ASK
        if self._complete:
            return self.judge_run()
        if self._step.rest_s:
            self._forget_press()
            self.deadline_s = at(self.bench.t_s + self._step.rest_s)
            return S.REST
        return self._ask(close)

    # --- the end of a switch

    def judge_run(self) -> StrEnum:
        """The last press is over: give the verdict, and offer to clean a switch that failed."""
        self.deadline_s = None
        k, n = self._presses.counted
        verdict, reasons = self._presses.judge(self._past.rounds, self._step.confidence)
        judged = None
        if self._last is not None:
            judged, wide = resistance(self.bench.judge, self._limits, self._last, self._inside)
            reasons += wide
        if verdict is VerdictKind.PASS and judged is not None and judged.verdict is not VerdictKind.PASS:
            verdict = judged.verdict
        if self._seen.dropouts:
            reasons.append(f"{self._seen.dropouts} dropouts while held")
            verdict = VerdictKind.FAIL if verdict is VerdictKind.PASS else verdict
        self._past.rounds.append((k, n))
        self._past.asks = "clean" if verdict is VerdictKind.FAIL else ""
        self._keep()
        self.bench.give(
            self.item,
            verdict,
            judged=judged,
            limits=self._limits,
            reason="; ".join(reasons),
            n=len(self._inside),
            from_s=self._from_s,
            settled=True,
            **k_of_n(k, n, self._step.confidence),
        )
        if verdict is VerdictKind.FAIL:
            self._ask_clean()
            return S.CLEAN
        return self.decided()

    def finish(self) -> StrEnum:
        """End the step; the tips may still be on, so the next one wants a certain lift."""
        self.bench.touch.block()
        return super().finish()
