"""The board on the bench: named points that the probes can touch, the air between them, and the tips
together."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random
from typing import NamedTuple

from metercap.errors import SceneError
from metercap.practice.parts import OPEN_OHM, Part, Path, Supply

AIR_NAME = ""
"""Name of the place where the probes touch nothing."""

TIPS_NAME = "tips together"
"""Name of the place where the two tips touch each other."""


REVERSED = " reversed"
"""Ends the name of an item whose other polarity is asked for."""


class Place(NamedTuple):
    """Where the probes are: a name, the part there, and what the contact itself adds in ohm (flux,
    lacquer)."""

    name: str
    part: Part
    touch_ohm: float = 0.0
    reversed: bool = False


AIR = Place(AIR_NAME, Path(OPEN_OHM))


class Board:
    """One unit's points by name, and whether it starts when it is switched on.

    `starts` is the share of starts that succeed; `starts_fixed` the share after the repair. `spares` lie ready.
    """

    def __init__(
        self,
        parts: Mapping[str, Part],
        rng: Random,
        *,
        starts: float = 1.0,
        starts_fixed: float = 1.0,
        spares: Mapping[str, Part] | None = None,
    ) -> None:
        self.parts = dict(parts)
        self._spares = dict(spares or {})
        self.starts = starts
        self.starts_fixed = starts_fixed
        self.fixed = False
        self._rng = rng

    def start(self) -> bool:
        """Switch the unit on once; return whether it came up."""
        return self._rng.random() < (self.starts_fixed if self.fixed else self.starts)

    def replace(self, name: str) -> bool:
        """Put the new part in that lies ready for this place; return whether there was one."""
        new = self._spares.pop(name, None)
        if new is not None:
            self.parts[name] = new
        return new is not None

    def power(self, *, on: bool) -> None:
        """Switch the unit's supply: its rails live or die."""
        for part in self.parts.values():
            if isinstance(part, Supply) and part.rail:
                part.alive = on

    def discharge(self, name: str) -> None:
        """Disconnect and discharge a point: from now on no voltage is left there."""
        self.place(name).part.make_dead()

    def place(self, name: str, touch_ohm: float = 0.0, *, flipped: bool = False) -> Place:
        """Return the place called `name`. Raises SceneError for a name that the board does not have.

        A name ending in " reversed" is the same point with the tips swapped.
        """
        if name == TIPS_NAME:
            return Place(TIPS_NAME, Path(0.0), touch_ohm)
        if name not in self.parts and name.endswith(REVERSED):
            return self.place(name.removesuffix(REVERSED), touch_ohm, flipped=not flipped)
        if name not in self.parts:
            raise SceneError(
                f"the session asks for {name!r}, and the practice board has no such point",
                hint="add a [[part]] or an [alias] of that name to the scene",
            )
        return Place(name, self.parts[name], touch_ohm, flipped)
