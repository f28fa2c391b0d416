"""The keys of a plan's steps and items, as typed fields with values in SI.

A plan file holds values as people write them ("1.5 kohm", "0.5 %", "2 min"); the loader turns each into the number that
its field's `as` mark asks for. Whatever is stored (a journal's first record) holds these structs, so it needs no
second reading of units.
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from metercap.quantity import Quantity

Limit = Annotated[float, Meta(extra={"as": "limit"})]
"""A value whose unit picks the step's quantity, stored in SI with the step's `unit` beside it."""
Ohm = Annotated[float, Meta(extra={"as": "ohm"})]
Volt = Annotated[float, Meta(extra={"as": "V"})]
Seconds = Annotated[float, Meta(extra={"as": "s"})]
Share = Annotated[float, Meta(extra={"as": "share"})]
"""A plain number between 0 and 1."""
Tolerance = Annotated[float, Meta(extra={"as": "tolerance"})]
"""A tolerance: relative ("0.5 %") goes to the field named `<name>_share`, absolute ("3 ohm") here."""
Target = Annotated[float | str, Meta(extra={"as": "target"})]
"""A value, or one of the words "reference" and "as found"."""
Edge = Annotated[float, Meta(extra={"as": "edge"})]
"""A limit, or a share ("95 %") of the value that is aimed at, which goes to the field named `<name>_share`."""
Rating = Annotated[float, Meta(extra={"as": "A"})]

Groups = Annotated[tuple[tuple[str, ...], ...], Meta(extra={"as": "groups"})]
"""Lists of item names, each written as a list or as "F1..F4"."""

Rule = Literal["guarded", "simple"]
FuseType = Literal["glass 5x20", "chip", "resettable", "unknown"]


class Item(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One place to probe. A plain name in a plan file is an item with only a `name`.

    `red` and `black` say where each tip goes; `connected` says what is still plugged in, so that two units are
    compared like with like; `both_ways` asks for both polarities. Own limits replace the step's.
    """

    name: str
    where: str = ""
    say: str = ""
    red: str = ""
    black: str = ""
    connected: str = ""
    both_ways: bool = False
    min: Limit | None = None
    max: Limit | None = None
    rating: Rating | None = None
    type: FuseType | None = None


class StepBase(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="kind", kw_only=True):
    """What every step has: `power` says whether the unit is off or on, `rule` overrides the plan's decision rule."""

    id: str
    say: str = ""
    cautions: tuple[str, ...] = ()
    power: Literal["off", "on"] = "off"
    rule: Rule | None = None

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """The quantities the meter may be set to, best first; empty when any will do."""
        return ()

    @property
    def item_names(self) -> tuple[str, ...]:
        """Names of the items that must end with a verdict; the step's id where it names none."""
        return (self.id,)

    @property
    def in_ohms(self) -> bool:
        """True when the step measures resistance, so the unit must have been proved dead before."""
        return Quantity.RESISTANCE in self.wanted or Quantity.CONTINUITY in self.wanted


QUANTITY_OF_UNIT = {
    "ohm": Quantity.RESISTANCE,
    "V": Quantity.VOLTAGE_DC,
    "A": Quantity.CURRENT_DC,
    "F": Quantity.CAPACITANCE,
    "Hz": Quantity.FREQUENCY,
    "%": Quantity.DUTY,
    "degC": Quantity.TEMPERATURE,
}
"""The quantity that a limit's unit stands for where a step names none."""


class ItemsStep(StepBase, frozen=True, kw_only=True):
    """A step with items of its own."""

    items: tuple[Item, ...]

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every item."""
        return tuple(item.name for item in self.items)


class MeasuredStep(ItemsStep, frozen=True, kw_only=True):
    """A step that judges values against limits: `unit` is theirs, `quantity` what the plan says or the unit stands for.

    `recontact_s`: how long a hand may slip. `contacts`: separate contacts that a recorded value takes.
    """

    unit: str = ""
    quantity: Quantity | None = None
    recontact_s: Seconds = 0.5
    contacts: int = 1

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """The plan's quantity, else what the limits' unit stands for."""
        if self.quantity is not None:
            return (self.quantity,)
        return (QUANTITY_OF_UNIT.get(self.unit or "ohm", Quantity.RESISTANCE),)
