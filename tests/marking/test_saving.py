"""Files of a marking: pictures under names of their own, the plan whole or not at all, and one program a folder."""

from __future__ import annotations

import errno
import hashlib
import os
import sys
from pathlib import Path

import pytest

from metercap.errors import FileProblem
from metercap.marking import drawer as drawer_module
from metercap.marking.drawer import Drawer
from metercap.marking.saving import Changed, new_picture, rewrite, sha_of


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_picture_never_takes_the_name_of_another_file(tmp_path: Path) -> None:
    (tmp_path / "gc8-back.jpg").write_bytes(b"somebody's")
    (tmp_path / "gc8-back-2.jpg").symlink_to(tmp_path / "nowhere")
    assert new_picture(tmp_path, "gc8", "back", b"ours").name == "gc8-back-3.jpg"
    assert (tmp_path / "gc8-back.jpg").read_bytes() == b"somebody's" and not (tmp_path / "nowhere").exists()
    assert new_picture(tmp_path, "gc8", "back", b"ours").name == "gc8-back-3.jpg", "the same bytes need no second file"
    assert new_picture(tmp_path, "../a plan: ü", "front", b"ours").name == "a-plan-front.jpg"


def test_the_plan_is_not_written_over_another_hands_work(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text("theirs", encoding="utf-8")
    with pytest.raises(Changed):
        rewrite(plan, "ours", hashlib.sha256(b"before").hexdigest())
    assert plan.read_text(encoding="utf-8") == "theirs" and names(tmp_path) == ["plan.toml"]
    assert rewrite(plan, "ours\r\n", sha_of(plan)) == hashlib.sha256(b"ours\r\n").hexdigest()
    assert plan.read_bytes() == b"ours\r\n" and names(tmp_path) == ["plan.toml"]


def test_a_plan_that_cannot_be_synced_stays_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk may say that it is full only when what was written is to last."""
    plan = tmp_path / "plan.toml"
    plan.write_text("before", encoding="utf-8")

    def full(fd: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FileProblem, match="No space left"):
        rewrite(plan, "after", sha_of(plan))
    assert plan.read_text(encoding="utf-8") == "before" and names(tmp_path) == ["plan.toml"]


@pytest.mark.skipif(sys.platform == "win32", reason="there nobody can take away what is open")
def test_a_lock_that_was_taken_away_while_it_was_waited_for_holds_nobody_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who ends takes its lock's file away: whoever has it open by then has locked what nobody else will look at."""
    import fcntl

    lock = drawer_module._lock
    taken: list[int] = []

    def late(fd: int) -> None:
        if not taken:
            taken.append(fd)
            (tmp_path / ".plan.toml.marks" / "held").unlink()
        lock(fd)

    monkeypatch.setattr(drawer_module, "_lock", late)
    drawer = Drawer(tmp_path / "plan.toml")
    with (tmp_path / ".plan.toml.marks" / "held").open("rb") as other, pytest.raises(OSError):
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
    drawer.close()
    assert names(tmp_path) == []


def test_a_draft_that_is_none_is_refused_and_stays(tmp_path: Path) -> None:
    drawer = Drawer(tmp_path / "plan.toml")
    draft = drawer.folder / "draft.json"
    for text in ("", "{", '{"plan": "", "draft": {"pics": 7}}', "[" * 100_000, '"\udcff'):
        draft.write_text(text, encoding="utf-8", errors="surrogateescape")
        with pytest.raises(FileProblem, match="cannot be read"):
            drawer.kept()
    drawer.close()
    assert draft.exists()
