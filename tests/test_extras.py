"""Extras: declared once, named one way wherever somebody reads of one, and each of them to be read of."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FOR_DEVELOPERS = {"dev", "fuzz"}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = set(PROJECT["optional-dependencies"]) - FOR_DEVELOPERS
READ = [*sorted((ROOT / "metercap").rglob("*.py")), ROOT / "README.md"]
TEXTS = {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in READ}


def test_extras_are_named_one_way() -> None:
    """Always as the command that brings it, `pip install 'metercap[NAME]'`, with a name that is declared."""
    for place, text in TEXTS.items():
        for found in re.finditer(r".{0,16}metercap\[([^\]]*)\].?", text):
            said = found[0].replace("\\", "")
            assert f"pip install 'metercap[{found[1]}]'" in said, f"{place}: {said}"
            assert found[1] in EXTRAS, f"{place}: {found[1]}"
        for found in re.finditer(r"extra `(\w+)`", text):
            assert found[1] in EXTRAS | FOR_DEVELOPERS, f"{place}: {found[1]}"


@pytest.mark.parametrize("extra", sorted(EXTRAS))
def test_each_extra_can_be_read_of(extra: str) -> None:
    """In the program, where it is missed, and in the README."""
    program = "".join(text for place, text in TEXTS.items() if place != "README.md")
    assert f"pip install 'metercap[{extra}]'" in program
    assert re.search(rf"extra `{extra}`|metercap\[{extra}\]", TEXTS["README.md"]), "README"


def test_every_requirement_has_a_lowest_version() -> None:
    """Lowest versions are what CI installs once, so each must be stated, and the same wherever it stands."""
    found: dict[str, set[str]] = {}
    rows = [*PROJECT["dependencies"], *(row for rows in PROJECT["optional-dependencies"].values() for row in rows)]
    for row in rows:
        name, sign, lowest = re.match(r"([\w-]+)(?:\[\w+\])?(>=)([\w.]+)", row).groups()
        assert sign == ">="
        found.setdefault(name, set()).add(lowest)
    assert {name: lowest for name, lowest in found.items() if len(lowest) > 1} == {}
