"""`metercap cell`: a backup cell's voltage and condition, without a plan file."""

from __future__ import annotations

from typing import Any

import click

from metercap.commands._onestep import measuring
from metercap.commands._values import ITEM
from metercap.commands._web import WithWeb

EPILOG = """\b
Examples:
  metercap cell BT1
  metercap cell BT1 --load "470 ohm"

The plan is built from these options and kept in the journal: metercap plan new --from JOURNAL writes it down. Port and
meter that are not named are those used last, or the only meter that is heard.

Exit status: as metercap run."""


@click.command(cls=WithWeb, epilog=EPILOG)
@click.argument("items", type=ITEM, nargs=-1, required=True, metavar="ITEM...")
@click.option(
    "--chemistry",
    type=click.Choice(["lithium 3 V", "alkaline 1.5 V", "silver oxide 1.55 V"]),
    help="[default: lithium 3 V]",
)
@click.option(
    "--load", help='Resistor to load it with, such as "470 ohm"; unloaded voltage does not show what is left.'
)
@measuring
def command(items: tuple[str, ...], chemistry: str | None, load: str | None, **given: Any) -> int:
    """Measure each cell ITEM: voltage by chemistry, polarity, and under a load where one is named.

    Do not heat, short, reverse or charge a primary lithium cell, and never solder directly on it.
    """
    from metercap.commands._onestep import run_step

    return run_step("cell", items, {"chemistry": chemistry, "load": load}, given)
