"""Walking items: one after the other in order, hands-free, skipped ones looked at again at the end.

`sweep` and `check` are both this walk. It never moves on by itself but after a verdict; silence is no verdict; only a
word (`open`, `skip`, `absent`) passes an item over.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from metercap.asks import PromptFacts
from metercap.contact import Act
from metercap.judging.contacts import Ending
from metercap.judging.judge import limits_of
from metercap.judging.pool import Pool
from metercap.plankeys.walk import REVERSED, WalkStep, walked
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading, State
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.rests import Touched
from metercap.steps.bench import Bench
from metercap.steps.machine import Given
from metercap.steps.nearzero import NearZero, about_zero, shows_contact
from metercap.steps.probing import Aim, Finding, Probing
from metercap.steps.rounds import Rounds
from metercap.steps.walk.counting import CountCheck
from metercap.steps.walk.table import TABLE, S

LOW_OHM = 100.0
"""Up to this limit the lowest ohm range serves every item (common practice, no source)."""
TICK_NOT_BEEP = "hold both tips on it until the tick, not the meter's beep"


# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_OPEN = S.OPEN
_COUNTING = (S.LAST, S.ASK, S.REDO)
_UNCOUNTED, _LIFT = (Act.SLIP, Act.HELD), Act.LIFT
_OVER = State.OVER


class Walk(CountCheck):
    """The table of a walk; `sweep` turns the count check on, once a look or after each of its `groups` of items."""

    TABLE = TABLE

    def __init__(
        self,
        step: WalkStep,
        bench: Bench,
        *,
        decisive: bool,
        count_check: bool = False,
        groups: Mapping[str, int] | None = None,
    ) -> None:
        super().__init__(step, bench, S.OPEN)
        self._step = step
        self._decisive = decisive
        self._count_check = count_check
        self.in_volts = not shows_contact(step.wanted[0])
        """True where contact shows only as a value away from zero."""
        self._items = walked(step.items)
        self._name_at = [item.name for item in self._items]
        highs = [limits_of(step, item, bench.rule).high for item in self._items]
        self._highest = None if None in highs else max(high for high in highs if high is not None)
        ceiling = bench.profile.continuity_ceiling_ohm or 0.0
        self._continuity = Quantity.CONTINUITY in step.wanted and self._highest is not None and self._highest <= ceiling
        self._low_only = self._highest is not None and self._highest <= LOW_OHM
        kept = (n for n, item in enumerate(self._items) if bench.is_kept(step.id, item.name))
        group_of = groups or {}
        in_order = [group_of.get(item.name.removesuffix(REVERSED), -1) for item in self._items]
        self._rounds = Rounds(len(self._items), kept, in_order)
        self._at = 0
        self._first_prompt = True
        self._waited = False
        self._near_zero = NearZero()
        self._pool: Pool | None = None
        self._probing = self._fresh(0)

    # --- what the session asks

    @property
    def item(self) -> str:
        """The name of the item that is asked for."""
        return self._items[self._at].name

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """The step's quantities; resistance at a second look, since continuity shows over-range above its ceiling."""
        if self._rounds.second and Quantity.CONTINUITY in self.step.wanted:
            return (Quantity.RESISTANCE,)
        return self.step.wanted

    def is_off(self, reading: Reading) -> bool:
        """Over-range in ohms; about zero in volts and amps."""
        return about_zero(reading) if self.in_volts else reading.state is _OVER

    def start(self) -> None:
        """Open the first item."""
        if not self._low_only and Quantity.RESISTANCE in self.wanted:
            self.bench.ask_wider_range(self._highest)
        elif self._low_only and self.bench.last is not None:
            self.bench.touch.recontact_s = self._step.recontact_s
            self.bench.ask_fixed_range(self.bench.last, continuity=self._continuity)
        self.state = self.count() if self.owed() else self.advance()

    def resume(self) -> None:
        """Prompt again for what is open."""
        if self.state in (S.LAST, S.ASK):
            self.state = self.ask()
            return
        if self.state is S.REDO:
            self.offer()
            return
        self._arm()
        self._prompt()

    def see(self, reading: Reading, act: object, new: bool) -> None:
        """Watch for auto range as well."""
        state = self.state
        if state in _COUNTING:
            self._hidden = self._hidden or act in _UNCOUNTED
        elif self._low_only:
            self.bench.ask_fixed_range(reading, continuity=self._continuity)
        if state is _OPEN:
            if act in _UNCOUNTED:
                self.deadline_s = None  # a contact that does not count is no silence
            elif act is _LIFT:
                self._arm()
            if self.in_volts and new and act in ("", "ended"):
                self.reading = reading
                self.give(Given.VALUE)
        super().see(reading, act, new)  # type: ignore[arg-type]

    def blocked(self) -> None:
        """A block began: the present contact is worth nothing."""
        self._probing.drop()
        self._near_zero.forget()
        if self.state is S.ON or self.state is S.STOPPED:
            self.state = S.OPEN
        self.deadline_s = None

    def status(self) -> str:
        """Item, how many are decided, and of how many."""
        return f"{self.step.id}: {self.item}, {len(self._rounds.done)} of {len(self._items)} done"

    # --- readings

    def contact(self) -> StrEnum:
        """A credited contact begins."""
        self.deadline_s = None
        self._near_zero.forget()
        self._probing.contact(self.bench.t_s)
        return S.ON

    def value(self) -> StrEnum:
        """A new conversion of the contact."""
        found = self._probing.take(self.reading, self.bench)
        if found is Finding.DONE:
            return self._decide()
        if found is Finding.AGAIN:
            self.deadline_s = at(self.bench.t_s + self._step.patience_s)
        elif found is Finding.VOLTS:
            self.deadline_s = None
            return S.STOPPED
        return S.ON

    def still_on(self) -> StrEnum:
        """The tips stay on though another, separate contact is needed: who missed the cue is told again."""
        self.bench.cue(CueKind.AGAIN, self.item)
        self.deadline_s = at(self.bench.t_s + self._step.patience_s)
        return S.ON

    def ended(self) -> StrEnum:
        """The contact ended without a verdict."""
        left = self._probing.ended(self.bench.t_s, shows_walk=self.bench.touch.ranging.shown)
        if left is Ending.NOTHING:
            self.bench.cue(CueKind.AGAIN, self.item)
        elif left is Ending.KEPT:
            self.bench.touch.block()  # the second contact must be a separate one
        self._arm()
        return S.OPEN

    def idle(self) -> StrEnum:
        """A conversion about zero, in volts; two of them after a `yes` make the verdict."""
        burst = None if self.reading is None else self._near_zero.feed(self.reading)
        pair = None if burst is None else burst.pair
        if burst is None or pair is None:
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
            contacts=(Touched(pair[0].t_s, pair[1].t_s, judged.value),),
            settled=burst.plateau() is not None,
        )
        return self._onward(by_contact=False)

    def waiting(self) -> StrEnum:
        """No contact for patience_s: say so once for this item, and stay."""
        self._waited = True
        return super().waiting()

    def reopen(self) -> StrEnum:
        """After voltage, and a certain lift: the same item anew."""
        self._probing = self._fresh(self._at)
        self._arm()
        self._prompt()
        return S.OPEN

    # --- words

    def word_yes(self) -> StrEnum:
        """In volts: both tips are on the point, and the value about zero is meant."""
        if not self.in_volts:
            self.bench.note(f"the word 'yes' means nothing here: {self.status()}")
        elif self.bench.blocked:
            self.bench.cue(CueKind.AGAIN, self.item)
        else:
            self._near_zero.yes(self.bench.t_s)
        return S.OPEN

    def word_open(self) -> StrEnum:
        """The operator says that the path is open; a meter that shows a value on it makes that unsure."""
        shown = "" if self.said_by == "token" else self._value_now()
        if shown:
            self._give_word(VerdictKind.UNSURE, f"said to be open while the meter showed {shown}")
        else:
            reason = "open, by the operator's word"
            if self._probing.taken:
                taken = self._probing.taken[-1]
                earlier = format_value(taken.value, taken.reading.unit, taken.reading.resolution)
                reason += f"; an earlier contact read {earlier}"
            self._give_word(VerdictKind.FAIL, reason)
        return self._onward(by_contact=False)

    def _value_now(self) -> str:
        """Return the value that the tips show now, or an empty text when they show none."""
        last = self.bench.last
        if last is None or last.value is None or last.quantity not in self.wanted or self.is_off(last):
            return ""
        return format_value(last.value, last.unit, last.resolution)

    def word_absent(self) -> StrEnum:
        """This unit has no such item."""
        self._give_word(VerdictKind.ABSENT, "absent, by the operator's word")
        return self._onward(by_contact=False)

    def word_skip(self) -> StrEnum:
        """Queue a second look; at the second look, give up."""
        if self._rounds.second:
            self._give_word(VerdictKind.UNSURE, "skipped twice")
            return self._onward(by_contact=False)
        self.bench.cue(CueKind.SKIP, self.item)
        self._rounds.skipped(self._at)
        return self.advance()

    def word_back(self) -> StrEnum:
        """Reopen the last item."""
        last = self._rounds.back()
        self._open(self._at if last is None else last)
        return S.OPEN

    def word_at(self) -> StrEnum:
        """Open the item that was named."""
        wanted = self.text.strip().casefold()
        for index, item in enumerate(self._items):
            if item.name.casefold() == wanted:
                self._rounds.reopen(index)
                self._open(index)
                return S.OPEN
        first, last = self._items[0].name, self._items[-1].name
        self.bench.note(f"no item {self.text.strip()!r} in this step; it goes from {first} to {last}")
        return self.state

    def word_again(self) -> StrEnum:
        """Forget what the item's contacts said, and begin anew."""
        self._open(self._at)
        return S.OPEN

    def word_skip_step(self) -> StrEnum:
        """Every item without a verdict becomes unsure; what was ticked so far is still to be counted."""
        for index, item in enumerate(self._items):
            if index not in self._rounds.done:
                self._rounds.done[index] = None
                self.bench.give(item.name, VerdictKind.UNSURE, reason="step skipped")
        if self.state in (S.LAST, S.ASK):
            self.flag("count check skipped")
            return self._finish()
        return self._finish() if self.state is S.REDO else self.count()

    # --- moving on

    def _decide(self) -> StrEnum:
        result = self._probing.result
        if result is None:
            raise AssertionError("probing ended without a result")
        self.bench.give(self.item, result.verdict, limits=self._probing.aim.limits, **result.told)
        self.bench.ticked = (self.step.id, self.item)
        return self._onward(by_contact=True)

    def _give_word(self, verdict: VerdictKind, reason: str) -> None:
        self.bench.give(self.item, verdict, limits=self._probing.aim.limits, reason=reason)

    def _onward(self, *, by_contact: bool) -> StrEnum:
        self._rounds.decided(self._at, by_contact=by_contact)
        self.remember()
        return self.advance()

    def after_look(self) -> StrEnum:
        """Take those that were skipped once more; end when there are none."""
        first = self._rounds.second_look()
        if first is None:
            return self._finish()
        self._at = first
        self.want()
        return self.open_item(first)

    def open_item(self, index: int) -> StrEnum:
        """Ask for an item."""
        self._open(index)
        return S.OPEN

    def _finish(self) -> StrEnum:
        self.deadline_s = None
        self.done = True
        return S.END

    def _open(self, index: int) -> None:
        self._at = index
        self._probing = self._fresh(index)
        self._near_zero.forget()
        self._waited = False
        self.bench.changed()
        self._arm()
        self._prompt()

    def _arm(self) -> None:
        """The item waits for its contact: its own slip time, and its patience unless the reminder was given."""
        self.bench.touch.recontact_s = self._step.recontact_s
        self.deadline_s = None if self._waited else at(self.bench.t_s + self._step.patience_s)

    def _fresh(self, index: int) -> Probing:
        return Probing(self._aim(index), self.bench.judge, self._pool)

    def _aim(self, index: int) -> Aim:
        item = self._items[index]
        limits = limits_of(self._step, item, self.bench.rule, self.bench.goods)
        return Aim(item.name, limits, self._step.contacts, self._decisive)

    def _prompt(self) -> None:
        item = self._items[self._at]
        parts = [item.say or item.where]
        if item.red or item.black:
            parts.append(f"red on {item.red or 'the other end'}, black on {item.black or 'the other end'}")
        if self._rounds.second:
            parts.append("second look")
        if self._first_prompt:
            self._first_prompt = False
            parts = [self.step.say, *parts, TICK_NOT_BEEP]
        text = f"{item.name}: " + ("; ".join(part for part in parts if part) or "both tips on it")
        facts: PromptFacts = {"second": True} if self._rounds.second else {}
        self.say(Do.PROBE, text, **facts)
