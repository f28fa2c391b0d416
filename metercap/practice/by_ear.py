"""Hands that sweep by ear: on the meter's own beep, without the tool. The baseline of the tool's pace.

They touch, hear the beep after `SIGN_S`, react, lift, and move to the next item; one that stays silent is left after
their patience. What is gained by it is fast; nothing is counted, and nothing is kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from random import Random

from metercap.practice.body import Body, World
from metercap.practice.habits import Habits
from metercap.records import Record

SIGN_S = 0.1
"""A beeper sounds this long after contact (common practice, no source)."""


class ByEar(Body):
    """Sweeps every row of `rows` once, in its order, from time 0 on."""

    def __init__(
        self, habits: Habits, world: World, rng: Random, rows: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        super().__init__(habits, world, rng)
        self._left = [item for row in (rows or {}).values() for item in row]
        self.plan("move", self.move_s(), self._touch)

    def see(self, record: Record, t_s: float) -> None:
        """What the tool says is not heeded."""

    def _touch(self, t_s: float) -> None:
        if not self._left:
            return
        item = self._left.pop(0)
        self.put_on(t_s, item)
        heard = self.world.meter.beeps(self.world.board.place(item), t_s)
        self.plan("move", t_s + (SIGN_S + self.reaction_s() if heard else self.patience_s()), self._lift)

    def _lift(self, t_s: float) -> None:
        self.take_off(t_s)
        self.plan("move", t_s + self.move_s(), self._touch)
