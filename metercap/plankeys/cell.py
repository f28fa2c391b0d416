"""Plan keys of `cell`, and what each chemistry is held against."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec

from metercap.plankeys.base import ItemsStep, Ohm, Seconds, says
from metercap.quantity import Quantity


class Chemistry(msgspec.Struct, frozen=True):
    """Voltages in V: from `good` on good, below `doubtful` weak, below `spent` spent, `loaded` the least under load."""

    good: float
    doubtful: float
    spent: float
    loaded: float


CHEMISTRIES = {
    # Nominal 3.0 V, end of discharge 2.0 V, new off-load ≥ 3.2 V (makers' data sheets and handbook); loaded limit:
    # common practice, no source.
    "lithium 3 V": Chemistry(3.1, 2.9, 2.0, 2.5),
    # Common practice, no source.
    "alkaline 1.5 V": Chemistry(1.5, 1.3, 0.9, 1.2),
    "silver oxide 1.55 V": Chemistry(1.5, 1.4, 1.2, 1.3),
}


class CellStep(ItemsStep, frozen=True, tag="cell", kw_only=True):
    """Keys of a `cell` step. With a `load` its terminal voltage is read again after `load_s`.

    An item's `connected` says how the cell is measured: "in circuit, supply off" or "removed".
    """

    chemistry: Annotated[
        Literal["lithium 3 V", "alkaline 1.5 V", "silver oxide 1.55 V"],
        says("What kind of cell it is, which gives its limits.", '"alkaline 1.5 V"'),
    ] = "lithium 3 V"
    load: Annotated[Ohm | None, says("A resistor to load it with, for its internal resistance.", '"470 ohm"')] = None
    load_s: Annotated[Seconds, says("How long the load is on before its voltage is read.", '"5 s"')] = 3.0

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Volts dc."""
        return (Quantity.VOLTAGE_DC,)
