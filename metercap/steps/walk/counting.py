"""The count check of a sweep: was the last tick where the walk believes it to be?

Ticks go by order, so one slip shifts all that follow: if the last one was right, so were those before it. The question
is asked when the tips are off, so that nothing larger hides it, and an answer to what was hidden is none. After a `no`
everything since the check before is unsure, and is swept again at once where the operator wants to.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from metercap.asks import Asks
from metercap.contact import TouchState
from metercap.plankeys import Item
from metercap.quantity.names import compressed
from metercap.records import Do, VerdictKind
from metercap.steps.facts import InForce, WalkFacts
from metercap.steps.machine import Machine
from metercap.steps.probing import Probing
from metercap.steps.rounds import Rounds, Uncounted
from metercap.steps.walk.table import WalkSign, WalkState


class CountCheck(Machine):
    """What a walk adds to its moves to have its ticks counted; `_count_check` turns it on."""

    _items: Sequence[Item]
    _name_at: Sequence[str]
    """The items' names; all that were ticked are named again at every tick."""
    _rounds: Rounds
    _count_check: bool
    _at: int
    _probing: Probing
    _suspect: Sequence[int] = ()
    """What the last count check made unsure."""
    _hidden: bool = False
    """Whether the tips touch something that does not count: "lift" is larger than the question then."""

    def facts(self) -> WalkFacts:
        """How far the walk is, what is held against the item in turn, and what its contacts have given."""
        aim, counting = self._probing.aim, self.state in (WalkState.LAST, WalkState.ASK)
        return WalkFacts(
            done=len(self._rounds.done),
            of=len(self._items),
            limits=InForce.of(aim.limits),
            second=self._rounds.second,
            contacts=tuple(taken.value for taken in self._probing.taken),
            needed=aim.contacts,
            counting=counting,
            again=self._names(self._suspect) if self.state is WalkState.REDO else (),
        )

    def owed(self) -> bool:
        """Take over what an earlier session left uncounted; return whether there is anything."""
        owed = self.bench.uncounted.get(self.step.id) if self._count_check else None
        if owed is not None:
            self._rounds.owe(self._numbers(owed.ticked), self._numbers(owed.since))
        return self._uncounted

    @property
    def _uncounted(self) -> bool:
        return self._count_check and bool(self._rounds.ticked)

    def what_next(self) -> WalkSign:
        """Find what follows; between two groups, over a gap, and at the end of a look the count check comes first."""
        if self._uncounted and (self._rounds.next is None or self._rounds.ends_group(self._at)):
            return WalkSign.DUE_COUNT
        return self.after_count()

    def after_count(self) -> WalkSign:
        """Find what follows where nothing is to be counted: this look, the second, or the end."""
        if self._rounds.next is not None:
            return WalkSign.ITEM
        return WalkSign.SKIPPED if self._rounds.left else WalkSign.NONE

    def begin_count(self) -> None:
        """Ask about the ticks since the last check, by the last of them."""
        self._at = self._rounds.ticked[-1]
        self.deadline_s = None
        self.bench.changed()

    def where_tips(self) -> WalkSign:
        """Look whether the tips are off, so that the question can be seen."""
        off = self.bench.touch.state in (TouchState.FREE, TouchState.UNKNOWN)
        return WalkSign.TIPS_OFF if off else WalkSign.TIPS_ON

    def ask_lift(self) -> None:
        """Have the tips taken off first."""
        self.say(Do.LIFT, "tips off: the count check comes next")

    def ask_count(self) -> None:
        """The tips are off for certain: now the question can be seen."""
        self._hidden = False
        self.say(Do.ANSWER, f"count check: was the last tick on {self.item}? yes or no", asks=Asks.COUNT)

    def unseen(self) -> None:
        """An answer to a question that was not shown yet, or was hidden by what had to be done first."""
        self.bench.note(f"{self.step.id}: that answers nothing yet: the count check is asked when the tips are off")

    def is_right(self) -> WalkSign:
        """Yes: take it where the question was seen."""
        return WalkSign.UNSEEN if self._unseen else WalkSign.RIGHT

    def is_wrong(self) -> WalkSign:
        """No: take it where the question was seen."""
        return WalkSign.UNSEEN if self._unseen else WalkSign.WRONG

    def be_left(self) -> None:
        """The step is left: what a question was about that nobody answered is unsure, and is swept again later."""
        if self.state in (WalkState.LAST, WalkState.ASK):
            self._suspect = self.flag("count check not answered: the step was left")
        if self.state in (WalkState.LAST, WalkState.ASK, WalkState.REDO):
            for index in self._suspect:
                self._rounds.reopen(index)

    @property
    def _unseen(self) -> bool:
        return self._hidden or self.bench.blocked

    def counted(self) -> None:
        """The last tick was where it should be."""
        self._rounds.counted()
        self.remember()

    def miscounted(self) -> None:
        """It was not: nothing since the last check can be trusted, words neither: they were for other items."""
        self._suspect = self.flag("count check: the last tick was on another item")
        self._at = self._suspect[0]

    def redo(self) -> None:
        """Sweep what the check was about once more."""
        for index in self._suspect:
            self._rounds.reopen(index)

    def flag(self, reason: str) -> list[int]:
        """Make everything since the last check unsure; return which items these are."""
        flagged = self._rounds.counted()
        for index in flagged:
            name = self._items[index].name
            if (self.step.id, name) in self.bench.verdicts:  # one that is taken over and was unsure has none here
                self.bench.replace(self.step.id, name, VerdictKind.UNSURE, reason)
        self.remember()
        return flagged

    def offer(self) -> None:
        """Offer to sweep what became unsure once more."""
        names = ", ".join(compressed(self._names(self._suspect)))
        text = f"sweep {names} again now? yes or no; no leaves them unsure"
        self.say(Do.ANSWER, text, self.step.id, asks=Asks.REDO)

    def remember(self) -> None:
        """Keep what the next count check is about where a later session finds it."""
        self.bench.uncounted.pop(self.step.id, None)
        if self._uncounted:
            ticked, since = self._names(self._rounds.ticked), self._names(self._rounds.since)
            self.bench.uncounted[self.step.id] = Uncounted(ticked, since)

    def _names(self, numbers: Iterable[int]) -> tuple[str, ...]:
        return tuple(map(self._name_at.__getitem__, numbers))

    def _numbers(self, names: Iterable[str]) -> list[int]:
        return [index for name in names for index, item in enumerate(self._items) if item.name == name]
