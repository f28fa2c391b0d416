"""tune: a trimmer to a band, live.

As found is read for every trimmer of the step, and of later tune steps, before anything turns, and is never
overwritten. Accepted is a value in the band by the rule, at rest for `rest_s`; then the tool is taken away, and it must
be at rest again. With several trimmers all are read again after the last turn, because they interact.
"""

from __future__ import annotations

from enum import StrEnum

from metercap.asks import Asks
from metercap.judging.contacts import Ending
from metercap.records import CueKind, Do, VerdictKind
from metercap.steps.probing import Finding, Probing
from metercap.steps.tune import asking
from metercap.steps.tune.begun import Begun
from metercap.steps.tune.passing import MOVING
from metercap.steps.tune.table import TABLE, S
from metercap.steps.tune.words import TuneWords


class Tune(TuneWords):
    """Reads as found, has each trimmer turned, judges what is left."""

    TABLE = TABLE

    def start(self) -> None:
        """Read as found whatever has no such value yet, here and in later tune steps."""
        self.bench.touch.recontact_s = self._step.recontact_s
        self._over.update(name for name in self._names if self.bench.is_kept(self.step.id, name))
        self._to_find = self._trimmers.to_read()
        self.state = self._go()

    def read(self) -> StrEnum:
        """A credited contact to read a settled value."""
        self.deadline_s = None
        self._probing.contact(self.bench.t_s)
        self._begun = Begun()
        return S.FOUND_ON if self._phase is S.FOUND else S.LEFT_ON

    def parted(self) -> StrEnum:
        """The contact ended before enough was known."""
        left = self._probing.ended(self.bench.t_s, shows_walk=self.bench.touch.ranging.shown)
        if left is Ending.NOTHING:
            self.bench.cue(CueKind.AGAIN, self.item)
        elif left is Ending.KEPT:
            self.bench.touch.block()
        self._arm()
        return self._phase

    def found(self) -> StrEnum:
        """A new conversion while as found is read."""
        reading = self.reading
        if reading is None or reading.value is None:
            return S.FOUND_ON
        if self._begun.feed(reading.value, reading.resolution):
            return self._not_read(MOVING)
        finding = self._probing.take(reading, self.bench)
        if finding is not Finding.DONE:
            return S.VOLTS if finding is Finding.VOLTS else S.FOUND_ON
        result = self._probing.result
        if result is None:
            return S.FOUND_ON
        key = self._to_find.pop(0)
        trimmers = self._trimmers.of(key[0])
        unit, judged = trimmers.unit, result.judged
        self.bench.found(*key, unit, judged, reading, n=result.n, from_s=result.from_s, contacts=result.contacts)
        past = trimmers.settled(key[1], result.judged)
        self.bench.note(asking.found(trimmers, key[1]), aloud=trimmers.good(key[1]) is not None)
        if past:
            self.bench.say_standing(key[1])
        if key[0] == self.step.id and self._trimmers.is_reference(key[1]):
            self._over.add(key[1])
            reason = "a known-good unit: recorded, not turned"
            self._trimmers.give(
                key[1], VerdictKind.PASS, reason, judged=result.judged, n=result.n, from_s=result.from_s
            )
            self.bench.ticked = key
            return self._go()
        return self._was_read(key)

    def _was_read(self, key: tuple[str, str]) -> StrEnum:
        """Go on after as found: a lone trimmer is turned in the same contact."""
        if self._alone and not self._to_find and key[0] == self.step.id:
            self._at = 0
            return self._begin_turn(touching=True)
        self.bench.ticked = key
        self.bench.cue(CueKind.PASS, key[1])
        return self._go()

    def _not_read(self, why: str, *, touching: bool = True) -> StrEnum:
        """As found is lost for good, which is said at once; it never becomes a value. `touching`: it counts."""
        key = self._to_find.pop(0)
        self.bench.unread[key] = why
        self.bench.note(f"{key[1]}: as found not read: {why}", aloud=True)
        if key[0] == self.step.id and self._trimmers.aimless(key[1]):
            self._over.add(key[1])
            self._trimmers.give(key[1], VerdictKind.UNSURE, "nothing to turn to")
            return self._go()
        if not self._alone or self._to_find or key[0] != self.step.id:
            self.bench.cue(CueKind.UNSURE, key[1])
            self.bench.ticked = key
            return self._go()
        return self._was_read(key) if touching else self._go()

    def left(self) -> StrEnum:
        """A new conversion while as left is read."""
        finding = self._probing.take(self.reading, self.bench)
        if finding is not Finding.DONE:
            return S.VOLTS if finding is Finding.VOLTS else S.LEFT_ON
        result = self._probing.result
        if result is None:
            return S.LEFT_ON
        self._reread.add(self.item)
        self._trimmers.give_left(self.item, result.judged, result.reason, result.n, result.from_s, result.contacts)
        self.bench.ticked = (self.step.id, self.item)
        return self._go()

    def reopen(self) -> StrEnum:
        """After voltage and a certain lift."""
        return self._open(self._phase)

    def _go(self) -> StrEnum:
        """Open what comes next: as found, turning, as left, the end."""
        if self._to_find:
            return self._open(S.FOUND)
        for index, name in enumerate(self._names):
            if name not in self._turned and name not in self._over:
                self._at = index
                return self._open(S.TURN)
        if not self._alone:
            for index, name in enumerate(self._names):
                if name not in self._over and name not in self._reread:
                    self._at = index
                    return self._open(S.LEFT)
        return self._finish()

    def _open(self, phase: StrEnum) -> StrEnum:
        self._final = self._creep_said = self._sure = self._asks_touch = False
        self._creeps = None
        self._lost_at = ""
        self._coarse = 0
        self.bench.changed()
        if phase is S.TURN:
            return self._begin_turn(touching=False)
        self._phase = S.FOUND if phase is S.FOUND else S.LEFT
        self._turning = None
        self._probing = Probing(self._trimmers.aim(self.item, found=phase is S.FOUND), self.bench.judge)
        self._arm()
        self._prompt()
        return self._phase

    def _begin_turn(self, *, touching: bool) -> StrEnum:
        self._phase = S.TURN
        self._reread.clear()
        self._creeps, self._creep_said = None, False
        self._turning = self._trimmers.turning(self.item)
        half = None if self.item in self._asked else asking.least(self._trimmers, self.item)
        self._asked.add(self.item)
        if half is not None:
            self._question = "rule"
            narrow = asking.too_narrow(self._trimmers, self.item, half)
            self.say(Do.ANSWER, f"{narrow}. Take the simple rule for it? yes or no", asks=Asks.RULE)
            return S.ASK
        if touching:
            self._turning.contact()
            self._say_turn()
            return S.TURN_ON
        self._arm()
        self._prompt()
        return S.TURN

    def _finish(self) -> StrEnum:
        self.deadline_s = None
        self.done = True
        return S.END
