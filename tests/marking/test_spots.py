"""Places that go with their picture, and items that stand near each other: worked by hand."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.marking.model import Spot, Tips
from metercap.marking.spots import Box, cropped, groups, moved, turned, turned_box, within

part = st.floats(0, 1).map(lambda x: round(x, 4))


@pytest.mark.parametrize(
    ("quarters", "where"),
    [
        # A spot near the top left corner, a tenth from the left and a fifth from the top: on paper, turned by hand.
        (0, (0.1, 0.2)),
        (1, (0.8, 0.1)),  # to the right the old top-left corner goes to the top right
        (2, (0.9, 0.8)),
        (3, (0.2, 0.9)),
        (4, (0.1, 0.2)),
        (-1, (0.2, 0.9)),
    ],
)
def test_a_spot_turns_with_its_picture(quarters: int, where: Spot) -> None:
    assert turned((0.1, 0.2), quarters) == pytest.approx(where)


def test_a_turn_agrees_with_the_picture_library() -> None:
    """Pillow's own quarter turn of a picture with one dark pixel (ROTATE_270 is a quarter clockwise)."""
    image = pytest.importorskip("PIL.Image")
    picture = image.new("L", (10, 4), 255)
    picture.putpixel((2, 1), 0)
    for quarters, how in ((1, "ROTATE_270"), (2, "ROTATE_180"), (3, "ROTATE_90")):
        other = picture.transpose(image.Transpose[how])
        dark = [(x, y) for x in range(other.width) for y in range(other.height) if other.getpixel((x, y)) == 0]
        x, y = turned((2.5 / 10, 1.5 / 4), quarters)
        assert [(int(x * other.width), int(y * other.height))] == dark


def test_a_box_turns_as_its_corners_do() -> None:
    assert turned_box((0.1, 0.2, 0.5, 0.6), 1) == pytest.approx((0.4, 0.1, 0.8, 0.5))


def test_what_a_crop_leaves() -> None:
    """The right half of the middle third: 0.75 stands in its middle; 0.4 was cut off."""
    box: Box = (0.5, 1 / 3, 1.0, 2 / 3)
    assert cropped((0.75, 0.5), box) == pytest.approx((0.5, 0.5))
    assert cropped((0.4, 0.5), box) is None
    assert cropped((0.75, 0.2), box) is None


def test_a_crop_of_a_crop() -> None:
    """The right half of the left half begins at a quarter."""
    assert within((0.5, 0.0, 1.0, 1.0), (0.0, 0.0, 0.5, 1.0)) == pytest.approx((0.25, 0.0, 0.5, 1.0))


def test_places_move_and_those_cut_off_are_told() -> None:
    at: dict[str, Tips] = {"fuses/F1": ((0.1, 0.2),), "bridge/RV1": ((0.1, 0.8), (0.6, 0.5)), "dead/C12": ((0.9, 0.9),)}
    left, lost = moved(at, 1, (0.0, 0.0, 0.9, 1.0))
    # Turned: F1 (0.8, 0.1), RV1 (0.2, 0.1) and (0.5, 0.6), C12 (0.1, 0.9); then x / 0.9.
    assert left == {
        "fuses/F1": ((0.8889, 0.1),),
        "bridge/RV1": ((0.2222, 0.1), (0.5556, 0.6)),
        "dead/C12": ((0.1111, 0.9),),
    }
    assert lost == ()
    left, lost = moved(at, 0, (0.0, 0.0, 0.5, 1.0))
    assert left == {"fuses/F1": ((0.2, 0.2),)}
    assert lost == ("bridge/RV1", "dead/C12")  # a pair with one tip off is no pair


@settings(deadline=None, derandomize=True)
@given(x=part, y=part)
def test_four_quarters_are_none(x: float, y: float) -> None:
    at: dict[str, Tips] = {"a": ((x, y),)}
    for _ in range(4):
        at, lost = moved(at, 1)
        assert not lost
    assert at["a"][0] == pytest.approx((x, y), abs=1e-9)


@settings(deadline=None, derandomize=True)
@given(
    x=part, y=part, box=st.tuples(part, part, part, part).filter(lambda b: b[2] > b[0] + 0.01 and b[3] > b[1] + 0.01)
)
def test_a_crop_before_or_after_a_turn_is_the_same(x: float, y: float, box: Box) -> None:
    one = cropped((x, y), box)
    other = cropped(turned((x, y), 1), turned_box(box, 1))
    if one is not None and other is not None:  # on the very edge rounding may tell them apart
        assert turned(one, 1) == pytest.approx(other, abs=1e-6)


# --- groups


def placed(**at: Spot) -> dict[str, tuple[int, Tips]]:
    return {name: (0, (spot,)) for name, spot in at.items()}


def test_near_ones_form_groups() -> None:
    """Three in a row 0.1 apart, a way of 0.5, two more: the usual way is 0.1, so only 0.5 is a gap."""
    at = placed(F1=(0.1, 0.1), F2=(0.2, 0.1), F3=(0.3, 0.1), F4=(0.8, 0.1), F5=(0.9, 0.1))
    assert groups(list(at), at, {0: 1.0}) == [["F1", "F2", "F3"], ["F4", "F5"]]


def test_distance_is_on_the_board_not_in_fractions() -> None:
    """On a picture four times as wide as high 0.1 across is 0.4 down; so the same fractions are no longer near."""
    at = placed(F1=(0.5, 0.1), F2=(0.5, 0.2), F3=(0.6, 0.2), F4=(0.6, 0.3), F5=(0.6, 0.4))
    assert groups(list(at), at, {0: 1.0}) == []
    assert groups(list(at), at, {0: 4.0}) == [["F1", "F2"], ["F3", "F4", "F5"]]


def test_groups_follow_the_order_of_probing() -> None:
    """The same places walked to and fro: nothing is near its neighbour in the walk, so there is no gap either."""
    at = placed(F1=(0.1, 0.1), F2=(0.9, 0.1), F3=(0.1, 0.2), F4=(0.9, 0.2))
    assert groups(["F1", "F2", "F3", "F4"], at, {0: 1.0}) == []
    assert groups(["F1", "F3", "F2", "F4"], at, {0: 1.0}) == [["F1", "F3"], ["F2", "F4"]]


def test_another_side_and_a_missing_place_end_a_group() -> None:
    at: dict[str, tuple[int, Tips]] = {
        "F1": (0, ((0.1, 0.1),)), "F2": (0, ((0.2, 0.1),)), "F3": (1, ((0.3, 0.1),)), "F4": (1, ((0.4, 0.1),)),
    }  # fmt: skip
    assert groups(["F1", "F2", "F3", "F4"], at, {}) == [["F1", "F2"], ["F3", "F4"]]
    assert groups(["F1", "F2", "F9", "F3", "F4"], at, {}) == [["F1", "F2"], ["F3", "F4"]]


def test_a_long_row_is_shared_out() -> None:
    """Twelve alike in a row: two groups of six, none of more than eight."""
    at = {f"F{n}": (0, ((n / 20, 0.5),)) for n in range(1, 13)}
    assert [len(group) for group in groups(list(at), at, {0: 1.0})] == [6, 6]


def test_one_alone_is_no_group() -> None:
    at = placed(F1=(0.1, 0.1), F2=(0.15, 0.1), F3=(0.2, 0.1), F9=(0.9, 0.9))
    assert groups(list(at), at, {0: 1.0}) == [["F1", "F2", "F3"]]
    assert groups([], {}, {}) == []
