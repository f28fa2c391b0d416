"""The desk over real files: what is on disk after each move, and what a full disk, another hand or an end leaves."""

from __future__ import annotations

import os
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from metercap.errors import FileProblem, PlanError, UsageError
from metercap.marking.desk import Desk, Move, Stale
from metercap.marking.saving import Changed
from metercap.planfile import read_plan
from tests.marking.conftest import FUSES
from tests.marking.test_baking import corners

needs_full = pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full here")
Opened = Callable[..., Desk]


@pytest.fixture
def desk(plan: Path) -> Iterator[Opened]:
    """Open desks on the plan; all are closed at the end."""
    opened: list[Desk] = []

    def at(path: Path = plan) -> Desk:
        opened.append(Desk(path))
        return opened[-1]

    yield at
    for each in opened:
        each.close()


def place(at: Desk, n: int, x: float = 0.5, y: float = 0.5) -> dict[str, Any]:
    return at.move(Move(at.rev, "place", key=f"fuses/F{n}", tips=((x, y),)))


def all_placed(at: Desk, side: str = "back") -> None:
    at.upload(at.rev, corners(), side)
    for n in range(1, 13):
        place(at, n, n / 20, 0.5)


def folder(plan: Path) -> list[str]:
    return sorted(path.name for path in plan.parent.iterdir())


def test_marks_are_written_and_the_rest_of_the_plan_stays(plan: Path, desk: Opened) -> None:
    at = desk()
    all_placed(at)
    state = at.save(at.rev)
    text = plan.read_text(encoding="utf-8")
    assert text.startswith(FUSES)
    assert state["findings"] == []
    (found,) = read_plan(plan).pictures
    assert (found.file, found.side) == ("gc8-back.jpg", "back")
    assert found.at["fuses/F3"] == ((0.15, 0.5),) and len(found.at) == 12
    at.close()
    assert folder(plan) == ["gc8-back.jpg", "gc8.toml"]


def test_every_move_is_kept_before_it_is_answered(plan: Path, desk: Opened) -> None:
    """A desk that is dropped without a word, as by a kill: the next one goes on where it stood."""
    at = desk()
    at.upload(at.rev, corners(), "back")
    place(at, 1, 0.25, 0.75)
    os.close(at._drawer._fd)  # what the system does when a program is killed
    at._drawer._fd = -1
    state = desk().state()
    assert state["pictures"][0]["at"] == {"fuses/F1": ((0.25, 0.75),)}
    assert state["dirty"] and plan.read_text(encoding="utf-8") == FUSES


def test_a_kill_between_the_plan_and_its_draft_makes_no_second_picture(plan: Path, desk: Opened) -> None:
    at = desk()
    all_placed(at)
    at._drawer.clear = lambda: None  # type: ignore[method-assign]
    at.save(at.rev)
    os.close(at._drawer._fd)
    at._drawer._fd = -1
    again = desk()
    assert [pic["file"] for pic in again.state()["pictures"]] == ["gc8-back.jpg"]
    again.save(again.rev)
    assert len(read_plan(plan).pictures) == 1
    again.close()
    assert folder(plan) == ["gc8-back.jpg", "gc8.toml"]


def test_undo_goes_back_move_by_move(desk: Opened) -> None:
    at = desk()
    at.upload(at.rev, corners(), "back")
    place(at, 1, 0.1)
    place(at, 1, 0.9)
    at.move(Move(at.rev, "draw", quarters=1))
    shown = at.state()["pictures"][0]
    assert shown["at"] == {"fuses/F1": ((0.5, 0.9),)} and (shown["width"], shown["height"]) == (200, 400)
    for expected in ({"fuses/F1": ((0.9, 0.5),)}, {"fuses/F1": ((0.1, 0.5),)}, {}):
        assert at.move(Move(at.rev, "undo"))["pictures"][0]["at"] == expected
    assert at.move(Move(at.rev, "undo"))["pictures"] == []
    assert at.move(Move(at.rev, "undo"))["undo"] == 0


def test_two_pages_never_write_over_each_other(desk: Opened) -> None:
    at = desk()
    at.upload(at.rev, corners(), "back")
    both = at.rev
    at.move(Move(both, "place", key="fuses/F1", tips=((0.1, 0.1),)))
    lates: tuple[Callable[[], Any], ...] = (
        lambda: at.move(Move(both, "place", key="fuses/F2", tips=((0.2, 0.2),))),
        lambda: at.upload(both, corners(), "back"),
        lambda: at.save(both),
        lambda: at.take_up(both),
    )
    for late in lates:
        with pytest.raises(Stale):
            late()
    assert at.state()["pictures"][0]["at"] == {"fuses/F1": ((0.1, 0.1),)}


def test_a_page_of_an_earlier_run_is_never_level(desk: Opened) -> None:
    first = desk()
    place_at = first.rev
    first.close()
    assert desk().rev > place_at


def test_one_program_a_plan_and_none_after_its_end(plan: Path, desk: Opened) -> None:
    first = desk()
    with pytest.raises(UsageError, match="another program"):
        desk()
    first.close()
    with pytest.raises(UsageError, match="has ended"):
        first.upload(first.rev, corners(), "back")
    assert folder(plan) == ["gc8.toml"]
    desk().state()


