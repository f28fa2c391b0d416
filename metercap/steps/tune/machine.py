"""tune: a trimmer to a band, live.

As found is read for every trimmer of the step, and of later tune steps, before anything turns, and is never
overwritten. Accepted is a value in the band by the rule, at rest for `rest_s`; then the tool is taken away, and it must
be at rest again. With several trimmers all are read again after the last turn, because they interact.
"""

from __future__ import annotations

from metercap.records import VerdictKind
from metercap.steps.probing import Finding, Probing
from metercap.steps.tune import asking
from metercap.steps.tune.found import GOOD_UNIT
from metercap.steps.tune.hands import TuneHands
from metercap.steps.tune.state import COARSE
from metercap.steps.tune.table import TABLE, TuneSign, TuneState


class Tune(TuneHands):
    """Reads as found, has each trimmer turned, judges what is left."""

    TABLE = TABLE

    def start(self) -> None:
        """Read as found whatever has no such value yet, here and in later tune steps."""
        self.bench.touch.recontact_s = self._step.recontact_s
        self._over.update(name for name in self._names if self.bench.is_kept(self.step.id, name))
        self._to_find = self._trimmers.to_read()
        self._tell_beside()
        self._begun_with = (len(self._to_find), len(self._over))
        self.move(TuneState.NEXT)

    def start_at(self, item: str) -> None:
        """Turn this trimmer first, once as found is read."""
        self._order.sort(key=lambda index: self._names[index] != item)
        self._at = self._names.index(item)
        self.start()

    @property
    def undone(self) -> tuple[str, ...]:
        """Every trimmer that was to be turned: what is turned later moves those that were turned before."""
        return tuple(name for name in self._names if name not in self._over)

    @property
    def has_behind(self) -> bool:
        """True once anything of the step was read or turned."""
        moved = self._begun_with != (len(self._to_find), len(self._over)) or bool(self._turned)
        return moved or self._phase is TuneState.LEFT

    # --- as left

    def read_left(self) -> TuneSign | None:
        """Take a new conversion while as left is read."""
        finding = self._probing.take(self.reading, self.bench)
        if finding is Finding.DONE:
            return TuneSign.SETTLED
        return TuneSign.VOLTAGE if finding is Finding.VOLTS else None

    def keep_left(self) -> None:
        """As left is known."""
        result = self._probing.result
        if result is None:
            raise AssertionError("as left without a value")
        self._reread.add(self.item)
        self._passed()
        self._trimmers.give_left(self.item, result.judged, result.reason, result.n, result.from_s, result.contacts)
        self.bench.ticked = (self.step.id, self.item)

    # --- from trimmer to trimmer

    def what_next(self) -> TuneSign:
        """Find what comes next: as found of all, then turning each, then as left of all that were turned."""
        if self._to_find:
            return TuneSign.TO_FIND
        if self._next_to_turn is not None:
            return TuneSign.TO_TURN
        return TuneSign.NONE if self._next_to_read is None else TuneSign.TO_READ

    @property
    def _next_to_turn(self) -> int | None:
        over = (self._turned, self._over)
        return next((n for n in self._order if not any(self._names[n] in each for each in over)), None)

    @property
    def _next_to_read(self) -> int | None:
        if self._alone:
            return None
        over = (self._over, self._reread)
        return next((n for n, name in enumerate(self._names) if not any(name in each for each in over)), None)

    def aim_next(self) -> None:
        """Turn the first trimmer that is to be turned."""
        self._at = self._next_to_turn or 0
        self.aim_anew()

    def reread_next(self) -> None:
        """Read the first trimmer as left that is not."""
        self._at = self._next_to_read or 0
        self.open_left()

    def open_found(self) -> None:
        """Ask for as found."""
        self._fresh()
        self._phase, self._turning = TuneState.FOUND, None
        self._probing = Probing(self._trimmers.aim(self.item, found=True), self.bench.judge)

    def open_left(self) -> None:
        """Ask for as left."""
        self._fresh()
        self._phase, self._turning = TuneState.LEFT, None
        self._probing = Probing(self._trimmers.aim(self.item, found=False), self.bench.judge)

    def aim_anew(self) -> None:
        """Turn the present trimmer, from a contact that begins; as found stays."""
        self._fresh()
        self._aim(self._at)

    def _fresh(self) -> None:
        """Forget what belonged to the contact, or to the trimmer, before."""
        self._final = self._creep_said = self._sure = self._asks_touch = False
        self._creeps = None
        self._lost_at = ""
        self._coarse = 0
        self.bench.changed()

    def _aim(self, at: int) -> None:
        self._at = at
        self._phase = TuneState.TURN
        self._reread.clear()
        self._creeps, self._creep_said = None, False
        lacking = self._trimmers.needs_target(self.item)
        self._turning = None if lacking else self._trimmers.turning(self.item)

    def can_prove(self) -> TuneSign:
        """Look whether it is known what to turn to, and whether the meter can prove that band, which is said once."""
        if self._trimmers.needs_target(self.item):
            return TuneSign.NO_TARGET
        self._narrow = None if self.item in self._asked else asking.least(self._trimmers, self.item)
        self._asked.add(self.item)
        return TuneSign.PROVABLE if self._narrow is None else TuneSign.NARROW

    def turn_on(self) -> None:
        """Turn it in the contact that goes on."""
        if self._turning is not None:
            self._turning.contact()
        self.say_turn()

    # --- words

    def be_good(self) -> None:
        """This unit is good for this step: what it reads here, and was read as found already, serves as reference."""
        self.bench.be_good(self.step)
        for name in self._names:
            found = self._trimmers.found(name)
            if self.bench.moved.get((self.step.id, name)):
                if name not in self._over:
                    self.bench.note(
                        f"{name} was turned since it was read as found: where it stands is not known, so it can be no "
                        "reference",
                        aloud=True,
                    )
            elif found is not None and name not in self._over and self._trimmers.is_reference(name):
                self._over.add(name)
                self._trimmers.give(name, VerdictKind.PASS, GOOD_UNIT, judged=found)
        unread = [name for name in self._names if (self.step.id, name) in self.bench.unread]
        if unread and self._trimmers.needs_target(unread[0]):
            self.bench.note(f"{', '.join(unread)}: not read as found, so it can be no reference")

    def replaced(self) -> None:
        """A new trimmer is in: it enters the list of parts, and is turned; as found stays that of the old one."""
        self._leave_item()
        self.bench.replaced(self.item, self.text or self.item)
        self._turned.discard(self.item)
        self.aim_anew()

    def word_yes(self) -> None:
        """Both tips are on where that does not show; or the meter has no finer range."""
        if self._coarse >= COARSE:
            self._coarse_taken = True
            self.bench.note(f"{self.item}: the operator says that the meter has no finer range")
        elif not self._in_ohms and self.state in (TuneState.FOUND, TuneState.TURN, TuneState.STOP, TuneState.LEFT):
            self._sure = True
        else:
            self.bench.note(f"the word 'yes' means nothing here: {self.status()}")

    def back_from_turn(self) -> None:
        """Go back to the trimmer before."""
        self._leave_item()
        self._at = max(0, self._at - 1)
        self.back_from_left()

    def back_from_left(self) -> None:
        """Turn the trimmer once more that is read as left."""
        self._turned.discard(self._names[self._at])
        self.aim_anew()

    def find(self) -> TuneSign:
        """Look for the trimmer that a word names; none is turned before all are read as found."""
        return TuneSign.UNNAMED if self._named is None else TuneSign.NAMED

    @property
    def _named(self) -> int | None:
        wanted, read = self.text.strip().casefold(), (self.bench.as_found, self.bench.unread)
        for index, name in enumerate(self._names):
            if name.casefold() == wanted and any((self.step.id, name) in each for each in read) and not self._to_find:
                return index
        return None

    def word_at(self) -> None:
        """Turn the trimmer that was named."""
        named = self._named
        if named is None:
            return
        self._leave_item()
        self._at = named
        self._turned.discard(self._names[named])
        self._over.discard(self._names[named])
        self.aim_anew()

    def no_such(self) -> None:
        """The word names none that can be turned now."""
        why = "every trimmer is read as found first" if self._to_find else f"there are {', '.join(self._names)}"
        self.bench.note(f"no trimmer {self.text.strip()!r} to turn now: {why}")

    def word_skip(self) -> None:
        """Do without it."""
        self._without(VerdictKind.UNSURE, "skipped")

    def word_absent(self) -> None:
        """This unit has no such trimmer."""
        self._without(VerdictKind.ABSENT, "absent, by the operator's word")

    def word_open(self) -> None:
        """The trimmer's track is open."""
        self._without(VerdictKind.FAIL, "open, by the operator's word")

    def word_skip_step(self) -> None:
        """Whatever has no verdict becomes unsure."""
        self._leave_item()
        for name in self._names:
            if not self.bench.stands(name):
                self._trimmers.give(name, VerdictKind.UNSURE, "step skipped")

    def _without(self, verdict: VerdictKind, reason: str) -> None:
        self._leave_item()
        name = self.item
        if self._phase is TuneState.FOUND and self._to_find:
            key = self._to_find.pop(0)
            if key[0] != self.step.id:  # a later step's trimmer: it will be asked for again there
                self.bench.note(f"{name} was not read as found")
                return
        self._over.add(name)
        self._turning = None
        self._trimmers.give(name, verdict, reason)
