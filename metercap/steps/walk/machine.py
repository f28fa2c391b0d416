"""Walking items: one after the other in order, hands-free, skipped ones looked at again at the end.

`sweep` and `check` are both this walk. It never moves on by itself but after a verdict; silence is no verdict; only a
word (`open`, `skip`, `absent`) passes an item over.
"""

from __future__ import annotations

from collections.abc import Mapping

from metercap.asks import PromptFacts
from metercap.contact import Act, Burst
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
from metercap.steps.walk import asking
from metercap.steps.walk.counting import CountCheck
from metercap.steps.walk.table import TABLE, WalkSign, WalkState

LOW_OHM = 100.0
"""Up to this limit the lowest ohm range serves every item (common practice, no source)."""

_SIGNS = {Finding.DONE: WalkSign.DECIDED, Finding.AGAIN: WalkSign.ONCE_MORE, Finding.VOLTS: WalkSign.VOLTAGE}
# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_OPEN = WalkState.OPEN
_COUNTING = (WalkState.LAST, WalkState.ASK, WalkState.REDO)
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
        super().__init__(step, bench, WalkState.OPEN)
        self._step = step
        self._decisive = decisive
        self._count_check = count_check
        self.in_volts = not shows_contact(step.wanted[0])
        """True where contact shows only as a value away from zero."""
        self._items = walked(step.items, step.order)
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
        self._zeros: Burst | None = None
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
        self._ask_range()
        if self.owed():
            self.begin_count()
            self.move(WalkState.COUNT)
        else:
            self.move(WalkState.NEXT)

    def start_at(self, item: str) -> None:
        """Open this item first; a count check that is owed stands before it."""
        self._rounds.begin_with(next(n for n, each in enumerate(self._items) if each.name == item))
        self.start()

    @property
    def undone(self) -> tuple[str, ...]:
        """Items without a decision, and those that were opened again."""
        return tuple(item.name for n, item in enumerate(self._items) if n not in self._rounds.done)

    @property
    def has_behind(self) -> bool:
        """True once anything of the walk was decided or skipped."""
        return self._rounds.has_behind or self.state in _COUNTING

    def _ask_range(self) -> None:
        if not self._low_only and Quantity.RESISTANCE in self.wanted:
            self.bench.ask_wider_range(self._highest)
        elif self._low_only and self.bench.last is not None:
            self.bench.touch.recontact_s = self._step.recontact_s
            self.bench.ask_fixed_range(self.bench.last, continuity=self._continuity)

    def resume(self) -> None:
        """Prompt again for what is open."""
        if self.state in (WalkState.LAST, WalkState.ASK):
            self.move(WalkState.COUNT)
        elif self.state is WalkState.REDO:
            self.offer()
        else:
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
                self._near_zero.forget()  # the tips are on a voltage: what the air shows later is not what was meant
            elif act is _LIFT:
                self._arm()
            if self.in_volts and new and act in ("", "ended"):
                self.reading = reading
                self.give(Given.VALUE)
        super().see(reading, act, new)  # type: ignore[arg-type]

    def drop(self) -> None:
        """The present contact is worth nothing."""
        self._probing.drop()
        self._near_zero.forget()
        self.deadline_s = None

    def status(self) -> str:
        """Item, how many are decided, and of how many."""
        return f"{self.step.id}: {self.item}, {len(self._rounds.done)} of {len(self._items)} done"

    # --- readings

    def contact(self) -> None:
        """A credited contact begins."""
        self.deadline_s = None
        self._near_zero.forget()
        self._probing.contact(self.bench.t_s)

    def take(self) -> WalkSign | None:
        """Take a new conversion of the contact."""
        return _SIGNS.get(self._probing.take(self.reading, self.bench))

    def wait_again(self) -> None:
        """Another, separate contact is needed."""
        self.deadline_s = at(self.bench.t_s + self._step.patience_s)

    def still_on(self) -> None:
        """The tips stay on though another, separate contact is needed: who missed the cue is told again."""
        self.bench.cue(CueKind.AGAIN, self.item)
        self.wait_again()

    def stop(self) -> None:
        """Voltage: nothing is waited for but a certain lift."""
        self.deadline_s = None

    def ended(self) -> None:
        """The contact ended without a verdict."""
        left = self._probing.ended(self.bench.t_s, shows_walk=self.bench.touch.ranging.shown)
        if left is Ending.NOTHING:
            self.bench.cue(CueKind.AGAIN, self.item)
        elif left is Ending.KEPT:
            self.bench.touch.block()  # the second contact must be a separate one
        self._arm()

    def reads_zero(self) -> WalkSign | None:
        """Take a conversion about zero, in volts; two of them after a `yes` make the verdict."""
        self._zeros = None if self.reading is None else self._near_zero.feed(self.reading)
        return None if self._zeros is None else WalkSign.ZERO

    def give_zero(self) -> None:
        """About zero, by the operator's `yes`."""
        burst = self._zeros
        pair = None if burst is None else burst.pair
        if burst is None or pair is None:
            raise AssertionError("about zero without the two conversions that show it")
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
        self._decided(by_contact=False)

    def waiting(self) -> None:
        """No contact for patience_s: say so once for this item, and stay."""
        self._waited = True
        super().waiting()

    def begin_anew(self) -> None:
        """After voltage, and a certain lift: the same item anew."""
        self._probing = self._fresh(self._at)

    # --- words

    def word_yes(self) -> None:
        """In volts: both tips are on the point, and the value about zero is meant."""
        if not self.in_volts:
            self.bench.note(f"the word 'yes' means nothing here: {self.status()}")
        elif self.bench.blocked:
            self.bench.cue(CueKind.AGAIN, self.item)
        elif self.bench.last is not None and not self.is_off(self.bench.last):
            self.bench.note(asking.not_zero(self.item, self.bench.last))
        else:
            self._near_zero.yes(self.bench.t_s)

    def be_good(self) -> None:
        """This unit is good for this step: what it reads here serves as reference."""
        self.bench.be_good(self.step)
        self._probing.aim = self._aim(self._at)

    def word_open(self) -> None:
        """The operator says that the path is open; a meter that shows a value on it makes that unsure."""
        last = None if self.said_by == "token" else self.bench.last
        shown = "" if last is None or self.is_off(last) else asking.shown(last, self.wanted)
        if shown:
            self._give_word(VerdictKind.UNSURE, f"said to be open while the meter showed {shown}")
            return
        reason = "open, by the operator's word"
        if self._probing.taken:
            taken = self._probing.taken[-1]
            earlier = format_value(taken.value, taken.reading.unit, taken.reading.resolution)
            reason += f"; an earlier contact read {earlier}"
        self._give_word(VerdictKind.FAIL, reason)

    def word_absent(self) -> None:
        """This unit has no such item; with a voltage on the tips that is unsure."""
        last = None if self.said_by == "token" or not self.in_volts else self.bench.last
        shown = "" if last is None or self.is_off(last) else asking.shown(last, self.wanted)
        if shown:
            self._give_word(VerdictKind.UNSURE, f"said to be absent while the meter showed {shown}")
            return
        self._give_word(VerdictKind.ABSENT, "absent, by the operator's word")

    def which_look(self) -> WalkSign:
        """A first `skip` queues a second look, one at the second look gives up."""
        return WalkSign.SECOND_LOOK if self._rounds.second else WalkSign.FIRST_LOOK

    def pass_over(self) -> None:
        """Leave the item for the second look."""
        self.bench.cue(CueKind.SKIP, self.item)
        self._rounds.skipped(self._at)

    def give_up(self) -> None:
        """Skipped at the second look as well."""
        self._give_word(VerdictKind.UNSURE, "skipped twice")

    def word_back(self) -> None:
        """Reopen the last item."""
        last = self._rounds.back()
        self._open(self._at if last is None else last)

    def word_at(self) -> None:
        """Open the item that the session found by its name."""
        named = self._name_at.index(self.text)
        self._rounds.reopen(named)
        self._open(named)

    def word_again(self) -> None:
        """Forget what the item's contacts said, and begin anew."""
        self._open(self._at)

    def word_replaced(self) -> None:
        """A new one is in: it enters the list of parts, and is measured."""
        self.bench.replaced(self.item, self.text or self.item)
        self.word_again()

    def skip_rest(self) -> None:
        """Every item without a verdict becomes unsure; what was ticked so far is still to be counted."""
        for index, item in enumerate(self._items):
            if index in self._rounds.done:
                continue
            self._rounds.done[index] = None
            if not self.bench.stands(item.name):
                self.bench.give(item.name, VerdictKind.UNSURE, reason="step skipped")

    def leave_uncounted(self) -> None:
        """Skip the rest, and the count check with it."""
        self.skip_rest()
        self.flag("count check skipped")
        self.finish()

    def leave_unsure(self) -> None:
        """Skip the rest; what the count check made unsure stays so."""
        self.skip_rest()
        self.finish()

    # --- moving on

    def decide(self) -> None:
        """Give the verdict that the contacts made."""
        result = self._probing.result
        if result is None:
            raise AssertionError("probing ended without a result")
        self.bench.give(self.item, result.verdict, limits=self._probing.aim.limits, **result.told)
        self.bench.ticked = (self.step.id, self.item)
        self._decided(by_contact=True)

    def _give_word(self, verdict: VerdictKind, reason: str) -> None:
        self.bench.give(self.item, verdict, limits=self._probing.aim.limits, reason=reason)
        self._decided(by_contact=False)

    def _decided(self, *, by_contact: bool) -> None:
        self._rounds.decided(self._at, by_contact=by_contact)
        self.remember()

    def open_next(self) -> None:
        """Go on with this look."""
        after = self._rounds.next
        if after is not None:
            self._open(after)

    def open_skipped(self) -> None:
        """Take those that were skipped once more."""
        first = self._rounds.second_look()
        if first is not None:
            self._at = first
            self.want()
            self._open(first)

    def finish(self) -> None:
        """End the step: what a kind of walk has still to say."""

    def _open(self, index: int) -> None:
        self._at = index
        self._probing = self._fresh(index)
        self._near_zero.forget()
        self._waited = False
        self.bench.changed()

    def _arm(self) -> None:
        """The item waits for its contact: its own slip time, and its patience unless the reminder was given."""
        self.bench.touch.recontact_s = self._step.recontact_s
        self.deadline_s = None if self._waited else at(self.bench.t_s + self._step.patience_s)

    def _fresh(self, index: int) -> Probing:
        return Probing(self._aim(index), self.bench.judge, self._pool)

    def _aim(self, index: int) -> Aim:
        item = self._items[index]
        good = self.bench.known_good or self.step.id in self.bench.good_for
        limits = limits_of(self._step, item, self.bench.rule, self.bench.goods, good=good)
        return Aim(item.name, limits, self._step.contacts, self._decisive)

    def _prompt(self) -> None:
        opening, self._first_prompt = self.step.say if self._first_prompt else None, False
        lacking, second = self._probing.aim.limits.lacking, self._rounds.second
        text = asking.probe(self._items[self._at], lacking=lacking, second=second, opening=opening)
        facts: PromptFacts = {"second": True} if self._rounds.second else {}
        self.say(Do.PROBE, text, **facts)
