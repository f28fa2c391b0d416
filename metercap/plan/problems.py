"""What is wrong with a plan: each problem with its place, so that all of them can be mended in one go."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

import msgspec

from metercap.errors import PlanError
from metercap.gate import visible
from metercap.plan.places import Path, Places
from metercap.quantity import counted

MOST_SHOWN = 50
"""Problems listed one by one; of a file with more, only their number is said."""


class Problem(msgspec.Struct, frozen=True):
    """One problem: an `error` keeps the plan from being run, a `warning` does not.

    `path` leads through the TOML data, `where` says the same for people (`step 3 "fuses" items[2].max`; all numbers
    count from 1), `what` is wrong there, and `hint` says what to write instead.
    """

    severity: Literal["error", "warning"]
    path: Path
    where: str
    what: str
    hint: str = ""

    def __str__(self) -> str:
        said = f"{self.where}: {self.what}" if self.where else self.what
        return f"{said}; {self.hint}" if self.hint else said


def spelled(path: Path, ids: Mapping[int, str]) -> str:
    """Return a path as people read it; `ids` holds the ids of the steps, by 0-based place."""
    head, rest = "", path
    if len(path) > 1 and path[0] == "step" and isinstance(path[1], int):
        step = ids.get(path[1], "")
        head = f'step {path[1] + 1} "{step}"' if step else f"step {path[1] + 1}"
        rest = path[2:]
    text = ""
    for part in rest:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return visible(" ".join(part for part in (head, text) if part))


def listed(names: Iterable[str]) -> str:
    """Return names as a list in a sentence."""
    return ", ".join(f'"{name}"' for name in names)


def plan_error(where: str, problems: Sequence[Problem], places: Places, count: int = 0) -> PlanError:
    """Return the error that names every one of `problems` with file, line and path, in the order of the file.

    `count`: how many there are in all, where not all were kept.
    """
    ordered = in_file_order(problems, places)
    said = [f"{where}:{places.line(problem.path)}: {problem}" for problem in ordered[:MOST_SHOWN]]
    total = max(count, len(ordered))
    if total > MOST_SHOWN:
        said.append(f"and {total - MOST_SHOWN} more")
    return PlanError(f"{counted(total, 'problem')} in this plan", where=where, problems=said)


def in_file_order(problems: Iterable[Problem], places: Places) -> list[Problem]:
    """Return problems by line; those of one line stay in their order."""
    return sorted(problems, key=lambda problem: places.line(problem.path))
