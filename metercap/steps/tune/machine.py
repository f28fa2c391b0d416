"""tune: a trimmer to a band, live.

As found is read for every trimmer of the step, and of later tune steps, before anything turns, and is never
overwritten. Accepted is a value in the band by the rule, at rest for `rest_s`; then the tool is taken away, and it must
be at rest again. With several trimmers all are read again after the last turn, because they interact.
"""

from __future__ import annotations

from metercap.judging.contacts import Ending
from metercap.records import CueKind, VerdictKind
from metercap.steps.probing import Finding, Probing, Result
from metercap.steps.tune import asking
from metercap.steps.tune.begun import Begun
from metercap.steps.tune.passing import MOVING
from metercap.steps.tune.table import TABLE, TuneSign, TuneState
from metercap.steps.tune.trimmers import Trimmers
from metercap.steps.tune.words import GOOD_UNIT, TuneWords


class Tune(TuneWords):
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

    # --- as found

    def read(self) -> None:
        """A credited contact to read a settled value."""
        self.deadline_s = None
        self._probing.contact(self.bench.t_s)
        self._begun = Begun()

    def parted(self) -> None:
        """The contact ended before enough was known."""
        left = self._probing.ended(self.bench.t_s, shows_walk=self.bench.touch.ranging.shown)
        if left is Ending.NOTHING:
            self.bench.cue(CueKind.AGAIN, self.item)
        elif left is Ending.KEPT:
            self.bench.touch.block()
        self.arm()

    def read_found(self) -> TuneSign | None:
        """Take a new conversion while as found is read."""
        reading = self.reading
        if reading is None or reading.value is None:
            return None
        step, name = self._to_find[0]
        only = self._alone and len(self._to_find) == 1 and step == self.step.id
        if self._begun.feed(reading.value, reading.resolution):
            return TuneSign.MOVED_ALONE if only and not self._trimmers.aimless(name) else TuneSign.MOVED
        finding = self._probing.take(reading, self.bench)
        if finding is Finding.VOLTS:
            return TuneSign.VOLTAGE
        if finding is not Finding.DONE:
            return None
        if step == self.step.id and self._trimmers.is_reference(name):
            return TuneSign.GOOD_UNIT
        return TuneSign.ALONE if only else TuneSign.SETTLED

    def _keep(self) -> tuple[tuple[str, str], Result]:
        """As found has settled: keep and say it."""
        reading, result = self.reading, self._probing.result
        if reading is None or result is None:
            raise AssertionError("as found without a value")
        key = self._to_find.pop(0)
        trimmers = self._trimmers.of(key[0])
        unit, judged = trimmers.unit, result.judged
        self.bench.found(*key, unit, judged, reading, n=result.n, from_s=result.from_s, contacts=result.contacts)
        past = trimmers.settled(key[1], result.judged)
        self._tell_found(trimmers, key[1])
        if past:
            self.bench.say_standing(key[1])
        return key, result

    def _tell_found(self, trimmers: Trimmers, name: str) -> None:
        """Say what a trimmer was found at, beside a good unit where one is known."""
        good = trimmers.good(name)
        if good is not None:
            self.bench.beside[trimmers.step.id, name] = good
        self.bench.note(asking.found(trimmers, name), aloud=good is not None)

    def _tell_beside(self) -> None:
        """Say it of trimmers that were read before a good unit's value was known."""
        for name in self._names:
            good, told = self._trimmers.good(name), self.bench.beside.get((self.step.id, name))
            read = self._trimmers.found(name) is not None
            if read and good is not None and good != told and name not in self._over:
                self._tell_found(self._trimmers, name)

    def keep_found(self) -> None:
        """As found is known: one of several, or of a later step."""
        key, _ = self._keep()
        self.bench.ticked = key
        self.bench.cue(CueKind.PASS, key[1])

    def keep_only(self) -> None:
        """As found is known of a lone trimmer: it is turned in the same contact."""
        self._keep()
        self._aim(0)

    def keep_good(self) -> None:
        """A known-good unit itself gives the value that others are turned to."""
        key, result = self._keep()
        self._over.add(key[1])
        self._trimmers.give(key[1], VerdictKind.PASS, GOOD_UNIT, judged=result.judged, n=result.n, from_s=result.from_s)
        self.bench.ticked = key

    def _not_read(self, why: str = MOVING) -> tuple[str, str]:
        """As found is lost for good, which is said at once; it never becomes a value."""
        key = self._to_find.pop(0)
        self.bench.unread[key] = why
        self.bench.note(f"{key[1]}: as found not read: {why}", aloud=True)
        return key

    def moved(self) -> None:
        """A hand turned it before it was read."""
        self._without_found(self._not_read())

    def replaced_unread(self) -> None:
        """A new trimmer is in before the old one was read: it enters the list of parts."""
        step, item = self._to_find[0]
        self.bench.replaced(item, self.text or item, step)
        self._without_found(self._not_read("it was replaced"))

    def _without_found(self, key: tuple[str, str]) -> None:
        if key[0] == self.step.id and self._trimmers.aimless(key[1]):
            self._over.add(key[1])
            self._trimmers.give(key[1], VerdictKind.UNSURE, "nothing to turn to")
        elif not self._alone or self._to_find or key[0] != self.step.id:
            self.bench.cue(CueKind.UNSURE, key[1])
            self.bench.ticked = key

    def moved_only(self) -> None:
        """A hand turned a lone trimmer before it was read: it goes on in the same contact."""
        self._not_read()
        self._aim(0)

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
