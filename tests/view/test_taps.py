"""Taps on a picture of the board: which item a finger means. Places and distances worked out by hand."""

from __future__ import annotations

import math

import pytest

from metercap.plankeys import ConfirmStep, Item, Picture, SweepStep
from metercap.view import Tap, View, tapped
from tests.view.test_board import FUSES, play

SQUARE = (100.0, 100.0)


@pytest.fixture(scope="module")
def view() -> View:
    """F1 is asked for; on the front F1, F2 with a place for each tip, and a step of its own; on the back F3 and F1."""
    return play(ConfirmStep(id="ready", say="ready?"), FUSES)(":yes OL*6").view


@pytest.mark.parametrize(
    ("picture", "x", "y", "meant"),
    [
        (0, 0.1, 0.2, ("fuses", "F1", 0)),
        (0, 0.13, 0.24, ("fuses", "F1", 0)),  # 3 and 4 away: 5, the reach
        (0, 0.31, 0.2, ("fuses", "F2", 0)),
        (0, 0.39, 0.21, ("fuses", "F2", 1)),
        (0, 0.9, 0.9, ("ready", "ready", 0)),
        (1, 0.6, 0.7, ("fuses", "F1", 0)),
        (1, 0.5, 0.6, ("fuses", "F3", 0)),
        (0, 0.14, 0.24, None),  # 4 and 4 away: 5.7
        (0, 0.6, 0.7, None),  # F1 is there on the other picture
        (2, 0.1, 0.2, None),
    ],
)
def test_the_item_under_the_finger(
    view: View, picture: int, x: float, y: float, meant: tuple[str, str, int] | None
) -> None:
    """The nearest place on that picture within a finger's width; beside all of them none."""
    assert tapped(view, picture, x, y, *SQUARE) == (None if meant is None else Tap(*meant))


def test_near_is_what_looks_near(view: View) -> None:
    """On a picture four times as wide as high, a share of the height is a quarter of the same share of the width."""
    assert tapped(view, 0, 0.1, 0.2 + 0.19, 400.0, 100.0) == Tap("fuses", "F1", 0), "19 of 400 away"
    assert tapped(view, 0, 0.1 + 0.06, 0.2, 400.0, 100.0) is None, "24 of 400 away"
    assert tapped(view, 0, 0.1 + 0.06, 0.2, 400.0, 100.0, reach=0.1) == Tap("fuses", "F1", 0)
    assert tapped(view, 0, 0.1 + 0.09, 0.2, 200.0, 400.0) == Tap("fuses", "F1", 0), "18 of 400 away, the longer side"


@pytest.mark.parametrize("bad", [-0.01, 1.01, math.nan, math.inf])
def test_what_is_no_point_of_the_picture(view: View, bad: float) -> None:
    """A page may send any number."""
    assert tapped(view, 0, bad, 0.2, *SQUARE) is None and tapped(view, 0, 0.1, bad, *SQUARE) is None
    assert tapped(view, 0, 0.1, 0.2, bad * 0.0, 100.0) is None and tapped(view, 0, 0.1, 0.2, 100.0, -1.0) is None


def test_places_on_one_another() -> None:
    """Where several items share a place, the one that is asked for is meant, wherever it stands in the plan."""
    where = (0.5, 0.5)
    coil = SweepStep(id="coils", items=(Item("K1"), Item("K2")), max=2000.0, unit="ohm", count_check=False)
    picture = Picture("front.png", at={"fuses/F2": (where,), "coils/K1": (where,), "coils/K2": (where,)})
    fuses = play(FUSES, coil, pictures=(picture,))("OL*6")
    assert tapped(fuses.view, 0, 0.5, 0.5, *SQUARE) == Tap("fuses", "F2", 0), "its step is under way"
    coils = fuses(":open :open :open :open OL*6")
    assert coils.view.item == "K1" and tapped(coils.view, 0, 0.5, 0.5, *SQUARE) == Tap("coils", "K1", 0)
    assert tapped(coils(":open OL*6").view, 0, 0.5, 0.5, *SQUARE) == Tap("coils", "K2", 0)
    later = play(coil, FUSES, pictures=(picture,))("OL*6 :open :open OL*6")
    assert (later.view.step, later.view.item) == ("fuses", "F1")
    assert tapped(later.view, 0, 0.5, 0.5, *SQUARE) == Tap("fuses", "F2", 0), "of the step under way, asked for or not"


def test_no_pictures_no_item() -> None:
    """A plan without pictures has nothing to tap, and neither has a picture without places."""
    assert tapped(play(FUSES, pictures=())("OL*6").view, 0, 0.1, 0.2, *SQUARE) is None
    bare = play(FUSES, pictures=(Picture("front.png"),))("OL*6").view
    assert tapped(bare, 0, 0.1, 0.2, *SQUARE) is None
