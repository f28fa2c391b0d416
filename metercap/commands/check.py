"""`metercap check`: one settled value an item, without a plan file."""

from __future__ import annotations

from typing import Any

import click

from metercap.commands._numbers import Whole
from metercap.commands._onestep import dead, measuring
from metercap.commands._values import ITEM
from metercap.commands._web import WithWeb

EPILOG = """\b
Examples:
  metercap check R12 R13 --min "9.9 kohm" --max "10.1 kohm" --point "supply input"
  metercap check "5 V rail" --min "4.9 V" --max "5.1 V"
  metercap check R1 R2 --loose --known-good

The plan is built from these options and kept in the journal: metercap plan new --from JOURNAL writes it down. Port and
meter that are not named are those used last, or the only meter that is heard.

Exit status: as metercap run."""


@click.command(cls=WithWeb, epilog=EPILOG)
@click.argument("items", type=ITEM, nargs=-1, required=True, metavar="ITEM...")
@click.option("--min", "low", help='Lowest good value, such as "9.9 kohm".')
@click.option("--max", "high", help='Highest good value, such as "10.1 kohm".')
@click.option("--quantity", help='What to measure where no limit says it: "resistance", "voltage_dc", ...')
@click.option("--contacts", type=Whole(1, 20), help="Separate contacts a value takes.")
@dead
@measuring
def command(
    items: tuple[str, ...], low: str | None, high: str | None, quantity: str | None, contacts: int | None, **given: Any
) -> int:
    """Measure one settled value for each ITEM, and judge it where there are limits."""
    from metercap.commands._onestep import run_step

    keys: dict[str, Any] = {"min": low, "max": high, "quantity": quantity, "contacts": contacts}
    return run_step("check", items, keys, given)
