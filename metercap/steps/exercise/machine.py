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
from metercap.records import Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.counts import k_of_n, number_in
from metercap.steps.exercise.closure import Contact, drift, resistance
from metercap.steps.exercise.halves import Halves
from metercap.steps.exercise.presses import BY_WORD, Pressed, Presses
from metercap.steps.exercise.table import TABLE, ExerciseSign, ExerciseState
from metercap.steps.facts import ExerciseFacts
from metercap.steps.listed import ListSign
from metercap.steps.machine import Given

SILENT = 3
"""So many silent presses in a row raise the question whether anybody is pressing."""


class Exercise(Halves):
    """Paces the presses, and counts closures."""

    NEXT = ExerciseState.NEXT
    AFTER_VERDICT = (ExerciseState.CLEAN,)
    shows_contact = False
    TABLE = TABLE

    def __init__(self, step: ExerciseStep, bench: Bench) -> None:
        super().__init__(step, bench)
        self.fresh()

    def fresh(self) -> None:
        """Forget the switch before."""
        self._past = Pressed(self.bench.before.get((self.step.id, self.item), {}))
        self._asked = False
        self._new_round()
        self._presses, self._seen.dropouts = self._past.presses()

    def _new_round(self) -> None:
        self._presses = Presses()
        self._seen.dropouts = 0
        self._inside, self._by_press, self._last, self._unopened = [], [], None, False
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
        if given is not Given.BLOCKED and self.state not in (ExerciseState.CLEAN, ExerciseState.END):
            self._keep(self._presses)
        return taken

    def _keep(self, presses: Presses | None = None) -> None:
        if kept := self._past.kept(presses, self._seen.dropouts):
            self.bench.counted(self.item, kept)

    def decided(self) -> None:
        """Nothing is asked about this switch any more."""
        if self._past.asks:
            self._past.asks = ""
            self._keep(None if self.state is ExerciseState.CLEAN else self._presses)
        super().decided()

    def resume(self) -> None:
        """Prompt for what is open."""
        if self.state is ExerciseState.CLOSE:
            self._ask(close=True)
        elif self.state is ExerciseState.PART:
            self._ask(close=False)
        elif self.state is ExerciseState.CLEAN:
            self._ask_clean()
        elif self.state is ExerciseState.ASK:
            self._ask_pressing()
        else:
            self._ask_ready()

    def forget(self) -> None:
        """The press in hand is worth nothing; it is asked for anew."""
        self.deadline_s = None
        self._unopened = False
        self._forget_press()

    def status(self) -> str:
        """How many presses, and how many closed."""
        good, done, asked = self.progress
        return f"{self.step.id}: {self.item}, {done} of {asked} presses done, {good} closed"

    # --- words

    def word_fail(self) -> ExerciseSign | None:
        """The last silent press was a failure: the operator felt it."""
        self._presses.fail()
        return self._all_made

    def fail_closing(self) -> ExerciseSign | None:
        """The press in hand failed, where none before it is undecided."""
        return self.word_fail() if self._presses.silent else ExerciseSign.FAILED

    def count_failed(self) -> None:
        """The press in hand failed, by the operator's word."""
        self._presses.add(False, BY_WORD)

    def fail_parting(self) -> ExerciseSign | None:
        """The last press failed. A contact that stays closed though the switch was let go ends the round."""
        stuck = self._overdue and self._step.form == "no" and self._seen.last is Contact.CLOSED
        return ExerciseSign.STUCK if stuck else self.word_fail()

    def word_missed(self) -> ExerciseSign | None:
        """So many presses showed nothing."""
        self._take_missed()
        return self._all_made

    def _take_missed(self) -> None:
        n = number_in(self.text)
        self._presses.missed(n)
        self.bench.note(f"{n} missed by the operator's word; {self.status()}")

    @property
    def _all_made(self) -> ExerciseSign | None:
        return ExerciseSign.ALL if self._complete and not self._presses.silent else None

    @property
    def _complete(self) -> bool:
        return len(self._presses.all) >= self._step.presses

    def count_silent(self) -> ExerciseSign:
        """Yes, the tips were on and the switch was pressed: the silent presses are misses."""
        self._presses.decide(BY_WORD if self._step.form == "nc" else f"silent, {BY_WORD}")
        return ExerciseSign.ALL if self._complete else ExerciseSign.MORE

    def count_missed(self) -> ExerciseSign:
        """So many of the silent ones were made."""
        self._take_missed()
        return ExerciseSign.ALL if self._complete else ExerciseSign.MORE

    def word_again(self) -> None:
        """The probes had slipped: silent presses since the last closure are set aside."""
        self._presses.set_aside()
        self._unopened = False
        self._forget_press()

    def cleaned(self) -> None:
        """Cleaned: exercise again; the rounds so far are before it."""
        self._past.asks = "again"
        self._new_round()
        self.bench.changed()

    def fixed(self) -> None:
        """Cleaned, or mended otherwise, as the operator says."""
        self.bench.note(f"{self.item}: fixed: {self.text or 'cleaned'}")
        self.cleaned()

    def replaced(self) -> None:
        """A new switch is in: what was pressed so far was the old one, a round of its own."""
        counted = self._presses.counted
        if self.state is not ExerciseState.CLEAN and counted[1]:
            self._past.rounds.append(counted)
        self.bench.replaced(self.item, self.text or self.item)
        self.cleaned()

    def skip(self) -> None:
        """Give up on this switch; what was counted stands in the reason."""
        good, done, _ = self.progress
        self.word(VerdictKind.UNSURE, f"skipped after {good} closures in {done} presses")

    def stands(self, item: str) -> bool:
        """Return whether a verdict holds: not that of a switch which was cleaned since."""
        cleaned = self.bench.before.get((self.step.id, item), {}).get("asks") == "again"
        return super().stands(item) and not cleaned

    def skip_step(self) -> None:
        """What is not decided becomes unsure."""
        super().skip_step()
        self.lift_off()

    # --- from press to press

    def after_closing(self) -> ExerciseSign:
        """A closing half is a press, or its release."""
        return ExerciseSign.RELEASE if self._step.form == "no" else ExerciseSign.OVER

    def after_parting(self) -> ExerciseSign:
        """An opening half is a release, or a press."""
        return ExerciseSign.RELEASE if self._step.form == "nc" else ExerciseSign.OVER

    def after_press(self) -> ExerciseSign:
        """Find what follows a press and its release."""
        silent = self._presses.silent
        if silent and (self._complete or (silent >= SILENT and not self._asked)):
            return ExerciseSign.SILENT
        if self._complete:
            return ExerciseSign.ALL
        return ExerciseSign.PAUSE if self._step.rest_s else ExerciseSign.MORE

    def doubt(self) -> None:
        """Nobody may be pressing: it is asked once, and at the end."""
        self._asked = True
        self._forget_press()

    def rest(self) -> None:
        """A pause."""
        self._forget_press()
        self.deadline_s = at(self.bench.t_s + (self._step.rest_s or 0.0))

    def how_pressed(self) -> ExerciseSign:
        """Whether a press closes the contact, or opens it."""
        return ExerciseSign.CLOSES if self._step.form == "no" else ExerciseSign.OPENS

    # --- asking

    def _ask(self, *, close: bool) -> None:
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

    # --- the end of a switch

    def judge_stuck(self) -> None:
        """The contact stays closed though the switch was let go: that ends the round."""
        self._presses.spoil(f"did not open, {BY_WORD}")
        self.judge_run()

    def judge_run(self) -> None:
        """The last press is over: give the verdict."""
        self.deadline_s = None
        k, n = self._presses.counted
        verdict, reasons = self._presses.judge(self._past.rounds, self._step.confidence)
        judged = None
        if self._last is not None:
            judged, wide = resistance(self.bench.judge, self._limits, self._last, self._inside)
            reasons += wide + drift(self._by_press, self._step.confidence)
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

    def to_clean(self) -> ExerciseSign:
        """A switch that failed may be cleaned."""
        return ExerciseSign.FAULTY if self._past.asks == "clean" else ExerciseSign.DONE

    def what_next(self) -> StrEnum:
        """Find the next switch; it may have failed in an interrupted session, and wait for its answer."""
        n = self._next
        if n is None:
            return ListSign.NONE
        kept = self.bench.before.get((self.step.id, self._items[n].name), {})
        return ExerciseSign.ASKED if Pressed(kept).asks == "clean" else ListSign.ITEM

    def lift_off(self) -> None:
        """The tips may still be on, so the next step wants a certain lift."""
        self.bench.touch.block()
