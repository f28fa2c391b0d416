"""`--no-pictures`, and where the pictures of a plan are looked for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def pictures_option(function: F) -> F:
    """Add the option that turns the board's picture in the terminal off."""
    told = "No picture of the board in a terminal that can show one."
    return click.option("--no-pictures", is_flag=True, help=told)(function)


def picture_folders(plan: str | Path | None = None, *folders: Path) -> tuple[Path, ...]:
    """Return where a plan's pictures may lie: beside it, named as on the command line, in `folders`, and in the folders
    that plans are found in by name."""
    from metercap.profiles import find_plan
    from metercap.profiles import folders as known

    own = [find_plan(str(plan)).parent] if plan else []
    return tuple(dict.fromkeys([*own, *folders, *(folder / "plans" for folder in known())]))
