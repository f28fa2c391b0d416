"""trials: repeated starts of an intermittent fault, before a fix and after it, until the passes are evidence.

Two things are said. *changed*: the passes after the fix are too many for chance, by Fisher's one-sided test against the
runs before it. *reliable*: so many passes in a row that at the plan's confidence the unit starts with at least the
plan's reliability (success run). The first alone is "better, not proved". A failure after the fix ends the run as not
fixed, and starting anew needs a new fix: the word `fixed`; no other remark counts as one.

Who tries often enough is lucky once. So every attempt counts: each further one has to show more
(`attempt_confidence`), and what is claimed in the end is the confidence of the whole history (`history_confidence`).
"""

from __future__ import annotations

import math
from enum import StrEnum

from metercap.asks import Asks
from metercap.metrology.proportion import (
    attempt_confidence,
    history_confidence,
    passes_to_show_change,
    success_run,
)
from metercap.plankeys import TrialsStep
from metercap.records import Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.counts import k_of_n
from metercap.steps.facts import TrialsFacts
from metercap.steps.machine import Cells, Given, Look, Machine, Row, table

TWICE_S = 1.0
"""A pedal pressed again so soon was pressed twice: no unit is switched off, started and seen to work in a second
(common practice, no source)."""
BY_FOOT = ("pedal", "key")
"""Sources that a foot may have pressed twice: many a pedal types a key."""


class TrialsState(StrEnum):
    """States of trials."""

    OFF = "off"
    """Waiting out the cold time."""
    RUN = "run"
    """A start: did it pass?"""
    FIX = "fix"
    """Failed: waiting for the word that says what was mended."""
    COUNTED = "counted"
    """A start was counted."""
    END = "end"


class TrialsSign(StrEnum):
    """What a word turns out to be, and what follows a start."""

    TWICE = "pressed twice"
    PASSED = "a start passed"
    FAILED = "a start failed"
    MENDED = "after a failure"
    NOTHING_FAILED = "nothing failed yet"
    TO_MEND = "to be mended"
    PROVED = "all runs made"
    COLD = "cold time comes"
    MORE = "the next start comes"


_State, _Sign = TrialsState, TrialsSign

_STOP: Cells = {
    Given.SKIP: Row("decide", _State.END),
    Given.SKIP_STEP: Row("decide", _State.END),
    Given.ABSENT: Row("absent", _State.END),
}
_FIXED: Cells = {
    Given.FIXED: Look("what_fixed", (_Sign.MENDED, _Sign.NOTHING_FAILED)),
    _Sign.MENDED: Row("fixed", _State.RUN, asks=True),
    _Sign.NOTHING_FAILED: Row("nothing_failed", None),
}


