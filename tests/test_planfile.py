"""Plan files on the disk: read whole, or refused with place and reason."""

import os
from pathlib import Path

import pytest

from metercap.errors import PlanError
from metercap.plan.load import LARGEST
from metercap.planfile import read_plan, read_text

GOOD = '[plan]\ntitle = "GC-8"\n[[step]]\nid = "z"\nkind = "zero"\n'


def test_a_plan_is_read(tmp_path: Path) -> None:
    """A file's plan, by path or by text of a path."""
    path = tmp_path / "gc8.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert read_plan(path).title == "GC-8"
    assert read_plan(str(path)) == read_plan(path)


def test_problems_name_the_file(tmp_path: Path) -> None:
    """Problems carry the path that was given."""
    path = tmp_path / "gc8.toml"
    path.write_text(GOOD + "bad = 1\n", encoding="utf-8")
    with pytest.raises(PlanError) as error:
        read_plan(path)
    assert error.value.problems[0].startswith(f"{path}:6: ")


@pytest.mark.parametrize("name", ["none.toml", "", "x\0y"])
def test_no_file(tmp_path: Path, name: str) -> None:
    """What is no file is refused: nothing there, a folder, an impossible name."""
    with pytest.raises(PlanError):
        read_plan(tmp_path / name)


def test_not_utf8(tmp_path: Path) -> None:
    """A file that is not UTF-8 is refused with the line of the first wrong byte."""
    path = tmp_path / "gc8.toml"
    path.write_bytes(GOOD.encode() + b'say = "caf\xe9"\n')
    with pytest.raises(PlanError) as error:
        read_plan(path)
    assert error.value.where == f"{path}:6"


def test_too_large(tmp_path: Path) -> None:
    """A file beyond a mebibyte is refused without being read whole."""
    path = tmp_path / "gc8.toml"
    path.write_bytes(b"#" * (LARGEST + 1))
    with pytest.raises(PlanError, match="larger than"):
        read_text(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_does_not_hang(tmp_path: Path) -> None:
    """A named pipe, which would wait for ever, is no plan file."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(PlanError, match="a pipe, not a file"):
        read_plan(tmp_path / "pipe")


def test_hostile_path(tmp_path: Path) -> None:
    """A path with escape sequences is shown escaped."""
    with pytest.raises(PlanError) as error:
        read_plan(tmp_path / "a\x1b[2J.toml")
    assert error.value.where.isprintable()
