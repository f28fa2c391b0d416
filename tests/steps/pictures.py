"""Draws every step's machine from its table into DEVELOPERS.md, between the heading "The machines" and the next one.

    python tests/steps/pictures.py            # print the section
    python tests/steps/pictures.py --write    # put it into DEVELOPERS.md

An arrow is named by its input, and by what that turned out to be where a look says so: "value (decided)". What keeps a
state is not drawn, and what leads to one state from many is said once beside the picture.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterator, Mapping
from enum import StrEnum
from pathlib import Path
from typing import Any

from metercap.steps.cell import Cell
from metercap.steps.confirm import Confirm
from metercap.steps.exercise import Exercise
from metercap.steps.machine import END, Given, Look, Machine, Row, Table
from metercap.steps.nextunit import NextUnit
from metercap.steps.safe import Safe
from metercap.steps.stilldead import StillDead
from metercap.steps.tokens import LearnTokens
from metercap.steps.trials import Trials
from metercap.steps.tune import Tune
from metercap.steps.walk.machine import Walk
from metercap.steps.wiggle import Wiggle
from metercap.steps.zero import Zero

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
HEADING = "## The machines"
MANY = 3
"""From so many states on an input that leads to one state is said beside the picture."""

FIRSTS: Mapping[str, tuple[type[Machine], tuple[str, ...]]] = {
    "confirm": (Confirm, ("begin", "ask")),
    "safe": (Safe, ("before",)),
    "zero": (Zero, ("short",)),
    "check and sweep": (Walk, ("next", "count")),
    "exercise": (Exercise, ("next",)),
    "wiggle": (Wiggle, ("next",)),
    "cell": (Cell, ("next",)),
    "tune": (Tune, ("next",)),
    "trials": (Trials, ("run", "fix")),
    "tokens": (LearnTokens, ("open",)),
    "still dead": (StillDead, ("ask",)),
    "the next unit": (NextUnit, ("ask",)),
}
"""Each kind's machine, and the states that it may begin in."""

INTRODUCTION = """Drawn from the tables by `python tests/steps/pictures.py --write`; a test keeps this section current.
An arrow is named by its input (a word, a contact, a new value, a deadline), and in brackets by what a look finds it to
be. A state drawn as a diamond is left at once, by what it finds. What keeps a state is not drawn."""


def looked_at(table: Table, state: StrEnum, sign: StrEnum) -> list[StrEnum]:
    """Return the inputs whose look may find `sign` in a state."""
    return [
        given for (at, given), cell in table.items() if at is state and isinstance(cell, Look) and sign in cell.signs
    ]


def names(table: Table, state: StrEnum, given: StrEnum) -> list[str]:
    """Return what an arrow is called: once for each input that leads there."""
    if isinstance(given, Given):
        return [given.value]
    inputs = looked_at(table, state, given)
    if inputs == [Given.NOW]:
        return [given.value]
    return [f"{each.value} ({given.value})" for each in inputs] or [f"({given.value})"]


def arrows(table: Table) -> Iterator[tuple[StrEnum, str, StrEnum]]:
    """Yield (state, name, state after) of every row that leaves its state."""
    for (state, given), cell in table.items():
        if isinstance(cell, Row) and cell.to is not None and cell.to is not state:
            for name in names(table, state, given):
                yield state, name, cell.to


def identifier(state: StrEnum) -> str:
    """Return a state's name as the picture's language takes it."""
    return "[*]" if state.value == END else re.sub(r"\W+", "_", state.value)


def picture(table: Table, firsts: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """Return the lines of a machine's picture, and what is said beside it."""
    states = list(dict.fromkeys(state for state, _ in table))
    at_once = [state for state in states if (state, Given.NOW) in table]
    lines = [f"[*] --> {identifier(next(each for each in states if each.value == first))}" for first in firsts]
    lines += [f"state {identifier(state)} <<choice>>" for state in at_once]
    drawn = list(arrows(table))
    from_many: dict[tuple[str, StrEnum], list[StrEnum]] = {}
    for state, name, after in drawn:
        if state not in at_once:
            from_many.setdefault((name, after), []).append(state)
    from_many = {key: sources for key, sources in from_many.items() if len(sources) >= MANY}
    between: dict[tuple[StrEnum, StrEnum], list[str]] = {}
    for state, name, after in drawn:
        if (name, after) not in from_many or state in at_once:
            between.setdefault((state, after), []).append(name)
    lines += [
        f"{identifier(state)} --> {identifier(after)} : {', '.join(every)}" for (state, after), every in between.items()
    ]
    resting = [state for state in states if state not in at_once]
    beside: dict[tuple[str, StrEnum], list[str]] = {}
    for (name, after), sources in from_many.items():
        every = "every state" if sources == resting else ", ".join(state.value for state in sources)
        beside.setdefault((every, after), []).append(name)
    said = [
        f"- from {every}: {', '.join(given)} → {'the end' if after.value == END else after.value}"
        for (every, after), given in beside.items()
    ]
    return lines, said


def section() -> str:
    """Return the whole section."""
    parts = [HEADING, "", INTRODUCTION]
    for kind, (machine, firsts) in FIRSTS.items():
        lines, said = picture(machine.TABLE, firsts)
        parts += ["", f"### {kind}", "", "```mermaid", "stateDiagram-v2", *(f"    {line}" for line in lines), "```"]
        parts += ["", *said] if said else []
    return "\n".join(parts) + "\n"


def found(page: str) -> str:
    """Return the section as a page has it, or an empty text."""
    start = page.find(HEADING + "\n")
    if start < 0:
        return ""
    after = page.find("\n## ", start)
    return page[start:] if after < 0 else page[start : after + 1].rstrip("\n") + "\n"


def main(arguments: list[str] | None = None) -> Any:
    """Print the section, or write it."""
    parser = argparse.ArgumentParser(description="Draw the machines of all steps from their tables.")
    parser.add_argument("--write", action="store_true", help="put the section into DEVELOPERS.md")
    options = parser.parse_args(arguments)
    if not options.write:
        sys.stdout.write(section())
        return
    page = PAGE.read_text("utf-8")
    PAGE.write_text(page.replace(found(page), section()), "utf-8")


if __name__ == "__main__":
    main()
