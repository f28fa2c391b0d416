"""As found: what each trimmer reads before anything turns, and what a hand does to that.

What a hand moves is no value as found, however soon it stops; a contact that gets better, a capacitor that charges and
a noisy wiper are none of its doing. It may also turn in a contact that does not count: too early, before a certain
lift, or going on after its tick. The hazard alarm asks for no credit.
"""

from __future__ import annotations

import itertools

from metercap.contact import Act
from metercap.contact.burst import PLATEAU_COUNTS, WIDE_COUNTS
from metercap.contact.touch import TouchState
from metercap.judging.contacts import Ending
from metercap.plankeys import TuneStep
from metercap.reading import Reading
from metercap.records import CueKind, VerdictKind
from metercap.steps.bench import Bench
from metercap.steps.probing import Finding, Result
from metercap.steps.tune import asking
from metercap.steps.tune.state import TuneBase
from metercap.steps.tune.table import TuneSign, TuneState
from metercap.steps.tune.trimmers import Trimmers
from metercap.steps.tune.turning import Turning

MOVING = "it was already moving"
GOOD_UNIT = "a known-good unit: recorded, not turned"
MOVES = 3
"""Moves one way that make a hand: a contact gets better in one leap or two."""
GOES_ON = 0.7
"""A charge goes on by less and less; a hand's last move is at least this share of its first."""


_UNCOUNTED = (Act.SLIP, Act.HELD)


class Begun:
    """Looks at the conversions of one contact before as found has settled."""

    __slots__ = ("_blend", "_resolution", "_values")

    def __init__(self) -> None:
        self._blend = True
        self._resolution = 0.0
        self._values: list[float] = []

    def feed(self, value: float, resolution: float) -> bool:
        """Take a new conversion; return whether a hand turns. The first of a contact may be a blend, and is passed."""
        if self._blend:
            self._blend = False
            return False
        if resolution != self._resolution:
            self._resolution = resolution
            self._values.clear()
        self._values = [*self._values[-MOVES:], value]
        if len(self._values) <= MOVES:
            return False
        if abs(value - self._values[0]) <= WIDE_COUNTS * resolution:
            return False
        moves = [later - earlier for earlier, later in itertools.pairwise(self._values)]
        one_way = min(moves) > PLATEAU_COUNTS * resolution or max(moves) < -PLATEAU_COUNTS * resolution
        return one_way and abs(moves[-1]) >= GOES_ON * abs(moves[0])


class Passing:
    """Follows the trimmer `name` through one such contact; `sure` says that the tips are on it and on no other part.

    Where they may be on another, only a value that was seen inside the limits before it went past them is of it.
    """

    __slots__ = ("begun", "inside", "name", "sure", "trimmers", "turning")

    def __init__(self, name: str, trimmers: Trimmers, turning: Turning, *, sure: bool) -> None:
        self.name = name
        self.trimmers = trimmers
        self.turning = turning
        self.sure = sure
        self.inside = False
        self.begun = Begun()


class TuneFound(TuneBase):
    """Reads as found, and follows contacts that do not count."""

    def __init__(self, step: TuneStep, bench: Bench) -> None:
        super().__init__(step, bench)
        self._begun = Begun()
        self._passing: Passing | None = None
        self._under: tuple[str, Trimmers] | None = None
        """The trimmer that the contact of the moment was credited to; None once the tips were off."""

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
        self._passed()
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

    # --- contacts that do not count, or that nothing else follows

    def _pass(self, reading: Reading, act: Act, new: bool) -> None:
        """Take a reading of a contact that does not count, or that counts while something else is asked or read."""
        if reading.value is None or not new:
            return
        passing = self._passing or self._passer(act)
        if passing is None or passing.trimmers.too_coarse(passing.name, reading):
            return
        self._passing = passing
        turning = passing.turning
        if turning.fresh:
            turning.feed(reading, reading.value)  # it may be a blend
            passing.begun.feed(reading.value, reading.resolution)
            return
        inside = turning.band.beyond(reading.value, reading.resolution) is None
        if inside or passing.inside or passing.sure:
            passing.trimmers.watch(passing.name, turning, reading)
            self._lies(passing)
        went = passing.inside and not inside
        passing.inside = passing.inside or inside
        moves = passing.begun.feed(reading.value, reading.resolution) or (went and turning.hazard.past)
        unread = self._phase is TuneState.FOUND and self._to_find and self.item == passing.name
        if moves and act in _UNCOUNTED and unread:
            self.give(TuneSign.MOVED)

    def _passer(self, act: Act) -> Passing | None:
        """Return what follows the contact that begins now, or goes on without being followed.

        A contact that counts is on what is asked for; one that does not is on what was ticked last, else on what it
        was credited to, else on what is asked for.
        """
        ticked, touch = self.bench.ticked, self.bench.touch
        counts = act not in _UNCOUNTED
        asked = self._phase is not TuneState.FOUND  # it was read, or turned
        if counts:
            name, trimmers, sure = self.item, self._trimmers_of_item, asked
        elif self._under is not None:
            (name, trimmers), sure = self._under, asked or self._is_ticked(*self._under)
        elif ticked is not None and self._trimmers.of(ticked[0]).step.id == ticked[0]:
            name, trimmers, sure = ticked[1], self._trimmers.of(ticked[0]), True
        elif touch.is_early:
            name, trimmers, sure = self.item, self._trimmers_of_item, ticked is None
        else:
            return None
        begins = act is Act.SLIP or act is Act.CONTACT
        return Passing(name, trimmers, trimmers.watching(name, begins=begins), sure=sure)

    @property
    def _is_held(self) -> bool:
        """Whether the tips are on the trimmer in turn in a contact that does not count."""
        held = self.bench.touch.state is TouchState.SPENT_ON
        return held and self._under is not None and self._under[0] == self.item

    def _is_ticked(self, name: str, trimmers: Trimmers) -> bool:
        return self.bench.ticked == (trimmers.step.id, name)

    def _lies(self, passing: Passing) -> None:
        """Remember where a trimmer that was read as found lies now, if its value is believed."""
        turning, found = passing.turning, passing.trimmers.found(passing.name)
        if found is not None and turning.believed is not None and turning.last is not None:
            apart = max(found.expanded, PLATEAU_COUNTS * turning.last.resolution)
            key = passing.trimmers.step.id, passing.name
            self.bench.moved[key] = abs(turning.believed - found.value) > apart

    def _passed(self) -> None:
        """The contact is over, or followed by something else: an excursion ends, and an alarm that was not believed."""
        passing, self._passing = self._passing, None
        if passing is None:
            return
        passing.turning.lost(self.bench.t_s)
        passing.trimmers.end_watch(passing.name, passing.turning)
        if self._turning is not None and passing.name == self.item:
            self._turning.hazard.goes_on(passing.turning.hazard)
        elif passing.name != self.item:
            self.bench.say_standing(passing.name)  # it was turned too early, and is left so
