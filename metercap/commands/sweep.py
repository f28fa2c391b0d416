"""`metercap sweep`: tick fuses off in order, without a plan file."""

from __future__ import annotations

from typing import Any

import click

from metercap.commands._onestep import dead, measuring
from metercap.commands._values import ITEM
from metercap.commands._web import WithWeb

EPILOG = """\b
Examples:
  metercap sweep F1..F12 --max "2 ohm" --point "supply input"
  metercap sweep F1..F6 --rating "315 mA" --type "glass 5x20" --loose
  metercap sweep F1..F12 --max "2 ohm" --point "supply input" --point C12 --unit B --against a.jsonl

The plan is built from these options and kept in the journal: metercap plan new --from JOURNAL writes it down. Port and
meter that are not named are those used last, or the only meter that is heard.

Exit status: as metercap run."""


@click.command(cls=WithWeb, epilog=EPILOG)
@click.argument("items", type=ITEM, nargs=-1, required=True, metavar="ITEM...")
@click.option("--max", "high", help='Highest value of a good one, such as "2 ohm".')
@click.option("--rating", help='Rating of the fuses, such as "315 mA", instead of --max.')
@click.option(
    "--type", "fuse_type", type=click.Choice(["glass 5x20", "chip", "resettable", "unknown"]), help="Their type."
)
@click.option("--no-count-check", is_flag=True, help="Do not ask at the end where the last tick was.")
@dead
@measuring
def command(
    items: tuple[str, ...],
    high: str | None,
    rating: str | None,
    fuse_type: str | None,
    no_count_check: bool,
    **given: Any,
) -> int:
    """Tick ITEMs off in order, hands-free: F1..F12, or names one after the other."""
    from metercap.commands._onestep import run_step

    keys: dict[str, Any] = {"max": high, "count_check": False if no_count_check else None}
    return run_step("sweep", items, keys, given, each={"rating": rating, "type": fuse_type})
