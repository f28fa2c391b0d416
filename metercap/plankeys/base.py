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


def says(meaning: str, example: str) -> Meta:
    """Return the mark that says what a key means and how it is written, in TOML: here, beside the key, and once."""
    return Meta(description=meaning, extra={"example": example})


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
Minutes = Annotated[float, Meta(extra={"as": "minutes"})]
"""A plain number of minutes above 0."""
Teardown = Annotated[tuple[str, ...] | int, Meta(extra={"as": "teardown"})]
"""Ids of steps, or a level of teardown."""
Chances = Annotated[dict[str, Share], Meta(extra={"as": "chances"})]
"""By symptom a plain number between 0 and 1."""
MOST_LEVELS = 9
MINUTES = 5.0
"""What a step counts as whose minutes are not said; `plan check` says so (invented)."""

Groups = Annotated[tuple[tuple[str, ...], ...], Meta(extra={"as": "groups"})]
"""Lists of item names, each written as a list or as "F1..F4"."""
Names = Annotated[tuple[str, ...], Meta(extra={"as": "names"})]
"""Item names, written as a list of names and ranges."""

Rule = Literal["guarded", "simple"]
FuseType = Literal["glass 5x20", "chip", "resettable", "unknown"]


class Item(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One place to probe. A plain name in a plan file is an item with only a `name`.

    `red` and `black` say where each tip goes; `connected` says what is still plugged in, so that two units are
    compared like with like; `both_ways` asks for both polarities. Own limits replace the step's.
    """

    name: Annotated[str, says("What the item is called on the board; spoken and shown.", '"F7"')]
    where: Annotated[str, says("Where it is found.", '"beside the transformer"')] = ""
    say: Annotated[str, says("What is said as well when it is its turn.", '"the small one"')] = ""
    red: Annotated[str, says("Where the red tip goes.", '"pin 1"')] = ""
    black: Annotated[str, says("Where the black tip goes.", '"chassis"')] = ""
    connected: Annotated[
        str,
        says("What is still plugged in, so that like is compared with like; a cell is removed or not.", '"removed"'),
    ] = ""
    both_ways: Annotated[bool, says("Whether it is probed in both polarities.", "true")] = False
    min: Annotated[Limit | None, says("Its own lowest value, instead of the step's.", '"90 ohm"')] = None
    max: Annotated[Limit | None, says("Its own highest value, instead of the step's.", '"110 ohm"')] = None
    rating: Annotated[Rating | None, says("A fuse's rating, from which its limit follows.", '"315 mA"')] = None
    type: Annotated[FuseType | None, says("A fuse's type, which goes with its rating.", '"glass 5x20"')] = None


class StepBase(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="kind", kw_only=True):
    """What every step has: `power` says whether the unit is off or on, `rule` overrides the plan's decision rule.

    `minutes`, `teardown`, `opens` and `finds` say what it costs and what it may find: from them room `order` proposes
    which step comes first.
    """

    id: Annotated[str, says("The step's name: letters, digits, - _ and . only.", '"fuses"')]
    say: Annotated[str, says("What is said when the step begins.", '"Fuses of the main board, from the left"')] = ""
    cautions: Annotated[
        tuple[str, ...], says("What could hurt somebody or something here.", '["Mains side: keep off"]')
    ] = ()
    power: Annotated[Literal["off", "on"], says("Whether the unit is powered; on voids every proof.", '"on"')] = "off"
    rule: Annotated[
        Rule | None,
        says("How a value is held against its limits: with its uncertainty, or without; else as the plan.", '"simple"'),
    ] = None
    minutes: Annotated[Minutes | None, says("How long it takes on the bench, in minutes.", "2.5")] = None
    teardown: Annotated[
        Teardown, says("What must be open first: ids of the steps that open it, or a level of teardown.", '["lid-off"]')
    ] = ()
    opens: Annotated[
        int | None, says("The level of teardown that this step opens; level 2 needs level 1 open.", "1")
    ] = None
    finds: Annotated[
        Chances,
        says(
            "By symptom, how often the fault is the one that this step finds, before any job is known.",
            '{ "does not start" = 0.3 }',
        ),
    ] = {}

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

    items: Annotated[tuple[Item, ...], says("Places to probe: a range, names, tables, or a mixture.", '"F1..F12"')]

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every item."""
        return tuple(item.name for item in self.items)


class MeasuredStep(ItemsStep, frozen=True, kw_only=True):
    """A step that judges values against limits: `unit` is theirs, `quantity` what the plan says or the unit stands for.

    `recontact_s`: how long a hand may slip. `contacts`: separate contacts that a recorded value takes.
    """

    unit: str = ""
    quantity: Annotated[
        Quantity | None, says("What is measured, where the unit of the limits does not say it.", '"voltage_ac"')
    ] = None
    recontact_s: Annotated[Seconds, says("The longest slip of a hand that is no lift.", '"0.8 s"')] = 0.5
    contacts: Annotated[int, says("Separate contacts that a recorded value takes.", "3")] = 1

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """The plan's quantity, else what the limits' unit stands for."""
        if self.quantity is not None:
            return (self.quantity,)
        return (QUANTITY_OF_UNIT.get(self.unit or "ohm", Quantity.RESISTANCE),)
