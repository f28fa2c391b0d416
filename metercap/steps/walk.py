"""Walking items: one after the other in order, hands-free, skipped ones looked at again at the end.

`sweep` and `check` are both this walk. It never moves on by itself but after a verdict; silence is no verdict; only a
word (`open`, `skip`, `absent`) passes an item over.
"""

from __future__ import annotations

from enum import StrEnum

from metercap.contact import Burst
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading, State
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.items import WalkStep, walked
from metercap.steps.machine import Given, Machine, Row, words_rows
from metercap.steps.probing import Aim, Finding, Probing

ABOUT_ZERO_V = 0.1
"""Open tips read about zero in volts: below this a voltage does not show contact (common practice, no source)."""
ABOUT_ZERO_COUNTS = 20.0
TICK_NOT_BEEP = "hold both tips on it until the tick, not the meter's beep"


class S(StrEnum):
    """States of a walk."""

    OPEN = "open"
    """An item is asked for, nothing touches."""
    ON = "on"
    """A credited contact on the item."""
    STOPPED = "stopped"
    """Voltage was seen: nothing is judged until a certain lift."""
    ASK = "ask"
    """The count check waits for its answer."""
    END = "end"


_MOVES = (S.OPEN, S.ASK, S.END)
_ITEM_WORDS = {
    Given.OPEN: Row("word_open", _MOVES),
    Given.SKIP: Row("word_skip", _MOVES),
    Given.ABSENT: Row("word_absent", _MOVES),
    Given.BACK: Row("word_back", (S.OPEN,)),
    Given.AT: Row("word_at", (S.OPEN, S.ON, S.STOPPED)),
    Given.AGAIN: Row("word_again", (S.OPEN,)),
    Given.SKIP_STEP: Row("word_skip_step", (S.END,)),
}


