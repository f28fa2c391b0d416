"""The board: on which picture the next point is, where, and how every placed item of the step stands. Pure.

Numbers and names only: whoever draws it reads the picture's file, and lights nothing on a file of another hash.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

import msgspec
from msgspec import UNSET

from metercap.plankeys import Picture
from metercap.plankeys.picture import Point, Where
from metercap.records import Verdict, VerdictKind


class State(StrEnum):
    """How an item on the board stands."""

    NEXT = "next"
    OPEN = "open"
    TICKED = "ticked"
    FAILED = "failed"
    UNSURE = "unsure"
    ABSENT = "absent"
    ACCEPTED = "accepted"
    SKIPPED = "skipped"


OF_VERDICT = {
    VerdictKind.PASS: State.TICKED,
    VerdictKind.FAIL: State.FAILED,
    VerdictKind.UNSURE: State.UNSURE,
    VerdictKind.ABSENT: State.ABSENT,
}


class Spot(msgspec.Struct, frozen=True):
    """One item of a step: the verdict that stands, or whether it was left for a second look; `at`: its places on the
    plan's pictures."""

    name: str
    where: str = ""
    verdict: Verdict | None = None
    skipped: bool = False
    at: tuple[Where, ...] = ()

    @property
    def state(self) -> State:
        """How it stands, whoever is next."""
        if self.verdict is not None and not self.skipped:
            return State.ACCEPTED if self.verdict.accepted is not UNSET else OF_VERDICT[self.verdict.verdict]
        return State.SKIPPED if self.skipped else State.OPEN


class Sheet(msgspec.Struct, frozen=True):
    """A picture of the plan: which file, and the hash that it must have for anything to be lit on it."""

    file: str
    side: str
    title: str
    sha256: str


class Mark(msgspec.Struct, frozen=True):
    """One item on one picture: `at` one place for both tips, or the red tip's and the black one's; `stood`: how it
    stands while it is the next one."""

    item: str
    picture: int
    at: tuple[Point, ...]
    state: State
    stood: State


class Board(msgspec.Struct, frozen=True):
    """The plan's `pictures`; of the step in turn every placed item in the order of probing (`marks`), and the picture
    to show, counted from 0: the one with the next point, None where that point is on none."""

    pictures: tuple[Sheet, ...]
    step: str = ""
    shows: int | None = None
    marks: tuple[Mark, ...] = ()

    @property
    def next(self) -> Mark | None:
        """The next point, on the picture to show."""
        return next((m for m in self.marks if m.state is State.NEXT and m.picture == self.shows), None)

    @property
    def here(self) -> tuple[Mark, ...]:
        """Every mark of the picture to show."""
        return tuple(mark for mark in self.marks if mark.picture == self.shows)


def blank(pictures: Iterable[Picture]) -> Board | None:
    """Return the board of a plan before its first step; None for a plan without pictures."""
    sheets = tuple(Sheet(each.file, each.side, each.title, each.sha256) for each in pictures)
    return Board(sheets) if sheets else None


def marked(board: Board, step: str, spots: Iterable[Spot], item: str) -> Board:
    """Return the board as it stands in a step whose next `item` is named; "" for none."""
    marks = tuple(
        Mark(spot.name, where.picture, where.at, State.NEXT if spot.name == item else spot.state, spot.state)
        for spot in spots
        for where in spot.at
    )
    shows = next((mark.picture for mark in marks if mark.state is State.NEXT), None)
    return Board(board.pictures, step, shows, marks)
