"""confirm: asks for a word, of the step or of each item of a check list.

With `wait_s` it waits between two questions (a discharge, a clock that must keep its time): the wait counts from the
`yes` to "begun?", for nobody has begun when the prompt appears. `no` decides nothing: it means not yet. `fail` decides.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Unpack

from metercap.asks import Asks, PromptFacts
from metercap.plankeys import ConfirmStep, Item
from metercap.quantity import format_value
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.facts import ConfirmFacts
from metercap.steps.machine import Given, Machine, Row, words_rows
from metercap.steps.rounds import Rounds

DENIED = "denied by the operator"
NOT_YET = "not yet: it stays open, and fail decides against it"


class S(StrEnum):
    """States: asking whether the wait has begun, waiting it out, asking."""

    BEGIN = "begin"
    WAIT = "wait"
    ASK = "ask"
    END = "end"


_NEXT = (S.ASK, S.END)


class Confirm(Machine):
    """A word decides; readings are shown and nothing is made of them."""

    shows_contact = False
    TABLE = {  # noqa: RUF012 - declared Mapping in the base
        (S.BEGIN, Given.YES): Row("begun", (S.WAIT,)),
        (S.BEGIN, Given.NO): Row("not_begun", (S.BEGIN,)),
        (S.WAIT, Given.DUE): Row("over", (S.ASK,)),
        (S.WAIT, Given.NO): Row("not_begun", (S.BEGIN,)),
        (S.ASK, Given.YES): Row("yes", _NEXT),
        (S.ASK, Given.PASS): Row("yes", _NEXT),
        (S.ASK, Given.NO): Row("not_yet", (S.ASK,)),
        (S.ASK, Given.BACK): Row("back", (S.ASK,)),
        (S.ASK, Given.AT): Row("to_item", (S.ASK,)),
        (S.ASK, Given.FAIL): Row("fail", _NEXT),
        (S.ASK, Given.SKIP): Row("skip", _NEXT),
        (S.ASK, Given.ABSENT): Row("absent", _NEXT),
        # Before the question a word is about the whole step: no item of a list may get round the wait.
        **words_rows(
            (S.BEGIN, S.WAIT),
            {
                Given.FAIL: Row("fail_all", (S.END,)),
                Given.SKIP: Row("skip_step", (S.END,)),
                Given.ABSENT: Row("absent_all", (S.END,)),
            },
        ),
        **words_rows(
            (S.BEGIN, S.WAIT, S.ASK),
            {Given.SKIP_STEP: Row("skip_step", (S.END,)), Given.AGAIN: Row("again", (S.BEGIN, S.ASK))},
        ),
    }

    def __init__(self, step: ConfirmStep, bench: Bench) -> None:
        super().__init__(step, bench, S.BEGIN if step.wait_s else S.ASK)
        self._wait_s = step.wait_s or 0.0
        self._items = step.items or (Item(step.id),)
        self._is_list = bool(step.items)
        kept = (n for n, item in enumerate(self._items) if bench.is_kept(step.id, item.name))
        self._rounds = Rounds(len(self._items), kept)
        self._names = tuple(item.name for item in self._items)
        self._at = self._rounds.next or 0
        bench.calls.pop(step.id, None)
        until_s = bench.waits.pop(step.id, None)
        if until_s is not None:
            self.state = S.WAIT if until_s > bench.t_s else S.ASK
            self.deadline_s = until_s if self.state is S.WAIT else None

    @property
    def item(self) -> str:
        """The item that is asked about."""
        return self._items[self._at].name

    def say(self, do: Do, text: str, item: str | None = None, **facts: Unpack[PromptFacts]) -> None:
        """Prompt even while a block stands: no meter is needed for a word."""
        self.bench.urge(do, self.item if item is None else item, text, **facts)

    def facts(self) -> ConfirmFacts:
        """How far the list is, and when the wait ends."""
        done, of = len(self._rounds.done), len(self._items)
        return ConfirmFacts(done=done, of=of, wait_s=self._wait_s, until_s=self.deadline_s)

    def start(self) -> None:
        """Ask, or ask whether the wait has begun."""
        if self._rounds.next is None:
            self.done = True
            return
        self.bench.changed()
        self.resume()

    def start_at(self, item: str) -> None:
        """Ask about this item first; where there is a wait, after it."""
        self._at = self._names.index(item)
        self._rounds.reopen(self._at)
        self.start()

    @property
    def undone(self) -> tuple[str, ...]:
        """Items without an answer."""
        return tuple(name for n, name in enumerate(self._names) if n not in self._rounds.done)

    @property
    def has_behind(self) -> bool:
        """True where an item of the list has its answer."""
        return self._rounds.has_behind

    def be_left(self) -> None:
        """A wait runs on while other things are done."""
        if self.state is S.WAIT and self.deadline_s is not None:
            self.bench.waits[self.step.id] = self.bench.calls[self.step.id] = self.deadline_s

    def resume(self) -> None:
        """Prompt for the wait or the word."""
        text = self._text()
        if self.state is S.BEGIN:
            say = f"{text} begun? yes starts the wait of {format_value(self._wait_s, 's')}"
            self.say(Do.CONFIRM, say, asks=Asks.BEGUN, power=self.step.power)
        elif self.state is S.WAIT:
            say = f"{text} (wait {format_value(self._wait_s, 's')})"
            self.bench.urge(Do.WAIT, self.item, say, until_s=self.deadline_s)
        else:
            self.say(Do.CONFIRM, f"{text} (yes, or no: not yet)", asks=Asks.DONE, power=self.step.power)

    def _text(self) -> str:
        say = self.step.say or ("" if self._is_list else "done?")
        if not self._is_list or self.state is not S.ASK:
            return say or "done?"
        item = self._items[self._at]
        about = "; ".join(part for part in (item.where, item.say) if part)
        look = "second look" if self._rounds.second else ""
        return ": ".join(part for part in (item.name, "; ".join(part for part in (about or say, look) if part)) if part)

    # --- the wait

    def begun(self) -> StrEnum:
        """It has begun: the wait counts from now."""
        self.state = S.WAIT
        self.deadline_s = at(self.bench.t_s + self._wait_s)
        self.resume()
        return S.WAIT

    def not_begun(self) -> StrEnum:
        """It has not: ask again, and count from a later yes."""
        self.deadline_s = None
        self.bench.note(f"{self.step.id}: not begun yet, so nothing is waited for")
        self.state = S.BEGIN
        self.resume()
        return S.BEGIN

    def over(self) -> StrEnum:
        """The wait is over."""
        self.deadline_s = None
        self.state = S.ASK
        self.resume()
        return S.ASK

    def again(self) -> StrEnum:
        """Begin anew."""
        self.deadline_s = None
        self.state = S.BEGIN if self._wait_s else S.ASK
        self.start()
        return self.state

    # --- answers

    def yes(self) -> StrEnum:
        """Confirmed."""
        return self._give(VerdictKind.PASS, "confirmed by the operator")

    def not_yet(self) -> StrEnum:
        """It is not so, which may still come: the question stays."""
        self.bench.note(f"{self.item}: {NOT_YET}")
        self.resume()
        return S.ASK

    def fail(self) -> StrEnum:
        """Decided against."""
        return self._give(VerdictKind.FAIL, DENIED)

    def fail_all(self) -> StrEnum:
        """Decided against, whatever the wait would have shown."""
        return self._give_all(VerdictKind.FAIL, DENIED)

    def absent_all(self) -> StrEnum:
        """There is nothing to wait for on this unit."""
        return self._give_all(VerdictKind.ABSENT, "")

    def absent(self) -> StrEnum:
        """There is no such thing on this unit."""
        return self._give(VerdictKind.ABSENT, "")

    def skip(self) -> StrEnum:
        """Passed over; an item of a list is asked about once more at the end."""
        if not self._is_list or self._rounds.second:
            return self._give(VerdictKind.UNSURE, "skipped")
        self.bench.cue(CueKind.SKIP, self.item)
        self._rounds.skipped(self._at)
        return self._onward()

    def skip_step(self) -> StrEnum:
        """Whatever is not decided was passed over."""
        return self._give_all(VerdictKind.UNSURE, "skipped")

    def back(self) -> StrEnum:
        """Ask again about what was decided or skipped last."""
        if not self._is_list:
            self.bench.note(f"there is nothing to go back to in {self.step.id}")
            return S.ASK
        last = self._rounds.back()
        return self._open(self._at if last is None else last)

    def to_item(self) -> StrEnum:
        """Ask about the item that was named."""
        wanted = self.text.strip().casefold()
        for n, item in enumerate(self._items):
            if item.name.casefold() == wanted:
                self._rounds.reopen(n)
                return self._open(n)
        self.bench.note(f"no item {self.text.strip()!r} in this step")
        return S.ASK

    def _give(self, verdict: VerdictKind, reason: str) -> StrEnum:
        self.bench.give(self.item, verdict, reason=reason)
        self._rounds.decided(self._at, by_contact=False)
        return self._onward()

    def _give_all(self, verdict: VerdictKind, reason: str) -> StrEnum:
        for n, item in enumerate(self._items):
            if n not in self._rounds.done:
                self._rounds.decided(n, by_contact=False)
                self.bench.give(item.name, verdict, reason=reason)
        return self._end()

    def _onward(self) -> StrEnum:
        after = self._rounds.next
        if after is None:
            after = self._rounds.second_look()
        return self._end() if after is None else self._open(after)

    def _open(self, n: int) -> StrEnum:
        self._at = n
        self.deadline_s = None
        self.state = S.ASK
        self.bench.changed()
        self.resume()
        return S.ASK

    def _end(self) -> StrEnum:
        self.deadline_s = None
        self.done = True
        return S.END
