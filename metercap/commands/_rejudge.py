"""`metercap replay FILE --plan OTHER`: the same readings under other limits."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from metercap.gate import visible


def rejudge_file(file: Path, other: str, *, as_json: bool) -> int:
    """Print what another plan says of a recorded session; status 0 when every verdict then is pass or absent."""
    from metercap.journal import iterate
    from metercap.plain.style import MARKS, limits_text, paint, safe, use_colour, value_text
    from metercap.planfile import read_plan
    from metercap.profiles import find_plan
    from metercap.rejudge import rejudge
    from metercap.session import opening

    path = find_plan(other)
    plan = read_plan(path)
    with iterate(file) as records:
        first = opening(records)
        found = rejudge(first, records, plan)
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(found))
        return 0 if found.good else 1
    colour = use_colour(sys.stdout)
    click.echo(f"{visible(str(file))} judged again by {visible(str(path))}")
    for row in found.rows:
        mark, hue = MARKS[row.after.verdict]
        was = f"was {row.before.verdict.value}" if row.changed else "same"
        text = (
            f"  {mark} {safe(row.step)} {safe(row.item)}  {row.after.verdict.value}  ({was})  {value_text(row.after)}"
        )
        click.echo(paint(f"{text}  {limits_text(row.after)}  {safe(row.after.reason)}".rstrip(), hue, colour))
    for left in found.not_judged:
        stays = "" if left.stays is None else f"; {left.stays.verdict.value} stays"
        click.echo(f"  . {safe(left.step)} {safe(left.item)}  not judged: {safe(left.why)}{stays}")
    click.echo(f"{len(found.changed)} of {len(found.rows)} verdicts changed, {len(found.not_judged)} items not judged")
    return 0 if found.good else 1