def test_a_plan_that_another_hand_changed_is_not_written_over(plan: Path, desk: Opened) -> None:
    at = desk()
    all_placed(at)
    by_hand = FUSES.replace("F1..F12", "F1..F11").replace("# the end", "# by hand")
    plan.write_text(by_hand, encoding="utf-8")
    assert at.state()["changed"]
    with pytest.raises(Changed):
        at.save(at.rev)
    assert plan.read_text(encoding="utf-8") == by_hand and folder(plan) == [".gc8.toml.marks", "gc8.toml"]
    state = at.take_up(at.rev)
    assert state["lost"] == ["fuses/F12"] and not state["changed"]
    at.save(at.rev)
    assert plan.read_text(encoding="utf-8").startswith(by_hand)
    assert len(read_plan(plan).pictures[0].at) == 11


def test_a_plan_that_is_none_any_more_is_not_taken_up(plan: Path, desk: Opened) -> None:
    at = desk()
    all_placed(at)
    plan.write_text("[plan\n", encoding="utf-8")
    with pytest.raises(PlanError):
        at.take_up(at.rev)
    plan.write_text(FUSES, encoding="utf-8")
    at.save(at.rev)
    assert len(read_plan(plan).pictures[0].at) == 12


def test_orders_and_groups_reach_the_plan(plan: Path, desk: Opened) -> None:
    at = desk()
    at.upload(at.rev, corners(), "back")
    for n in (*range(12, 6, -1), *range(1, 7)):
        place(at, n, n / 20 + (0.2 if n > 6 else 0.0))
    (step,) = at.state()["steps"]
    at.move(Move(at.rev, "order", step="fuses", names=tuple(step["order"])))
    (step,) = at.state()["steps"]
    at.move(Move(at.rev, "groups", step="fuses", groups=tuple(tuple(each) for each in step["groups"])))
    at.save(at.rev)
    fuses = tomllib.loads(plan.read_text(encoding="utf-8"))["step"][0]
    assert read_plan(plan).steps[0].item_names == tuple(f"F{n}" for n in (*range(12, 6, -1), *range(1, 7)))
    assert len(fuses["clusters"]) == 2


def test_a_picture_exchanged_by_hand_says_so_and_can_be_confirmed(plan: Path, desk: Opened) -> None:
    at = desk()
    all_placed(at)
    at.save(at.rev)
    at.close()
    assert not desk().state()["unwritten"]
    picture = plan.with_name("gc8-back.jpg")
    picture.write_bytes(corners(500, 300))
    with pytest.raises(UsageError):
        desk()
    again = _reopened(desk, plan)
    state = again.state()
    assert "look at every place" in state["pictures"][0]["trouble"] and state["unwritten"]
    again.save(again.rev)
    assert again.state()["pictures"][0]["trouble"] == "" and picture.read_bytes() == corners(500, 300)


def _reopened(desk: Opened, plan: Path) -> Desk:
    for held in plan.parent.glob(".*.marks/held"):
        held.unlink()  # the lock of the desk before goes with its file
    return desk()


@needs_full
@pytest.mark.attack
def test_a_full_disk_changes_nothing(plan: Path, desk: Opened, attack: Any) -> None:
    """The system itself says ENOSPC: each file that is to be written leads to the device that is always full."""
    at = desk()
    all_placed(at)
    before, marks = at.state(), plan.parent / ".gc8.toml.marks"
    trials = attack("a full disk while a board is marked")
    full = Path("/dev/full")
    with trials.trial():
        (marks / "draft.json.part").symlink_to(full)
        with pytest.raises(FileProblem, match="No space left"):
            place(at, 1, 0.9)
        assert at.state() == before
    with trials.trial():
        (marks / "draft.json.part").symlink_to(full)
        with pytest.raises(FileProblem, match="No space left"):
            at.move(Move(at.rev, "undo"))
        assert at.state() == before
    assert place(at, 1, 0.9)["rev"] == before["rev"] + 1, "there is room again"


def test_a_plan_in_a_folder_that_takes_nothing(plan: Path, desk: Opened) -> None:
    (plan.parent / ".gc8.toml.marks").write_text("in the way", encoding="utf-8")
    with pytest.raises(FileProblem, match="beside the plan"):
        desk()


@pytest.mark.skipif(sys.platform == "win32", reason="no such permissions")
def test_the_plan_keeps_its_permissions_and_stays_a_link(plan: Path, desk: Opened) -> None:
    real = plan.with_name("real.toml")
    plan.rename(real)
    real.chmod(0o640)
    plan.symlink_to(real.name)
    at = desk()
    all_placed(at)
    at.save(at.rev)
    assert plan.is_symlink() and real.stat().st_mode & 0o777 == 0o640
    assert len(read_plan(plan).pictures[0].at) == 12


@pytest.mark.parametrize(
    "move",
    [
        {"do": "place", "key": "fuses/F13", "tips": ((0.5, 0.5),)},
        {"do": "place", "key": "fuses/F1", "tips": ((0.5, 0.5),), "picture": 1},
        {"do": "place", "key": "fuses/F1", "tips": ((0.5, 0.5),), "picture": -1},
        {"do": "draw", "box": (0.5, 0.0, 0.4, 1.0)},
        {"do": "draw", "box": (0.0, 0.0, 0.01, 1.0)},
        {"do": "draw", "box": (0.0, 0.0, 1.0, 1.1)},
        {"do": "name", "side": "left"},
        {"do": "order", "step": "fuses", "names": ("F1", "F1")},
        {"do": "order", "step": "../plan", "names": ("F1",)},
        {"do": "save"},
    ],
)
def test_what_makes_no_sense_is_refused(desk: Opened, move: dict[str, Any]) -> None:
    at = desk()
    at.upload(at.rev, corners(), "back")
    before = at.state()
    with pytest.raises(ValueError):
        at.move(Move(at.rev, **move))
    assert at.state() == before
