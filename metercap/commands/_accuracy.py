"""Filling in a meter's accuracy from its own manual: rows given, piped or asked for.

Checked, shown worked out, then written.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.meter import Accuracy, MeterProfile

ASKED = ("resistance", "continuity", "voltage_dc", "voltage_ac", "current_dc", "current_ac", "capacitance", "frequency")
MOST_ROWS = 100


def fill(meter: str, place: Path, given: Sequence[str], as_json: bool) -> int:
    """Write a copy of a profile with its accuracy table; the status."""
    from metercap.errors import ProfileError, UsageError
    from metercap.files import new_text
    from metercap.meters.accuracy import as_toml, rows
    from metercap.profiles import find_meter, meter_path

    profile = find_meter(meter)
    if profile.accuracy:
        raise UsageError("has an accuracy table already", where=meter, hint="edit that file")
    terminal = sys.stdin is not None and sys.stdin.isatty()
    found = rows(list(given) or (_asked(profile) if terminal else _piped()), profile.counts)
    if not as_json:
        for one in found:
            click.echo(_worked(one, profile))
        if terminal and not click.confirm("Does the manual say so?", default=False):
            click.echo("nothing written")
            return 1
    text = meter_path(meter).read_text(encoding="utf-8").rstrip("\n")
    text = re.sub(r"(?m)^name = .*$", f'name = "{place.stem}"', text, count=1)
    new_text(place, "\n".join([text, "", "# From the meter's own manual.", *as_toml(found)[1:], ""]))
    try:
        find_meter(str(place))
    except ProfileError:
        place.unlink()
        raise
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text({"written": str(place), "accuracy": found}))
    else:
        click.echo(f"written: {visible(str(place))}")
    return 0


def _asked(profile: MeterProfile) -> list[str]:
    """Ask quantity by quantity, one range a line; what is not understood is asked again."""
    from metercap.errors import UsageError
    from metercap.meters.accuracy import row

    click.echo("as the manual prints it, one range a line, such as: 400.0 ohm 1.2 % + 2; enter when there are no more")
    found: list[str] = []
    for name in ASKED:
        while len(found) < MOST_ROWS:
            said = click.prompt(name, default="", show_default=False).strip()
            if not said:
                break
            try:
                row(f"{name} {said}", profile.counts)
            except UsageError as error:
                click.echo(visible(f"  {error.what}"))
                continue
            found.append(f"{name} {said}")
    return found


def _piped() -> list[str]:
    from metercap.errors import UsageError

    if sys.stdin is None:
        return []
    try:
        lines = [sys.stdin.readline(300).strip() for _ in range(MOST_ROWS)]
    except UnicodeDecodeError as error:
        raise UsageError("the rows are not UTF-8 text", where="stdin") from error
    return [line for line in lines if line and not line.startswith("#")]


def _worked(one: Accuracy, profile: MeterProfile) -> str:
    """Return a row worked out at half of its range, to hold against the manual."""
    from metercap.meters.accuracy import within

    said = f"  {one.quantity.value}: \u00b1({one.percent:g} % + {one.counts:g})"
    if one.resolution is None:
        return f"{said} in every range"
    half = one.resolution * ((profile.counts or 4000) // 2)
    unit = one.quantity.unit
    limit = within(one, half, one.resolution)
    return f"{said} in steps of {one.resolution:g} {unit}: {half:g} {unit} is right within \u00b1{limit:.4g} {unit}"
