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
from metercap.steps.machine import Cells, Given, Look, Machine, Row, table
from metercap.steps.rounds import Rounds

DENIED = "denied by the operator"
NOT_YET = "not yet: it stays open, and fail decides against it"


class ConfirmState(StrEnum):
    """States: asking whether the wait has begun, waiting it out, asking."""

    BEGIN = "begin"
    WAIT = "wait"
    ASK = "ask"
    NEXT = "next"
    """An item was answered or passed over."""
    END = "end"


class ConfirmSign(StrEnum):
    """What a word is about, and what follows an answer."""

    LISTED = "of a check list"
    SINGLE = "no check list"
    FIRST_LOOK = "first look"
    LAST_LOOK = "last look"
    WAITS = "with a wait"
    NO_WAIT = "without a wait"
    ITEM = "item left"
    SKIPPED = "skipped ones left"
    NONE = "none left"


_State, _Sign = ConfirmState, ConfirmSign

# Before the question a word is about the whole step: no item of a list may get round the wait.
_WHOLE: Cells = {
    Given.NO: Row("not_begun", _State.BEGIN, asks=True),
    Given.FAIL: Row("fail_all", _State.END),
    Given.SKIP: Row("skip_all", _State.END),
    Given.SKIP_STEP: Row("skip_all", _State.END),
    Given.ABSENT: Row("absent_all", _State.END),
    Given.AGAIN: Row("begin_anew", _State.BEGIN, asks=True),
}


