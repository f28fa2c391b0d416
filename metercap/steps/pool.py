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

    __slots__ = ("_items",)

    def __init__(self) -> None:
        self._items: dict[str, tuple[Quantity, float, tuple[float, ...]]] = {}

    def put(self, item: str, reading: Reading, values: Sequence[float]) -> None:
        """Take the values of an item's contacts that agree, two or more, all in the reading's range."""
        self._items.pop(item, None)
        if len(values) >= 2:
            self._items[item] = (reading.quantity, reading.resolution, tuple(values))

    @property
    def known(self) -> bool:
        """True when enough items were touched twice."""
        return len(self._items) >= ENOUGH

    def wants(self, reading: Reading) -> bool:
        """Return whether this item should be touched twice: too few were so far, or none in the reading's range."""
        return not self.known or not self._of(reading)

    def spread(self, reading: Reading) -> Scatter | None:
        """Return the pooled standard deviation in the reading's range and its degrees of freedom; None without any.

        Unit of the values. Degenerate: contacts that are all equal give 0.
        """
        runs = self._of(reading)
        dof = math.fsum(len(values) - 1 for values in runs)
        if not dof:
            return None
        square = math.fsum((len(values) - 1) * sd(values) ** 2 for values in runs)
        return Scatter(math.sqrt(square / dof), dof)

    def _of(self, reading: Reading) -> list[tuple[float, ...]]:
        key = (reading.quantity, reading.resolution)
        return [values for quantity, digit, values in self._items.values() if (quantity, digit) == key]
