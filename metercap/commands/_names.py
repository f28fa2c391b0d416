"""Names given on the command line: one check for every command."""

from __future__ import annotations

import click
from click.core import ParameterSource


def unit_name(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """Return a unit's name; one that was given and holds nothing is refused, and leaving it out is not."""
    given = ctx.get_parameter_source(param.name or "") is not ParameterSource.DEFAULT
    if given and not value.strip():
        raise click.BadParameter("an empty name names no unit: write one, or leave --unit out", ctx, param)
    return value
