"""`metercap exercise`: press a switch until a missed closure shows, without a plan file."""

from __future__ import annotations

from typing import Any

import click

from metercap.commands._numbers import Whole
from metercap.commands._onestep import dead, measuring
from metercap.commands._values import ITEM
from metercap.commands._web import WithWeb

EPILOG = """\b
Examples:
  metercap exercise S1 --presses 20 --max "2 ohm" --point "supply input"
  metercap exercise S2 --form nc --loose

The plan is built from these options and kept in the journal: metercap plan new --from JOURNAL writes it down. Port and
meter that are not named are those used last, or the only meter that is heard.

Exit status: as metercap run."""


@click.command(cls=WithWeb, epilog=EPILOG)
@click.argument("items", type=ITEM, nargs=-1, required=True, metavar="ITEM...")
@click.option("--presses", type=Whole(1, 10_000), help="How many. [default: 20]")
@click.option("--form", type=click.Choice(["no", "nc"]), help="no: closes when pressed; nc: opens. [default: no]")
@click.option("--max", "high", help='Highest value of a good closure, such as "2 ohm".')
@dead
@measuring
def command(items: tuple[str, ...], presses: int | None, form: str | None, high: str | None, **given: Any) -> int:
    """Exercise each switch ITEM, unpowered: paced presses, and how many of them closed.

    Never run a powered unit with an interlock held down by hand or tape.
    """
    from metercap.commands._onestep import run_step

    return run_step("exercise", items, {"presses": presses, "form": form, "max": high}, given)
