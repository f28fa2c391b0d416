"""A new file is there whole, or not at all, and never in place of another."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from metercap.errors import FileProblem, UsageError
from metercap.files import new_file, refuse_existing


def test_it_takes_its_name_at_the_end(tmp_path: Path) -> None:
    """Until the block ends there is no file of that name."""
    path = tmp_path / "a.csv"
    with new_file(path) as temporary:
        temporary.write_text("x")
        assert not path.exists()
    assert [each.name for each in tmp_path.iterdir()] == ["a.csv"]
    assert path.read_text() == "x"


def test_an_error_leaves_nothing(tmp_path: Path) -> None:
    """The block's own error comes out, and no file stays."""
    with pytest.raises(KeyError), new_file(tmp_path / "a.csv") as temporary:
        temporary.write_text("x")
        raise KeyError
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("links", [True, False])
def test_a_name_taken_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool) -> None:
    """A file that came into being while ours was written stays as it is, with and without hard links."""
    if not links:

        def no_links(*_: object) -> None:
            raise OSError(95, "Operation not supported")

        monkeypatch.setattr(os, "link", no_links)
    path = tmp_path / "a.csv"
    with pytest.raises(FileProblem, match="already exists"), new_file(path) as temporary:
        temporary.write_text("ours")
        path.write_text("theirs")
    assert [each.read_text() for each in tmp_path.iterdir()] == ["theirs"]
    path.unlink()
    with new_file(path) as temporary:
        temporary.write_text("ours")
    assert path.read_text() == "ours"


def test_a_dangling_link_is_a_taken_name(tmp_path: Path) -> None:
    """A link to nowhere is not written through."""
    path = tmp_path / "a.csv"
    path.symlink_to("nowhere")
    with pytest.raises(FileProblem, match="already exists"), new_file(path):
        raise AssertionError("not reached")
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("name", ["-", ".", "", "no/such/folder/a.csv", "nul\0.csv"])
def test_a_name_that_no_new_file_can_have_is_a_usage_error(name: str, tmp_path: Path) -> None:
    """Said before any work is done, never as a defect of the program."""
    with pytest.raises(UsageError):
        refuse_existing(name if name in ("-", ".", "") else tmp_path / name)


def test_a_file_to_keep_is_never_stdout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`-` is refused with its own reason; a file of that name in a folder that is named is a file."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UsageError, match="stands for stdout"):
        refuse_existing("-")
    refuse_existing(tmp_path / "-")


def test_what_stands_there_is_refused_whatever_it_is(tmp_path: Path) -> None:
    """A file, a folder, a link that leads nowhere: nothing is overwritten."""
    (tmp_path / "a").write_text("")
    (tmp_path / "b").mkdir()
    (tmp_path / "c").symlink_to(tmp_path / "gone")
    for name in "abc":
        with pytest.raises(FileProblem, match="already exists"):
            refuse_existing(tmp_path / name)
    refuse_existing(tmp_path / "d")