class Trials(Machine):
    """Counts starts by the words pass and fail (a pedal)."""

    shows_contact = False
    AFTER_VERDICT = (TrialsState.FIX,)
    TABLE = table(
        {
            _State.OFF: {
                **_STOP,
                **_FIXED,
                Given.DUE: Row("ready", _State.RUN, asks=True),
                Given.PASS: Row("not_yet", None),
                Given.FAIL: Row("not_yet", None),
                Given.YES: Row("not_yet", None),
                Given.BACK: Row("back", _State.RUN, asks=True),
                Given.AGAIN: Row("back", _State.RUN, asks=True),
            },
            _State.RUN: {
                **_STOP,
                **_FIXED,
                Given.PASS: Look("passes", (_Sign.PASSED, _Sign.TWICE)),
                Given.FAIL: Look("fails", (_Sign.FAILED, _Sign.TWICE)),
                _Sign.PASSED: Row("count_passed", _State.COUNTED),
                _Sign.FAILED: Row("count_failed", _State.COUNTED),
                _Sign.TWICE: Row("counted_once", None),
                Given.YES: Row("neither", None),
                Given.NO: Row("neither", None),
                Given.BACK: Row("back", None, asks=True),
                Given.AGAIN: Row("back", None, asks=True),
            },
            _State.FIX: {
                **_FIXED,
                Given.NO: Row("leave", _State.END),
                Given.BACK: Row("back", _State.RUN, asks=True),
                Given.SKIP: Row("leave", _State.END),
                Given.SKIP_STEP: Row("leave", _State.END),
                Given.ABSENT: Row("absent", _State.END),
            },
            _State.COUNTED: {
                Given.NOW: Look("after_start", (_Sign.TO_MEND, _Sign.PROVED, _Sign.COLD, _Sign.MORE)),
                _Sign.TO_MEND: Row("decide", _State.FIX, asks=True),
                _Sign.PROVED: Row("decide", _State.END),
                _Sign.COLD: Row("cool", _State.OFF, asks=True),
                _Sign.MORE: Row("ready", _State.RUN, asks=True),
            },
        }
    )

    def __init__(self, step: TrialsStep, bench: Bench) -> None:
        super().__init__(step, bench, TrialsState.RUN)
        self._step = step
        earlier = bench.before.get((step.id, step.id), {})
        passes, runs = int(earlier.get("k", 0)), int(earlier.get("runs", 0))
        self._before: list[bool] = [True] * passes + [False] * (runs - passes)
        self._fix = str(earlier.get("fix", ""))
        self._tries: list[int] = [int(n) for n in earlier.get("tries", ())]
        """How many passes each earlier attempt would have had to show: a fix that failed, or was given up."""
        self._cold = bool(earlier.get("cold"))
        """The unit is off, and not cold yet."""
        self._counted_s = -math.inf
        once = success_run(step.reliability, step.confidence)
        # Runs before a fix that would prove the unit good, had none failed, are an attempt like any other.
        self._first = [step.runs] if step.runs >= once else []
        self._after: list[bool] = [True] * int(earlier.get("after", 0))
        if len(self._after) >= self._needed:
            self._after = []  # proved in an earlier session: now it is shown once more

    @property
    def _needed(self) -> int:
        """Passes in a row that this attempt has to show."""
        attempt = 1 + len(self._tries) + (len(self._first) if self._fix else 0)
        return success_run(self._step.reliability, attempt_confidence(self._step.confidence, attempt))

    def start(self) -> None:
        """Ask for the first start; where earlier sessions left failures and no fix, for the fix."""
        self.bench.changed()
        n, failures = len(self._before), self._before.count(False)
        if self._fix:
            self.bench.note(f"{self.step.id}: before the fix {failures} of {n} starts failed")
        elif n >= self._step.runs:
            if failures:
                self.state = TrialsState.FIX
            else:
                self._before = []  # nothing failed then: it is counted anew
        self.bench.calls.pop(self.step.id, None)
        off_until_s = self.bench.waits.pop(self.step.id, at(self.bench.t_s + (self._step.off_s or 0.0)))
        if self._cold and self.state is TrialsState.RUN and off_until_s > self.bench.t_s:
            # Of one that was interrupted nobody knows whether the unit was off meanwhile: it begins anew.
            self.state, self.deadline_s = TrialsState.OFF, off_until_s
        self.resume()

    @property
    def until_s(self) -> float | None:
        """When the unit is cold."""
        return self.deadline_s if self.state is TrialsState.OFF else None

    def be_left(self) -> None:
        """The cold time runs on while other things are done."""
        if self.state is TrialsState.OFF and self.deadline_s is not None:
            self.bench.waits[self.step.id] = self.bench.calls[self.step.id] = self.deadline_s

    def resume(self) -> None:
        """Prompt for the wait, the start or the fix."""
        if self.state is TrialsState.FIX:
            text = f"{self._failed()}: mend it, then say fixed and what was done; no ends the trials"
            self.say(Do.CONFIRM, text, asks=Asks.MENDED)
        elif self.state is TrialsState.OFF:
            text = f"switch off and let it cool for {self._step.off_s:g} s"
            self.say(Do.WAIT, text, power="off", until_s=self.deadline_s)
        else:
            text = f"{self._evidence()}; {self.step.say or 'start it, cover closed'}; pass or fail?"
            self.say(Do.ANSWER, text, asks=Asks.STARTED)

    def status(self) -> str:
        """How many starts, and what they prove."""
        return f"{self.step.id}: {self._failed() if self.state is TrialsState.FIX else self._evidence()}"

    def facts(self) -> TrialsFacts:
        """The starts so far and what they prove."""
        runs, to_change = self._runs, self._to_change() if self._fix else None
        return TrialsFacts(
            until_s=self.deadline_s if self.state is TrialsState.OFF else None,
            passed=runs.count(True),
            runs=len(runs),
            asked=self._needed if self._fix else self._step.runs,
            marks=tuple(runs),
            fix=self._fix,
            mending=self.state is TrialsState.FIX,
            changed=bool(self._fix) and self._changed()[0],
            more_to_change=None if to_change is None else max(0, to_change - len(runs)),
            more_to_reliable=max(0, self._needed - len(runs)),
            attempt=1 + len(self._tries),
            reliability=self._step.reliability,
            confidence=self._step.confidence,
            proved=self._failed() if self.state is TrialsState.FIX else self._evidence(),
        )

    def ready(self) -> None:
        """The cold time is over, or there is none."""
        self.deadline_s = None
        self._cold = False
        self._keep()

    def cool(self) -> None:
        """The unit is off until it is cold."""
        self.deadline_s = at(self.bench.t_s + (self._step.off_s or 0.0))
        self._cold = True
        self._keep()

    def not_yet(self) -> None:
        """A start of a unit that is still warm, or of one that is off, is no start."""
        left_s = max(0.0, (self.deadline_s or 0.0) - self.bench.t_s)
        self.bench.note(f"not started yet: {left_s:.1f} s to go")

    def neither(self) -> None:
        """`yes` may mean that it was started, `no` that it was not yet."""
        self.bench.note("say pass or fail: yes and no count nothing here")

    def back(self) -> None:
        """Take the last start back."""
        if self._runs:
            self._runs.pop()
            self._keep()
        self.ready()

    @property
    def has_behind(self) -> bool:
        """True where a start can be taken back."""
        return bool(self._runs)

    def what_fixed(self) -> TrialsSign:
        """A fix is held against failures before it."""
        return TrialsSign.MENDED if self._fix or False in self._before else TrialsSign.NOTHING_FAILED

    def nothing_failed(self) -> None:
        """There are none."""
        self.bench.note(f"{self.step.id}: no start has failed yet, so there is nothing to hold a fix against")

    def fixed(self) -> None:
        """What was done, by the operator's word: the runs from here on are those after this fix."""
        if self._fix and self._after:  # it failed, or was given up: its runs are runs before the next fix
            self._tries.append(self._needed)
            self._before.extend(self._after)
        self._fix, self._after = self.text or "a fix", []
        self._keep()
        self.bench.note(f"{self.step.id}: runs after the fix begin: {self._fix}")
        self.ready()

    def absent(self) -> None:
        """Nothing to start."""
        self.bench.give(self.step.id, VerdictKind.ABSENT)

    # --- counting

    @property
    def _runs(self) -> list[bool]:
        """The runs of the present attempt."""
        return self._after if self._fix else self._before

    @property
    def _is_twice(self) -> bool:
        return self.said_by in BY_FOOT and self.bench.t_s < self._counted_s + TWICE_S

    def passes(self) -> TrialsSign:
        """A pedal pressed twice counts once."""
        return TrialsSign.TWICE if self._is_twice else TrialsSign.PASSED

    def fails(self) -> TrialsSign:
        """A pedal pressed twice counts once."""
        return TrialsSign.TWICE if self._is_twice else TrialsSign.FAILED

    def counted_once(self) -> None:
        """The second press of the pedal."""
        self.bench.note("counted a moment ago: one start counts once")

    def count_passed(self) -> None:
        """A start that passed."""
        self._count(passed=True)

    def count_failed(self) -> None:
        """A start that failed."""
        self._count(passed=False)

    def _count(self, *, passed: bool) -> None:
        self._counted_s = self.bench.t_s
        self._runs.append(passed)
        self._keep()

    def after_start(self) -> TrialsSign:
        """Find what follows: a failure after the fix ends the attempt, one before it does when all runs are made."""
        made = len(self._runs) >= (self._needed if self._fix else self._step.runs)
        if False in self._runs and (self._fix or made):
            return TrialsSign.TO_MEND
        if made:
            return TrialsSign.PROVED
        return TrialsSign.COLD if self._step.off_s else TrialsSign.MORE

    def _keep(self) -> None:
        """Remember what was counted for a later session of this unit."""
        kept = {
            "k": self._before.count(True),
            "runs": len(self._before),
            "fix": self._fix,
            "after": self._after.count(True),
            "tries": list(self._tries),
        }
        if self._cold:
            kept["cold"] = True
        self.bench.counted(self.step.id, kept)

    def _failed(self) -> str:
        if self._fix:
            return "not fixed"
        return f"{self._before.count(False)} of {len(self._before)} starts failed"

    def _evidence(self) -> str:
        """Return what the runs so far say: the finding in two or three words, a colon, and what is missing."""
        if not self._fix:
            n, failures = len(self._before), self._before.count(False)
            return f"run {n + 1} of {self._step.runs}: {failures} failed so far"
        n = len(self._after)
        changed, more = self._changed()
        head = "better, not proved" if changed else "no proof yet"
        left = self._needed - n
        return f"{head}: {n} passed after the fix, {more}{left} more in a row for reliable{self._counting()}"

    def _changed(self) -> tuple[bool, str]:
        """Return whether the passes after the fix show a change, and what is missing, in words."""
        to_change = self._to_change()
        left = 0 if to_change is None else to_change - len(self._after)
        return to_change is not None and left <= 0, f"{left} more for changed, " if left > 0 else ""

    def _to_change(self) -> int | None:
        failures = self._before.count(False)
        confidence = attempt_confidence(self._step.confidence, 1 + len(self._tries))
        return passes_to_show_change(failures, len(self._before), confidence) if failures else None

    def _counting(self) -> str:
        """Say that there were attempts before this one, which it has to make up for."""
        return f" (attempt {1 + len(self._tries)}, so it takes more)" if self._tries else ""

    def decide(self) -> None:
        """Give the verdict on the present attempt."""
        self.deadline_s = None
        k, n = self._runs.count(True), len(self._runs)
        verdict, reason = self._judge(k, n)
        self.bench.give(self.step.id, verdict, reason=reason, **k_of_n(k, n, self._step.confidence))

    def leave(self) -> None:
        """Not mended now: it failed, in this session's file too where the starts were an earlier one's."""
        if (self.step.id, self.step.id) not in self.bench.verdicts:
            self.decide()

    def _judge(self, k: int, n: int) -> tuple[VerdictKind, str]:
        needed = self._needed
        if not self._fix:
            goal = self._goal([needed])
            if k < n:
                return VerdictKind.FAIL, f"{n - k} of {n} starts failed"
            if n >= needed:
                return VerdictKind.PASS, f"reliable: {n} starts in a row, {goal}"
            return VerdictKind.UNSURE, f"{n} starts, none failed: {needed} in a row would show {goal}"
        failures, before = self._before.count(False), len(self._before)
        was = f"before the fix {failures} of {before} failed"
        if k < n:
            return VerdictKind.FAIL, f"not fixed: failed at run {n} after the fix; {was}"
        changed, more = self._changed()
        goal = self._goal([*self._first, *self._tries, needed])
        if n >= needed:
            word = "changed and reliable" if changed else "reliable, but no change is proved"
            return VerdictKind.PASS, f"{word}: {n} starts in a row, {goal}; {was}"
        if changed:
            return VerdictKind.UNSURE, f"better, not proved: changed, but {needed - n} more starts for {goal}; {was}"
        return VerdictKind.UNSURE, f"no proof: {n} starts after the fix, {more}{needed - n} more for {goal}; {was}"

    def _goal(self, attempts: list[int]) -> str:
        """Say the reliability and the confidence; after more attempts than one that of all of them together."""
        if len(attempts) == 1:
            return f"{self._step.reliability:g} at {100 * self._step.confidence:g} %"
        percent = 100.0 * history_confidence(self._step.reliability, attempts)
        return f"{self._step.reliability:g} at {percent:.3g} %, all {len(attempts)} attempts counted"
