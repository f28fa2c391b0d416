"""Names given on the command line: one check for every command."""

from __future__ import annotations

import click
from click.core import ParameterSource


def unit_name(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """Return a unit's name; one that was given and holds nothing is refused, and leaving it out is not."""
    return _some(ctx, param, value, "names no unit")


def person_name(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """Return somebody's name, as `unit_name` does a unit's."""
    return _some(ctx, param, value, "is nobody's")


def _some(ctx: click.Context, param: click.Parameter, value: str, why: str) -> str:
    given = ctx.get_parameter_source(param.name or "") is not ParameterSource.DEFAULT
    if given and not value.strip():
        raise click.BadParameter(f"an empty name {why}: write one, or leave {param.opts[0]} out", ctx, param)
    return value
