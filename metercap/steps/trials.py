"""trials: repeated starts of an intermittent fault, before a fix and after it, until the passes are evidence.

Two things are said. *changed*: the passes after the fix are too many for chance, by Fisher's one-sided test against the
runs before it. *reliable*: so many passes in a row that at the plan's confidence the unit starts with at least the
plan's reliability (success run). The first alone is "better, not proved". A failure after the fix ends the run as not
fixed, and starting anew needs a new fix noted.
"""

from __future__ import annotations

from enum import StrEnum

from metercap.metrology.proportion import clopper_pearson, passes_to_show_change, success_run
from metercap.records import Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.keys import Seconds, Share, StepBase
from metercap.steps.machine import Given, Machine, Row, words_rows


class TrialsStep(StepBase, frozen=True, tag="trials", kw_only=True):
    """Keys of a `trials` step. `runs` before a fix; `off_s` is how long the unit is off and cools between two."""

    runs: int = 20
    off_s: Seconds | None = None
    confidence: Share = 0.95
    reliability: Share = 0.90


class S(StrEnum):
    """States of trials."""

    OFF = "off"
    """Waiting out the cold time."""
    RUN = "run"
    """A start: did it pass?"""
    FIX = "fix"
    """Failed: waiting for a fix to be noted."""
    END = "end"


