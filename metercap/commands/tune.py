"""`metercap tune`: turn a trimmer to a value with a live error, without a plan file."""

from __future__ import annotations

from typing import Any

import click

from metercap.commands._onestep import dead, measuring
from metercap.commands._values import ITEM
from metercap.commands._web import WithWeb

EPILOG = """\b
Examples:
  metercap tune RV1 --to 2.187k --within 0.5% --never-below 1.2k --point "supply input"
  metercap tune RV1 --to reference --within 0.5% --against a.jsonl --point "supply input"

The plan is built from these options and kept in the journal: metercap plan new --from JOURNAL writes it down. Port and
meter that are not named are those used last, or the only meter that is heard.

Exit status: as metercap run."""


@click.command(cls=WithWeb, epilog=EPILOG)
@click.argument("items", type=ITEM, nargs=-1, required=True, metavar="ITEM...")
@click.option("--to", "target", required=True, help='Target: a value, "reference" or "as found".')
@click.option("--within", "tolerance", required=True, help='Tolerance, such as 0.5% or "3 ohm".')
@click.option("--never-below", help="Hazardous side: never leave it below this.")
@click.option("--never-above", help="Hazardous side: never leave it above this.")
@dead
@measuring
def command(
    items: tuple[str, ...], target: str, tolerance: str, never_below: str | None, never_above: str | None, **given: Any
) -> int:
    """Turn each trimmer ITEM to a value: as found first, then the live error, then as left.

    A trimmer that sets a lamp, laser or heater current has a hazardous side: name it.
    """
    from metercap.commands._onestep import run_step

    keys = {"target": target, "tolerance": tolerance, "never_below": never_below, "never_above": never_above}
    return run_step("tune", items, keys, given)
