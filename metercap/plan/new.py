"""A new plan as commented TOML: from what a person knows of a unit, or from what a session measured unplanned. Pure.

What it writes is a plan that loads; `plan check` then says what to mend. Cautions come with the steps that need them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

import msgspec

from metercap.quantity import Quantity, format_value
from metercap.quantity.names import compressed

DEAD = (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.DIODE, Quantity.CAPACITANCE)
"""Quantities measured on a dead unit, in the order of the plan."""
LITHIUM = "Do not heat, short, reverse or charge a primary lithium cell, and never solder directly on it."
ALWAYS = (
    "Disconnect the supply and every battery or cell before any resistance reading.",
    "Discharge capacitors through a resistor, not a short, and prove it by measuring.",
    "Above 30 V rms or 60 V dc a voltage concerns people. Never probe mains-side circuits on this tool's word.",
    "Leads in the voltage/resistance jacks, never the current jack. Meter and leads rated for the circuit "
    "(IEC 61010-031).",
    "Wear an ESD strap. Local codes and licensed practice come first; this plan replaces neither.",
)


class Trimmer(msgspec.Struct, frozen=True):
    """A trimmer's name, and its target as written in a plan ("reference" takes the known-good unit's value)."""

    name: str
    target: str = "reference"
    tolerance: str = "0.5 %"


class Switch(msgspec.Struct, frozen=True):
    """A switch's name, and its form, "no" or "nc"."""

    name: str
    form: str = "no"


class Probed(msgspec.Struct, frozen=True):
    """An item that a session measured unplanned: its value in SI, None where there was none."""

    name: str
    quantity: Quantity
    value: float | None = None
    resolution: float | None = None


class Wanted(msgspec.Struct, frozen=True):
    """What a new plan should hold. Names and values are text as a plan has it, checked when the plan is loaded.

    `points` are to be proved dead; `fuses` items such as "F1..F12" with `fuse_max`, or with `rating` and `type`.
    `loose` is for parts on the mat, which need no proof.
    """

    title: str
    model: str = ""
    loose: bool = False
    points: tuple[str, ...] = ("supply input",)
    fuses: tuple[str, ...] = ()
    fuse_max: str = "2 ohm"
    fuse_rating: str = ""
    fuse_type: str = "unknown"
    switches: tuple[Switch, ...] = ()
    cells: tuple[str, ...] = ()
    trimmers: tuple[Trimmer, ...] = ()
    probed: tuple[Probed, ...] = ()


def quoted(text: str) -> str:
    """Return `text` as a TOML basic string, every character that must be, and none else, as an escape."""
    out = []
    for sign in text:
        if sign in '"\\':
            out.append(f"\\{sign}")
        elif sign.isprintable():
            out.append(sign)
        else:
            code = ord(sign)
            out.append(
                "\\ufffd" if 0xD800 <= code < 0xE000 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
            )
    return f'"{"".join(out)}"'


def plan_text(wanted: Wanted) -> str:
    """Return the plan as TOML text with comments."""
    lines = [*_head(wanted)]
    if not wanted.loose:
        lines += _intake()
        lines += _made_safe(wanted)
    ohms = [*_fuses(wanted), *_switches(wanted), *_probed(wanted, DEAD), *_trimmers(wanted)]
    if ohms:
        lines += _step("leads", "zero", "Tips together: the leads' resistance is taken off what follows.")
        lines += ohms
    lines += _cells(wanted)
    if ohms:
        lines += _step("leads-after", "zero", "What the leads did meanwhile: a drift makes near verdicts unsure.")
    lines += _powered(wanted)
    return "\n".join(lines).rstrip("\n") + "\n"


def _head(wanted: Wanted) -> Iterator[str]:
    yield "# Values stand as people write them: 2 ohm, 4k7, R47, 3.3 V, 315 mA, 0.5 %, 2 min."
    yield "# metercap plan check FILE names every mistake; metercap plan show FILE says it back."
    yield ""
    yield "[plan]"
    yield f"title = {quoted(wanted.title)}"
    if wanted.model:
        yield f"model = {quoted(wanted.model)}"
    if wanted.loose:
        yield 'supply = "none"  # loose parts on the mat: nothing has to be proved dead'
    cautions = ALWAYS[3:] if wanted.loose else ALWAYS
    yield from ["cautions = [", *(f"  {quoted(caution)}," for caution in cautions), "]", ""]


def _step(name: str, kind: str, comment: str, *lines: str) -> list[str]:
    head = [f"# {comment}"] if comment else []
    return [*head, "[[step]]", f"id = {quoted(name)}", f'kind = "{kind}"', *lines, ""]


def _intake() -> list[str]:
    return [
        *_step("symptom", "confirm", "", 'say = "Intake: is the symptom noted (note TEXT)?"'),
        *_step("earlier-work", "confirm", "", 'say = "Looked for signs of earlier work, and noted them?"'),
    ]


