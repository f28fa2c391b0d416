"""confirm: asks for a word; with `wait_s` it waits first (a discharge, a clock that must keep its time)."""

from __future__ import annotations

from enum import StrEnum

from metercap.quantity import format_value
from metercap.records import Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.keys import Seconds, StepBase
from metercap.steps.machine import Given, Machine, Row


class ConfirmStep(StepBase, frozen=True, tag="confirm"):
    """Keys of a `confirm` step: `wait_s` is how long to wait before asking."""

    wait_s: Seconds | None = None


class S(StrEnum):
    """States: waiting out `wait_s`, then asking."""

    WAIT = "wait"
    ASK = "ask"
    END = "end"


_ANSWERS = {
    Given.YES: Row("yes", (S.END,)),
    Given.NO: Row("no", (S.END,)),
    Given.PASS: Row("yes", (S.END,)),
    Given.FAIL: Row("no", (S.END,)),
    Given.SKIP: Row("skip", (S.END,)),
    Given.SKIP_STEP: Row("skip", (S.END,)),
    Given.ABSENT: Row("absent", (S.END,)),
}


class Confirm(Machine):
    """A word decides; readings are shown and nothing is made of them."""

    shows_contact = False
    TABLE = {  # noqa: RUF012 - declared Mapping in the base
        (S.WAIT, Given.DUE): Row("ask", (S.ASK,)),
        (S.WAIT, Given.NO): Row("no", (S.END,)),
        (S.WAIT, Given.FAIL): Row("no", (S.END,)),
        (S.WAIT, Given.SKIP): Row("skip", (S.END,)),
        (S.WAIT, Given.SKIP_STEP): Row("skip", (S.END,)),
        (S.WAIT, Given.ABSENT): Row("absent", (S.END,)),
        **{(S.ASK, given): row for given, row in _ANSWERS.items()},
        (S.ASK, Given.AGAIN): Row("again", (S.WAIT, S.ASK)),
        (S.WAIT, Given.AGAIN): Row("again", (S.WAIT, S.ASK)),
    }

    def __init__(self, step: ConfirmStep, bench: Bench) -> None:
        super().__init__(step, bench, S.WAIT if step.wait_s else S.ASK)
        self._wait_s = step.wait_s

    def say(self, do: Do, text: str, item: str | None = None) -> None:
        """Prompt even while a block stands: no meter is needed for a word."""
        self.bench.urge(do, self.item if item is None else item, text)

    def start(self) -> None:
        """Ask, or begin the wait."""
        if self.bench.is_kept(self.step.id, self.step.id):
            self.done = True
            return
        self.bench.changed()
        if self._wait_s:
            self.deadline_s = at(self.bench.t_s + self._wait_s)
        self.resume()

    def resume(self) -> None:
        """Prompt for the wait or the word."""
        text = self.step.say or "done?"
        if self.state is S.WAIT and self._wait_s:
            self.say(Do.WAIT, f"{text} (wait {format_value(self._wait_s, 's')})")
        else:
            self.say(Do.CONFIRM, f"{text} (yes or no)")

    def ask(self) -> StrEnum:
        """The wait is over."""
        self.deadline_s = None
        self.say(Do.CONFIRM, f"{self.step.say or 'done?'} (yes or no)")
        return S.ASK

    def again(self) -> StrEnum:
        """Begin anew."""
        self.state = S.WAIT if self._wait_s else S.ASK
        self.start()
        return self.state

    def yes(self) -> StrEnum:
        """Confirmed."""
        return self._end(VerdictKind.PASS, "confirmed by the operator")

    def no(self) -> StrEnum:
        """Denied."""
        return self._end(VerdictKind.FAIL, "denied by the operator")

    def skip(self) -> StrEnum:
        """Passed over."""
        return self._end(VerdictKind.UNSURE, "skipped")

    def absent(self) -> StrEnum:
        """There is no such thing on this unit."""
        return self._end(VerdictKind.ABSENT, "")

    def _end(self, verdict: VerdictKind, reason: str) -> StrEnum:
        self.deadline_s = None
        self.bench.give(self.step.id, verdict, reason=reason)
        self.done = True
        return S.END
