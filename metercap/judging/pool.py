"""The spread between contacts, pooled over the items of a step.

Neighbouring conversions hide slow noise and what a contact adds; a second contact shows both. One item's two contacts
know their spread badly (one degree of freedom), those of four items well enough: s² = Σ(m−1)s²/Σ(m−1).

Source: JCGM 100:2008, 4.2.4 and H.3.6 (pooled estimates), clauses from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from metercap.metrology.series import Scatter, sd
from metercap.quantity import Quantity
from metercap.reading import Reading

ENOUGH = 4
"""So many items are touched twice before one contact is enough."""


class Pool:
    """Contact spread by range, since noise and digits go with the range. An item measured again takes its old place."""

    __slots__ = ("_ranges",)

    def __init__(self) -> None:
        self._ranges: dict[tuple[Quantity, float], dict[str, tuple[float, float]]] = {}
        """By range and item: Σ of squared deviations of its contacts, and how many they are less one."""

    def put(self, item: str, reading: Reading, values: Sequence[float]) -> None:
        """Take the values of an item's contacts that agree, two or more, all in the reading's range."""
        for items in self._ranges.values():
            items.pop(item, None)
        if len(values) >= 2:
            dof = len(values) - 1.0
            self._ranges.setdefault((reading.quantity, reading.resolution), {})[item] = (dof * sd(values) ** 2, dof)

    @property
    def known(self) -> bool:
        """True when enough items were touched twice."""
        return math.fsum(len(items) for items in self._ranges.values()) >= ENOUGH

    def wants(self, reading: Reading) -> bool:
        """Return whether this item should be touched twice: too few were so far, or none in the reading's range."""
        return not self.known or not self._ranges.get((reading.quantity, reading.resolution))

    def spread(self, reading: Reading) -> Scatter | None:
        """Return the pooled standard deviation in the reading's range and its degrees of freedom; None without any.

        Unit of the values. Degenerate: contacts that are all equal give 0.
        """
        items = self._ranges.get((reading.quantity, reading.resolution))
        if not items:
            return None
        dof = math.fsum(each for _, each in items.values())
        return Scatter(math.sqrt(math.fsum(square for square, _ in items.values()) / dof), dof)