def _made_safe(wanted: Wanted) -> list[str]:
    return [
        *_step("disconnect", "confirm", "", 'say = "Supply unplugged, every battery and cell out?"'),
        *_step(
            "discharge",
            "confirm",
            "",
            'say = "Capacitors discharged through a resistor, not a short?"',
            'wait_s = "20 s"',
        ),
        *_step(
            "dead",
            "safe",
            "Every point is proved dead in volts dc and ac, with a meter shown to work before and after.",
            'source = "a fresh 1.5 V cell"',
            f"points = {_list(wanted.points)}",
        ),
    ]


def _fuses(wanted: Wanted) -> list[str]:
    if not wanted.fuses:
        return []
    caution = 'cautions = ["Replace a fuse only with the same rating and type, and find the cause first."]'
    names = compressed(wanted.fuses)
    if not wanted.fuse_rating:
        comment = (
            "A good small-current fuse reads tens of ohms: where rating and type are known, write them instead of max."
        )
        return _step("fuses", "sweep", comment, f"items = {_list(names)}", f"max = {quoted(wanted.fuse_max)}", caution)
    more = f"rating = {quoted(wanted.fuse_rating)}, type = {quoted(wanted.fuse_type)}"
    rows = [f"  {{ name = {quoted(name)}, {more} }}," for name in names]
    return _step("fuses", "sweep", "The limit follows from rating and type.", "items = [", *rows, "]", caution)


def _switches(wanted: Wanted) -> list[str]:
    lines = []
    for n, switch in enumerate(wanted.switches, 1):
        lines += _step(
            f"switch-{n}",
            "exercise",
            "",
            f"items = {_list([switch.name])}",
            f"form = {quoted(switch.form)}  # no: closes when pressed; nc: opens",
            "presses = 20",
            'max = "2 ohm"',
            'cautions = ["Unpowered only. Never run a powered unit with an interlock held down by hand or tape."]',
        )
    return lines


def _trimmers(wanted: Wanted) -> list[str]:
    lines = []
    for n, trimmer in enumerate(wanted.trimmers, 1):
        lines += _step(
            f"trimmer-{n}",
            "tune",
            "A trimmer that sets a lamp, laser or heater current has a hazardous side: name it.",
            f"items = {_list([trimmer.name])}",
            f"target = {quoted(trimmer.target)}",
            f"tolerance = {quoted(trimmer.tolerance)}",
            '# never_below = "1.2 kohm"',
            '# never_above = "4.7 kohm"',
        )
    return lines


def _cells(wanted: Wanted) -> list[str]:
    if not wanted.cells:
        return []
    rows = [f'  {{ name = {quoted(name)}, connected = "removed" }},' for name in compressed(wanted.cells)]
    return _step(
        "cells",
        "cell",
        'connected is "removed", or "in circuit, supply off".',
        *["items = [", *rows, "]"],
        'chemistry = "lithium 3 V"',
        '# load = "470 ohm"  # unloaded voltage does not show what is left',
        f"cautions = [{quoted(LITHIUM)}]",
    )


def probed_steps(probed: Sequence[Probed], taken: Collection[str]) -> list[str]:
    """Return the lines of check steps for unplanned items, under ids that are not `taken`."""
    lines = []
    for quantity in Quantity:
        items = tuple(item for item in probed if item.quantity is quantity)
        if items:
            name = quantity.value.replace("_", "-")
            name = next(each for each in (name, *(f"{name}-{n}" for n in range(2, 10_000))) if each not in taken)
            lines += _probed(Wanted(title="", probed=items), [quantity], name)
    return lines


def _probed(wanted: Wanted, quantities: Sequence[Quantity], name: str = "") -> list[str]:
    """One check step for each quantity; no limits yet, and what the session read beside each item."""
    lines = []
    for quantity in quantities:
        items = [item for item in wanted.probed if item.quantity is quantity]
        if not items:
            continue
        rows = [f"  {{ name = {quoted(item.name)} }},{_read(item)}" for item in items]
        power = [] if quantity in DEAD else ['power = "on"']
        lines += _step(
            name or quantity.value.replace("_", "-"),
            "check",
            "Without limits values are recorded. To judge an item, give it min and max, or compare with a good unit.",
            *power,
            f'quantity = "{quantity.value}"',
            *["items = [", *rows, "]"],
        )
    return lines


def _read(item: Probed) -> str:
    if item.value is None:
        return "  # no value"
    return f"  # read {format_value(item.value, item.quantity.unit, item.resolution)}"


def _powered(wanted: Wanted) -> list[str]:
    quantities = [quantity for quantity in Quantity if quantity not in DEAD]
    lines = _probed(wanted, quantities)
    if not lines:
        return []
    say = 'say = "Covers closed as far as the points allow; connect the current-limited supply. Does it come on?"'
    return [*_step("power-up", "confirm", "From here on the unit is powered: no ohms without a new proof.",
                   'power = "on"', say), *lines]  # fmt: skip


def _list(names: Sequence[str]) -> str:
    return "[" + ", ".join(quoted(name) for name in names) + "]"
