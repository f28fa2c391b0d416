"""`metercap compare`: sessions side by side, most suspicious first."""

from __future__ import annotations

from pathlib import Path

import click

from metercap.commands._values import ITEM

EPILOG = """\b
Examples:
  metercap compare a.jsonl b.jsonl
  metercap compare gc8-good.json b.jsonl
  metercap compare b-before.jsonl b-after.jsonl
  metercap compare a.jsonl b.jsonl --budget K3
  metercap compare b.jsonl --json
  metercap compare vent-pair

Every unit is compared with the known-good ones: sessions that were run with --known-good, and references that metercap
learn wrote. Two sessions of one unit are compared as before and after. E_n ranks the differences: of 1 and more, the
difference is larger than its uncertainty. That is a reason to look, not a fault; a fault is what a plan's limits say.

Values of one meter in one range on one day share its gain error, which cancels in their difference; a meter that tells
no identity is taken for the same when its profile is.

One good unit does not show how far good units lie apart: E_n then ranks what to look at, and "!" marks only what a
limit of the plan failed.

Exit status: 0 nothing differs from the good units; 1 something does, by more than its uncertainty; 2 bad usage
or file."""


@click.command(epilog=EPILOG)
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@click.option(
    "--budget", type=ITEM, default="", metavar="ITEM", help="Show every component of this item's uncertainties."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(files: tuple[Path, ...], budget: str, as_json: bool) -> int:
    """Set sessions, and references of good units, side by side; of a job's folder its units."""
    from metercap.commands._saying import tell
    from metercap.compare import Side, compare_files
    from metercap.compare.sources import open_sources

    sources = open_sources(files, tell)
    sides = [Side(str(one.path), one.evidence, one.learned, one.lost) for one in sources]
    report = compare_files(sides, budget)
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(report))
    else:
        from metercap.compare.text import report_lines
        from metercap.plain.style import safe

        for line in report_lines(report):
            click.echo(safe(line))
    return 1 if report.differing else 0
