"""What a running session knows at this moment, as data: see `steps.facts` for what each kind of step adds."""

from __future__ import annotations

import msgspec

from metercap.contact import Block, Stay, TouchState
from metercap.order import Proposed
from metercap.plankeys import Item, ItemsStep
from metercap.plankeys.walk import REVERSED
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.session.route import LeftOpen
from metercap.steps import Bench, Machine
from metercap.steps.facts import Facts
from metercap.steps.hazard import Standing


class Shown(msgspec.Struct, frozen=True):
    """The newest reading as it counts: `value` is what the meter displayed less `null`, the lead null that holds for
    its function and range; None where no number shows, or where no null was taken."""

    t_s: float
    quantity: Quantity
    state: State
    value: float | None
    displayed: float | None
    null: float | None
    resolution: float
    unit: str
    flags: tuple[str, ...] = ()


class Tips(msgspec.Struct, frozen=True):
    """Where the tips are, as far as readings tell. `on`: they touch something; `counts`: it counts for the item.

    `shows`: readings of this step tell contact at all. `armed`: the next contact counts; until then `stay` says how
    long a lift still takes.
    """

    on: bool
    counts: bool
    shows: bool
    armed: bool
    stay: Stay | None = None


class PastLimit(msgspec.Struct, frozen=True):
    """A trimmer that stands past a hazard limit; how, is not told in files of the first schema."""

    item: str
    stands: Standing | None = None


class SessionFacts(msgspec.Struct, frozen=True):
    """The step and item in turn, where the item is, the newest reading, the tips, what stops the ticking, and what the
    step itself knows (`own`). `kind` is the step's. `aside`: an item that the plan does not have is measured.
    `left_open`: steps that were left or passed over, and come back before the end. `proposed`: where the symptom is
    known, which step is proposed next, and why."""

    step: str
    kind: str
    item: str
    place: Item | None
    own: Facts
    reading: Shown | None
    tips: Tips
    wanted: tuple[Quantity, ...]
    block: Block | None
    battery_low: bool
    past: tuple[PastLimit, ...]
    aside: bool
    left_open: tuple[LeftOpen, ...] = ()
    proposed: Proposed | None = None


def facts_of(
    machine: Machine,
    bench: Bench,
    *,
    aside: bool,
    left_open: tuple[LeftOpen, ...] = (),
    proposed: Proposed | None = None,
) -> SessionFacts:
    """Return what is known of the step that runs; nothing is changed by it."""
    step, item = machine.step, machine.item
    touch, last = bench.touch, bench.last
    off = None
    if machine.shows_contact and not bench.blocked and touch.owes_lift:
        off = touch.stay(bench.conversions.pace)
    tips = Tips(
        on=touch.state in (TouchState.ON, TouchState.SPENT_ON),
        counts=touch.state is TouchState.ON,
        shows=machine.shows_contact,
        armed=not touch.owes_lift,
        stay=off,
    )
    return SessionFacts(
        step=step.id,
        kind=str(type(step).__struct_config__.tag),
        item=item,
        place=place_of(getattr(step, "items", ()) if isinstance(step, ItemsStep) else (), item),
        own=machine.facts(),
        reading=None if last is None else _shown(last, bench, leads_off=machine.leads_off),
        tips=tips,
        wanted=machine.wanted,
        block=bench.block,
        battery_low=bench.blocks.battery_low,
        past=tuple(PastLimit(name, stands) for name, stands in bench.standing.items()),
        aside=aside,
        left_open=left_open,
        proposed=proposed,
    )


def place_of(items: tuple[Item, ...], name: str) -> Item | None:
    """Return the item of that name; of one that is probed the other way round too, its own place."""
    plain = name.removesuffix(REVERSED)
    return next((item for item in items if item.name in (name, plain)), None)


def _shown(reading: Reading, bench: Bench, *, leads_off: bool) -> Shown:
    value, null = reading.value, None
    if value is not None and leads_off:
        lead = bench.judge.lead(reading)
        null = None if lead is None else lead.value
        value = bench.judge.corrected(reading)
    return Shown(
        reading.t_s,
        reading.quantity,
        reading.state,
        value,
        reading.value,
        null,
        reading.resolution,
        reading.unit,
        reading.flags,
    )