class Confirm(Machine):
    """A word decides; readings are shown and nothing is made of them."""

    shows_contact = False
    TABLE = table(
        {
            _State.BEGIN: {**_WHOLE, Given.YES: Row("begun", _State.WAIT, asks=True)},
            _State.WAIT: {**_WHOLE, Given.DUE: Row("over", _State.ASK, asks=True)},
            _State.ASK: {
                Given.YES: Row("confirm", _State.NEXT),
                Given.PASS: Row("confirm", _State.NEXT),
                Given.NO: Row("not_yet", None, asks=True),
                Given.FAIL: Row("fail", _State.NEXT),
                Given.ABSENT: Row("absent", _State.NEXT),
                Given.SKIP: Look("which_look", (_Sign.FIRST_LOOK, _Sign.LAST_LOOK)),
                _Sign.FIRST_LOOK: Row("pass_over", _State.NEXT),
                _Sign.LAST_LOOK: Row("give_up", _State.NEXT),
                Given.BACK: Look("is_list", (_Sign.LISTED, _Sign.SINGLE)),
                _Sign.LISTED: Row("back", None, asks=True),
                _Sign.SINGLE: Row("nothing_before", None),
                Given.AT: Row("to_item", None, asks=True),
                Given.AGAIN: Look("has_wait", (_Sign.WAITS, _Sign.NO_WAIT)),
                _Sign.WAITS: Row("begin_anew", _State.BEGIN, asks=True),
                _Sign.NO_WAIT: Row("begin_anew", None, asks=True),
                Given.SKIP_STEP: Row("skip_all", _State.END),
            },
            _State.NEXT: {
                Given.NOW: Look("what_next", (_Sign.ITEM, _Sign.SKIPPED, _Sign.NONE)),
                _Sign.ITEM: Row("open_next", _State.ASK, asks=True),
                _Sign.SKIPPED: Row("open_skipped", _State.ASK, asks=True),
                _Sign.NONE: Row("", _State.END),
            },
        }
    )

    def __init__(self, step: ConfirmStep, bench: Bench) -> None:
        super().__init__(step, bench, ConfirmState.BEGIN if step.wait_s else ConfirmState.ASK)
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
            self.state = ConfirmState.WAIT if until_s > bench.t_s else ConfirmState.ASK
            self.deadline_s = until_s if self.state is ConfirmState.WAIT else None

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
            self.move(ConfirmState.END)
            return
        self.bench.changed()
        self.resume()

    def start_at(self, item: str) -> None:
        """Ask about this item first; where there is a wait, after it."""
        self._at = self._names.index(item)
        self.start()

    @property
    def undone(self) -> tuple[str, ...]:
        """Items without an answer."""
        return tuple(name for n, name in enumerate(self._names) if n not in self._rounds.done)

    @property
    def has_behind(self) -> bool:
        """True where an item of the list has its answer."""
        return self._rounds.has_behind

    @property
    def until_s(self) -> float | None:
        """When the wait is over."""
        return self.deadline_s if self.state is ConfirmState.WAIT else None

    def be_left(self) -> None:
        """A wait runs on while other things are done."""
        if self.state is ConfirmState.WAIT and self.deadline_s is not None:
            self.bench.waits[self.step.id] = self.bench.calls[self.step.id] = self.deadline_s

    def resume(self) -> None:
        """Prompt for the wait or the word."""
        text = self._text()
        if self.state is ConfirmState.BEGIN:
            say = f"{text} begun? yes starts the wait of {format_value(self._wait_s, 's')}"
            self.say(Do.CONFIRM, say, asks=Asks.BEGUN, power=self.step.power)
        elif self.state is ConfirmState.WAIT:
            say = f"{text} (wait {format_value(self._wait_s, 's')})"
            self.bench.urge(Do.WAIT, self.item, say, until_s=self.deadline_s)
        else:
            self.say(Do.CONFIRM, f"{text} (yes, or no: not yet)", asks=Asks.DONE, power=self.step.power)

    def _text(self) -> str:
        say = self.step.say or ("" if self._is_list else "done?")
        if not self._is_list or self.state is not ConfirmState.ASK:
            return say or "done?"
        item = self._items[self._at]
        about = "; ".join(part for part in (item.where, item.say) if part)
        look = "second look" if self._rounds.second else ""
        return ": ".join(part for part in (item.name, "; ".join(part for part in (about or say, look) if part)) if part)

    # --- the wait

    def begun(self) -> None:
        """It has begun: the wait counts from now."""
        self.deadline_s = at(self.bench.t_s + self._wait_s)

    def not_begun(self) -> None:
        """It has not: ask again, and count from a later yes."""
        self.deadline_s = None
        self.bench.note(f"{self.step.id}: not begun yet, so nothing is waited for")

    def over(self) -> None:
        """The wait is over."""
        self.deadline_s = None

    def has_wait(self) -> ConfirmSign:
        """Look whether beginning anew means waiting anew."""
        return ConfirmSign.WAITS if self._wait_s else ConfirmSign.NO_WAIT

    def begin_anew(self) -> None:
        """Ask from the beginning."""
        self.deadline_s = None
        self.bench.changed()

    # --- answers

    def confirm(self) -> None:
        """Confirmed."""
        self._give(VerdictKind.PASS, "confirmed by the operator")

    def not_yet(self) -> None:
        """It is not so, which may still come: the question stays."""
        self.bench.note(f"{self.item}: {NOT_YET}")

    def fail(self) -> None:
        """Decided against."""
        self._give(VerdictKind.FAIL, DENIED)

    def fail_all(self) -> None:
        """Decided against, whatever the wait would have shown."""
        self._give_all(VerdictKind.FAIL, DENIED)

    def absent_all(self) -> None:
        """There is nothing to wait for on this unit."""
        self._give_all(VerdictKind.ABSENT, "")

    def absent(self) -> None:
        """There is no such thing on this unit."""
        self._give(VerdictKind.ABSENT, "")

    def which_look(self) -> ConfirmSign:
        """An item of a list that is skipped is asked about once more at the end."""
        last = not self._is_list or self._rounds.second
        return ConfirmSign.LAST_LOOK if last else ConfirmSign.FIRST_LOOK

    def pass_over(self) -> None:
        """Leave it for the second look."""
        self.bench.cue(CueKind.SKIP, self.item)
        self._rounds.skipped(self._at)

    def give_up(self) -> None:
        """Passed over for good."""
        self._give(VerdictKind.UNSURE, "skipped")

    def skip_all(self) -> None:
        """Whatever has no answer was passed over."""
        for n, item in enumerate(self._items):
            if self.bench.stands(item.name):
                self._rounds.done[n] = None
        self._give_all(VerdictKind.UNSURE, "skipped")

    def is_list(self) -> ConfirmSign:
        """Look whether there are items to go back to."""
        return ConfirmSign.LISTED if self._is_list else ConfirmSign.SINGLE

    def back(self) -> None:
        """Ask again about what was decided or skipped last."""
        last = self._rounds.back()
        self._open(self._at if last is None else last)

    def nothing_before(self) -> None:
        """There is one question only."""
        self.bench.note(f"there is nothing to go back to in {self.step.id}")

    def to_item(self) -> None:
        """Ask about the item that the session found by its name."""
        named = self._names.index(self.text)
        self._rounds.reopen(named)
        self._open(named)

    def _give(self, verdict: VerdictKind, reason: str) -> None:
        self.bench.give(self.item, verdict, reason=reason)
        self._rounds.decided(self._at, by_contact=False)

    def _give_all(self, verdict: VerdictKind, reason: str) -> None:
        for n, item in enumerate(self._items):
            if n not in self._rounds.done:
                self._rounds.decided(n, by_contact=False)
                self.bench.give(item.name, verdict, reason=reason)

    # --- from item to item

    def what_next(self) -> ConfirmSign:
        """Find what is asked about next."""
        if self._rounds.next is not None:
            return ConfirmSign.ITEM
        return ConfirmSign.SKIPPED if self._rounds.left else ConfirmSign.NONE

    def open_next(self) -> None:
        """Go on with this look."""
        self._open(self._rounds.next or 0)

    def open_skipped(self) -> None:
        """Begin the second look."""
        self._open(self._rounds.second_look() or 0)

    def _open(self, n: int) -> None:
        self._at = n
        self.deadline_s = None
        self.bench.changed()