class Walk(Machine):
    """The table of a walk; `sweep` turns the count check on."""

    TABLE = {  # noqa: RUF012
        (S.OPEN, Given.CONTACT): Row("contact", (S.ON,)),
        (S.OPEN, Given.VALUE): Row("idle", (S.OPEN,)),
        (S.OPEN, Given.DUE): Row("waiting", (S.OPEN,)),
        (S.OPEN, Given.GO): Row("stay", (S.OPEN,)),
        (S.OPEN, Given.YES): Row("word_yes", _MOVES),
        (S.ON, Given.VALUE): Row("value", (S.ON, S.STOPPED, *_MOVES)),
        (S.ON, Given.ENDED): Row("ended", (S.OPEN,)),
        (S.STOPPED, Given.GO): Row("reopen", (S.OPEN,)),
        (S.ASK, Given.YES): Row("counted", (S.OPEN, S.END)),
        (S.ASK, Given.NO): Row("miscounted", (S.OPEN, S.END)),
        (S.ASK, Given.BACK): Row("word_back", (S.OPEN,)),
        (S.ASK, Given.AT): Row("word_at", (S.OPEN, S.ASK)),
        (S.ASK, Given.SKIP_STEP): Row("word_skip_step", (S.END,)),
        (S.ASK, Given.GO): Row("stay", (S.ASK,)),
        **words_rows((S.OPEN, S.ON, S.STOPPED), _ITEM_WORDS),
    }

    def __init__(self, step: WalkStep, bench: Bench, *, decisive: bool, count_check: bool = False) -> None:
        super().__init__(step, bench, S.OPEN)
        self._step = step
        self._decisive = decisive
        self._count_check = count_check
        self._items = walked(step.items)
        self._look: list[int] = list(range(len(self._items)))
        self._second = False
        self._settled = {n for n, item in enumerate(self._items) if bench.is_kept(step.id, item.name)}
        self._skipped: list[int] = []
        self._history: list[int] = []
        self._ticked: list[int] = []
        self._unchecked: list[int] = []
        self._at = 0
        self._first_prompt = True
        self._waited = False
        self._idle = Burst()
        self._probing = Probing(self._aim(0), bench.judge)

    # --- what the session asks

    @property
    def item(self) -> str:
        """The name of the item that is asked for."""
        return self._items[self._at].name

    @property
    def in_volts(self) -> bool:
        """True where contact shows only as a value away from zero."""
        return self.step.wanted[0] not in (
            Quantity.RESISTANCE,
            Quantity.CONTINUITY,
            Quantity.DIODE,
            Quantity.CAPACITANCE,
        )

    def is_off(self, reading: Reading) -> bool:
        """Over-range in ohms; about zero in volts and amps."""
        if not self.in_volts:
            return reading.state is State.OVER
        value = reading.value
        return value is not None and abs(value) < max(ABOUT_ZERO_V, ABOUT_ZERO_COUNTS * reading.resolution)

    def start(self) -> None:
        """Open the first item."""
        self.bench.touch.recontact_s = self._step.recontact_s
        left = [index for index in self._look if index not in self._settled]
        if left:
            self._open(left[0])
        else:
            self._finish()

    def resume(self) -> None:
        """Prompt again for what is open."""
        if self.state is S.ASK:
            self._ask()
            return
        self._arm()
        self._prompt()

    def see(self, reading: Reading, act: object, new: bool) -> None:
        """Watch for auto range as well."""
        if "auto" in reading.flags and not self.bench.range_asked and reading.quantity is Quantity.RESISTANCE:
            self.bench.range_asked = True
            text = "auto range costs time at every item: fix the lowest ohm range if the meter can"
            self.bench.urge(Do.DIAL, None, text)
        if self.in_volts and new and self.state is S.OPEN and act in ("", "ended"):
            self.reading = reading
            self.give(Given.VALUE)
        super().see(reading, act, new)  # type: ignore[arg-type]

    def blocked(self) -> None:
        """A block began: the present contact is worth nothing."""
        self._probing.drop()
        self._idle = Burst(self.bench.t_s)
        if self.state is S.ON or self.state is S.STOPPED:
            self.state = S.OPEN
        self.deadline_s = None

    def status(self) -> str:
        """Item, how many are decided, and of how many."""
        return f"{self.step.id}: {self.item}, {len(self._settled)} of {len(self._items)} done"

    # --- readings

    def contact(self) -> StrEnum:
        """A credited contact begins."""
        self.deadline_s = None
        self._probing.contact(self.bench.t_s)
        return S.ON

    def value(self) -> StrEnum:
        """A new conversion of the contact."""
        reading = self.reading
        if reading is None or reading.value is None:
            return S.ON
        found = self._probing.value(reading)
        if found is Finding.DONE:
            return self._decide()
        if found is Finding.AGAIN:
            self.bench.cue(CueKind.AGAIN, self.item)
        elif found is Finding.VOLTS:
            self.bench.cue(CueKind.STOP, self.item)
            self.bench.touch.block()
            self._probing.drop()
            text = "voltage in the circuit: lift, measure volts here, disconnect and discharge before going on"
            self.say(Do.STOP, f"{self.item}: {text}")
            return S.STOPPED
        return S.ON

    def ended(self) -> StrEnum:
        """The contact ended without a verdict."""
        if self._probing.ended():
            self.bench.cue(CueKind.AGAIN, self.item)
        else:
            self.bench.touch.block()  # the second contact must be a separate one
        self._arm()
        return S.OPEN

    def idle(self) -> StrEnum:
        """A conversion about zero, in volts: kept for a `yes`."""
        if self.reading is not None:
            self._idle.feed(self.reading)
        return S.OPEN

    def waiting(self) -> StrEnum:
        """No contact for patience_s: say so once, and stay."""
        self.deadline_s = None
        self._waited = True
        self.bench.cue(CueKind.WAITING, self.item)
        return S.OPEN

    def reopen(self) -> StrEnum:
        """After voltage, and a certain lift: the same item anew."""
        self._probing = Probing(self._aim(self._at), self.bench.judge)
        self._arm()
        self._prompt()
        return S.OPEN

    # --- words

    def word_yes(self) -> StrEnum:
        """In volts: both tips are on the point, and the value about zero is meant."""
        pair = self._idle.pair
        if not self.in_volts or pair is None:
            if self.in_volts:
                self.bench.cue(CueKind.AGAIN, self.item)
            return S.OPEN
        aim = self._aim(self._at)
        values = tuple(reading.value or 0.0 for reading in pair)
        judged = self.bench.judge.judge(pair[1], aim.limits, conversions=values)
        self.bench.give(
            self.item,
            judged.verdict,
            judged=judged,
            limits=aim.limits,
            reason="about zero, by the operator's yes",
            n=2,
            from_s=pair[0].t_s,
            settled=self._idle.plateau() is not None,
        )
        return self._onward(by_contact=False)

    def word_open(self) -> StrEnum:
        """The operator says that the path is open."""
        reading = self.reading
        if self.state is S.ON and reading is not None and reading.value is not None:
            shown = format_value(reading.value, reading.unit, reading.resolution)
            self._give_word(VerdictKind.UNSURE, f"said to be open while the meter showed {shown}")
        else:
            reason = "open, by the operator's word"
            if self._probing.taken:
                taken = self._probing.taken[-1]
                shown = format_value(taken.value, taken.reading.unit, taken.reading.resolution)
                reason += f"; an earlier contact read {shown}"
            self._give_word(VerdictKind.FAIL, reason)
        return self._onward(by_contact=False)

    def word_absent(self) -> StrEnum:
        """This unit has no such item."""
        self._give_word(VerdictKind.ABSENT, "absent, by the operator's word")
        return self._onward(by_contact=False)

    def word_skip(self) -> StrEnum:
        """Queue a second look; at the second look, give up."""
        if self._second:
            self._give_word(VerdictKind.UNSURE, "skipped twice")
            return self._onward(by_contact=False)
        self.bench.cue(CueKind.SKIP, self.item)
        if self._at not in self._skipped:
            self._skipped.append(self._at)
        self._history.append(self._at)
        return self._advance()

    def word_back(self) -> StrEnum:
        """Reopen the last item."""
        last = self._history.pop() if self._history else self._at
        self._reopen(last)
        return S.OPEN

    def word_at(self) -> StrEnum:
        """Open the item that was named."""
        wanted = self.text.strip().casefold()
        for index, item in enumerate(self._items):
            if item.name.casefold() == wanted:
                self._reopen(index)
                return S.OPEN
        first, last = self._items[0].name, self._items[-1].name
        self.bench.note(f"no item {self.text.strip()!r} in this step; it goes from {first} to {last}")
        return self.state

    def word_again(self) -> StrEnum:
        """Forget what the item's contacts said, and begin anew."""
        self._open(self._at)
        return S.OPEN

    def word_skip_step(self) -> StrEnum:
        """Every item without a verdict becomes unsure."""
        for index, item in enumerate(self._items):
            if index not in self._settled:
                self.bench.give(item.name, VerdictKind.UNSURE, reason="step skipped")
        if self.state is S.ASK:
            self._flag("count check skipped")
        return self._finish()

    # --- the count check

    def counted(self) -> StrEnum:
        """The last tick was where it should be."""
        self._unchecked.clear()
        return self._after_look()

    def miscounted(self) -> StrEnum:
        """It was not: no tick since the last check can be trusted."""
        self._flag("count check: the last tick was on another item")
        return self._after_look()

    def _flag(self, reason: str) -> None:
        for index in self._unchecked:
            self.bench.replace(self.step.id, self._items[index].name, VerdictKind.UNSURE, reason)
        self._unchecked.clear()

    def _ask(self) -> None:
        self.bench.prompt(Do.ANSWER, self.item, f"count check: was the last tick on {self.item}? yes or no")

    # --- moving on

    def _decide(self) -> StrEnum:
        result = self._probing.result
        if result is None:
            raise AssertionError("probing ended without a result")
        self.bench.give(
            self.item,
            result.verdict,
            judged=result.judged,
            limits=self._probing.aim.limits,
            reason=result.reason,
            n=result.n,
            from_s=result.from_s,
            settled=result.settled,
        )
        self.bench.ticked = (self.step.id, self.item)
        return self._onward(by_contact=True)

    def _give_word(self, verdict: VerdictKind, reason: str) -> None:
        self.bench.give(self.item, verdict, limits=self._probing.aim.limits, reason=reason)

    def _onward(self, *, by_contact: bool) -> StrEnum:
        self._settled.add(self._at)
        self._history.append(self._at)
        if self._at in self._unchecked:
            self._unchecked.remove(self._at)
        if by_contact:
            self._unchecked.append(self._at)
        return self._advance()

    def _advance(self) -> StrEnum:
        for index in self._look:
            if index not in self._settled and (self._second or index not in self._skipped):
                self._open(index)
                return S.OPEN
        if self._count_check and self._unchecked:
            self._at = self._unchecked[-1]
            self.deadline_s = None
            self.bench.changed()
            self._ask()
            return S.ASK
        return self._after_look()

    def _after_look(self) -> StrEnum:
        left = [index for index in self._skipped if index not in self._settled]
        if left and not self._second:
            self._second = True
            self._look = left
            self._open(left[0])
            return S.OPEN
        return self._finish()

    def _finish(self) -> StrEnum:
        self.deadline_s = None
        self.done = True
        return S.END

    def _reopen(self, index: int) -> None:
        self._settled.discard(index)
        if index in self._skipped:
            self._skipped.remove(index)
        if index not in self._look:
            self._look = [*self._look, index]
        self._open(index)

    def _open(self, index: int) -> None:
        self._at = index
        self._probing = Probing(self._aim(index), self.bench.judge)
        self._idle = Burst(self.bench.t_s)
        self._waited = False
        self.bench.changed()
        self._arm()
        self._prompt()

    def _arm(self) -> None:
        """Start the patience of the open item, unless its reminder was given already."""
        self.deadline_s = None if self._waited else at(self.bench.t_s + self._step.patience_s)

    def _aim(self, index: int) -> Aim:
        item = self._items[index]
        return Aim(item.name, self._step.limits_of(item, self.bench.rule), self._step.contacts, self._decisive)

    def _prompt(self) -> None:
        item = self._items[self._at]
        parts = [item.say or item.where]
        if item.red or item.black:
            parts.append(f"red on {item.red or 'the other end'}, black on {item.black or 'the other end'}")
        if self._second:
            parts.append("second look")
        if self._first_prompt:
            self._first_prompt = False
            parts = [self.step.say, *parts, TICK_NOT_BEEP]
        self.say(Do.PROBE, f"{item.name}: " + ("; ".join(part for part in parts if part) or "probe"))