class Trials(Machine):
    """Counts starts by the words pass and fail (a pedal)."""

    shows_contact = False
    TABLE = {  # noqa: RUF012
        (S.OFF, Given.DUE): Row("ready", (S.RUN,)),
        (S.OFF, Given.YES): Row("ready", (S.RUN,)),
        **words_rows(
            (S.OFF, S.RUN),
            {
                Given.PASS: Row("passed", (S.OFF, S.RUN, S.FIX, S.END)),
                Given.FAIL: Row("failed", (S.OFF, S.RUN, S.FIX)),
                Given.BACK: Row("back", (S.RUN,)),
                Given.AGAIN: Row("back", (S.RUN,)),
            },
        ),
        (S.RUN, Given.YES): Row("passed", (S.OFF, S.RUN, S.FIX, S.END)),
        (S.RUN, Given.NO): Row("failed", (S.OFF, S.RUN, S.FIX)),
        (S.FIX, Given.NO): Row("stop", (S.END,)),
        (S.FIX, Given.BACK): Row("back", (S.RUN,)),
        **words_rows((S.OFF, S.RUN, S.FIX), {Given.NOTE: Row("fixed", (S.OFF, S.RUN, S.FIX))}),
        **words_rows(
            (S.OFF, S.RUN, S.FIX),
            {
                Given.SKIP: Row("stop", (S.END,)),
                Given.SKIP_STEP: Row("stop", (S.END,)),
                Given.ABSENT: Row("absent", (S.END,)),
            },
        ),
    }

    def __init__(self, step: TrialsStep, bench: Bench) -> None:
        super().__init__(step, bench, S.RUN)
        self._step = step
        self._needed = success_run(step.reliability, step.confidence)
        earlier = bench.before.get((step.id, step.id), {})
        self._before: list[bool] = [True] * int(earlier.get("k", 0)) + [False] * int(
            earlier.get("runs", 0) - earlier.get("k", 0)
        )
        self._after: list[bool] = []
        self._fix = "noted in an earlier session" if self._before else ""

    def start(self) -> None:
        """Ask for the first start."""
        self.bench.changed()
        if self._fix:
            n, failures = len(self._before), self._before.count(False)
            self.bench.note(f"{self.step.id}: before the fix, in an earlier session, {failures} of {n} starts failed")
        self.resume()

    def resume(self) -> None:
        """Prompt for the wait, the start or the fix."""
        if self.state is S.FIX:
            self.say(Do.CONFIRM, "not fixed: mend it, then note what was done to go on; no ends the trials")
        elif self.state is S.OFF:
            self.say(Do.WAIT, f"switch off and let it cool for {self._step.off_s:g} s")
        else:
            self.say(Do.ANSWER, f"{self._evidence()}: {self.step.say or 'start it, cover closed'}; pass or fail?")

    def status(self) -> str:
        """How many starts, and what they prove."""
        return f"{self.step.id}: {self._evidence()}"

    def ready(self) -> StrEnum:
        """The cold time is over."""
        self.deadline_s = None
        self.state = S.RUN
        self.resume()
        return S.RUN

    def passed(self) -> StrEnum:
        """A start that passed."""
        return self._count(True)

    def failed(self) -> StrEnum:
        """A start that failed."""
        return self._count(False)

    def back(self) -> StrEnum:
        """Take the last start back."""
        runs = self._after if self._fix else self._before
        if runs:
            runs.pop()
        return self.ready()

    def fixed(self) -> StrEnum:
        """A note: what was done. After failures it begins the runs after the fix; otherwise it is a remark only."""
        if self._fix and self.state is not S.FIX:
            return self.state
        if not self._fix and False not in self._before:
            return self.state
        if self._fix:  # a failed fix: its runs are runs before the next one
            self._before.extend(self._after)
        self._fix, self._after = self.text or "noted", []
        self._keep()
        self.bench.note(f"{self.step.id}: runs after the fix begin: {self._evidence()}")
        return self.ready()

    def stop(self) -> StrEnum:
        """End with what there is."""
        if self.state is not S.FIX:
            self._decide()
        self.deadline_s = None
        self.done = True
        return S.END

    def absent(self) -> StrEnum:
        """Nothing to start."""
        self.bench.give(self.step.id, VerdictKind.ABSENT)
        self.deadline_s = None
        self.done = True
        return S.END

    # --- counting

    def _count(self, passed: bool) -> StrEnum:
        runs = self._after if self._fix else self._before
        runs.append(passed)
        self._keep()
        if self._fix:
            if not passed:
                self._decide()
                return self._to_fix()
            if len(self._after) >= self._needed:
                self._decide()
                self.deadline_s = None
                self.done = True
                return S.END
        elif len(self._before) >= self._step.runs:
            self._decide()
            if False in self._before:
                return self._to_fix()
            self.deadline_s = None
            self.done = True
            return S.END
        return self._next()

    def _next(self) -> StrEnum:
        if self._step.off_s:
            self.state = S.OFF
            self.deadline_s = at(self.bench.t_s + self._step.off_s)
        else:
            self.state = S.RUN
            self.deadline_s = None
        self.resume()
        return self.state

    def _to_fix(self) -> StrEnum:
        self.deadline_s = None
        self.state = S.FIX
        self.resume()
        return S.FIX

    def _keep(self) -> None:
        """Remember the counts before the fix for a later session of this unit."""
        self.bench.before[self.step.id, self.step.id] = {"k": self._before.count(True), "runs": len(self._before)}

    def _evidence(self) -> str:
        """Return what the runs so far say, in one line."""
        if not self._fix:
            n, failures = len(self._before), self._before.count(False)
            return f"run {n + 1} of {self._step.runs}, {failures} failed so far"
        n = len(self._after)
        to_change = self._to_change()
        parts = [f"{n} passed after the fix"]
        if to_change is None:
            parts.append("no failure before it to compare with")
        elif n < to_change:
            parts.append(f"no proof yet, {to_change - n} more for changed")
        else:
            parts.append("changed")
        if n < self._needed:
            parts.append(f"{self._needed - n} more for reliable")
        return ", ".join(parts)

    def _to_change(self) -> int | None:
        failures = self._before.count(False)
        return passes_to_show_change(failures, len(self._before), self._step.confidence) if failures else None

    def _decide(self) -> None:
        runs = self._after if self._fix else self._before
        k, n = runs.count(True), len(runs)
        interval = clopper_pearson(k, n, self._step.confidence) if n else None
        verdict, reason = self._judge(k, n)
        self.bench.give(
            self.step.id,
            verdict,
            reason=reason,
            k=k,
            runs=n,
            low=None if interval is None else interval.low,
            high=None if interval is None else interval.high,
            confidence=self._step.confidence,
        )

    def _judge(self, k: int, n: int) -> tuple[VerdictKind, str]:
        goal = f"{self._step.reliability:g} at {100 * self._step.confidence:g} %"
        if not self._fix:
            if k < n:
                return VerdictKind.FAIL, f"{n - k} of {n} starts failed"
            if n >= self._needed:
                return VerdictKind.PASS, f"reliable: {n} starts in a row, {goal}"
            return VerdictKind.UNSURE, f"{n} starts, none failed: {self._needed} in a row would show {goal}"
        failures, before = self._before.count(False), len(self._before)
        was = f"before the fix {failures} of {before} failed"
        if k < n:
            return VerdictKind.FAIL, f"not fixed: failed at run {n} after the fix; {was}"
        to_change = self._to_change()
        changed = to_change is not None and n >= to_change
        if n >= self._needed:
            word = "changed and reliable" if changed else "reliable, but no change is proved"
            return VerdictKind.PASS, f"{word}: {n} starts in a row, {goal}; {was}"
        if changed:
            left = self._needed - n
            return VerdictKind.UNSURE, f"better, not proved: changed, but {left} more starts for {goal}; {was}"
        more = "" if to_change is None else f"{to_change - n} more for changed, "
        return (
            VerdictKind.UNSURE,
            f"no proof: {n} starts after the fix, {more}{self._needed - n} more for {goal}; {was}",
        )
