"""A contact that does not count, in a tune step: nothing is judged by it, but a hand may turn the trimmer all the same.

It may be too early, before a certain lift, or go on after its tick. The hazard alarm asks for no credit; and what a
hand has moved meanwhile is no value as found any more.
"""

from __future__ import annotations

from metercap.reading import Reading
from metercap.steps.tune.begun import Begun
from metercap.steps.tune.state import TuneBase
from metercap.steps.tune.table import TuneSign, TuneState
from metercap.steps.tune.trimmers import Trimmers
from metercap.steps.tune.turning import Turning

MOVING = "it was already moving"


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


class TunePassing(TuneBase):
    """What readings do in contacts that do not count."""

    def _pass(self, reading: Reading, new: bool) -> None:
        """Take a reading of a contact that does not count."""
        if reading.value is None or not new:
            return
        passing = self._passing or self._passer()
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
        went = passing.inside and not inside
        passing.inside = passing.inside or inside
        moves = passing.begun.feed(reading.value, reading.resolution) or (went and turning.hazard.past)
        if moves and self._phase is TuneState.FOUND and self._to_find and self.item == passing.name:
            self.give(TuneSign.MOVED)

    def _passer(self) -> Passing | None:
        """Return what follows the contact that begins now: on what was ticked last, else on what is asked for."""
        ticked, touch = self.bench.ticked, self.bench.touch
        if ticked is not None and ticked[0] == self.step.id:
            name, trimmers, sure = ticked[1], self._trimmers, True
        elif touch.is_early:
            name, trimmers, sure = self.item, self._trimmers_of_item, ticked is None
        else:
            return None
        return Passing(name, trimmers, trimmers.watching(name), sure=sure)

    def _passed(self) -> None:
        """The contact is over: an excursion ends, and with it an alarm that was not believed."""
        passing, self._passing = self._passing, None
        if passing is None:
            return
        passing.turning.lost(self.bench.t_s)
        passing.trimmers.end_watch(passing.name, passing.turning)
        if self._turning is not None and passing.name == self.item:
            self._turning.hazard.goes_on(passing.turning.hazard)
