"""The pictures of the machines: every row is in them, and DEVELOPERS.md shows the tables as they are."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from metercap.steps.machine import Row, Table
from metercap.steps.zero import Zero, ZeroSign, ZeroState
from tests.steps import pictures

SEVERAL = re.compile(r", (?![^(]*\))")
"""Between two names; one in brackets may hold a comma."""
ARROW = re.compile(r"(?P<here>\S+) --> (?P<after>\S+) : (?P<names>.+)")


def test_the_section_is_current() -> None:
    """What DEVELOPERS.md shows is drawn from the tables as they are now: `python tests/steps/pictures.py --write`."""
    assert pictures.found(pictures.PAGE.read_text("utf-8")) == pictures.section()


def changed(table: Table, state: ZeroState, to: ZeroState) -> Table:
    """Return a table in which a settled value leads elsewhere."""
    row = table[state, ZeroSign.SETTLED]
    assert isinstance(row, Row)
    return {**table, (state, ZeroSign.SETTLED): Row(row.action, to)}


def test_a_changed_row_changes_the_section(monkeypatch: pytest.MonkeyPatch) -> None:
    """So the test above fails when a row changes."""
    before = pictures.section()
    monkeypatch.setattr(Zero, "TABLE", changed(Zero.TABLE, ZeroState.ON, ZeroState.SHORT))
    assert pictures.section() != before


@pytest.mark.parametrize("kind", list(pictures.FIRSTS))
def test_every_row_is_drawn_or_said(kind: str) -> None:
    """Each row that leaves its state is one arrow's name, or stands beside; nothing else is drawn."""
    machine, firsts = pictures.FIRSTS[kind]
    lines, said = pictures.picture(machine.TABLE, firsts)
    drawn: set[tuple[str, str, str]] = set()
    for line in lines:
        arrow = ARROW.fullmatch(line)
        if arrow is not None:
            assert not set(":;") & set(arrow["names"]), line  # they would end the name
            drawn |= {(arrow["here"], name, arrow["after"]) for name in SEVERAL.split(arrow["names"])}
    rows = list(pictures.arrows(machine.TABLE))
    assert len(drawn) <= len(rows)
    for state, name, after in rows:
        arrow_of = (pictures.identifier(state), name, pictures.identifier(after))
        end = "the end" if after.value == "end" else after.value
        beside = [line for line in said if line.endswith(f" → {end}") and name in line]
        assert arrow_of in drawn or any(state.value in line or "every state" in line for line in beside), arrow_of
    left = {key for key, cell in machine.TABLE.items() if isinstance(cell, Row) and cell.to not in (None, key[0])}
    assert len(rows) >= len(left)


def test_it_is_written_between_its_heading_and_the_next(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The rest of the page stays as it is, and writing twice changes nothing."""
    page = tmp_path / "DEVELOPERS.md"
    page.write_text("# For developers\n\n## The machines\n\nold\n\n## Testing\n\nhow\n", "utf-8")
    monkeypatch.setattr(pictures, "PAGE", page)
    pictures.main(["--write"])
    written = page.read_text("utf-8")
    assert written == f"# For developers\n\n{pictures.section()}\n## Testing\n\nhow\n"
    pictures.main(["--write"])
    assert page.read_text("utf-8") == written
