"""The neighbourhood of the next point: where it lies on the picture, what is lit, and how the others are told apart."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from metercap.screen.patch import Patch, Window, draw, window
from metercap.view import State
from tests.screen.boards import GREEN, board, fuses, plain

WIDE, HIGH = 240, 200
LIT, DARK = (255, 225, 77), (0, 0, 0)
TEN = {f"F{n}": ((n / 10, 0.5),) for n in range(1, 10)}
"""Ten in a row, 40 pixels apart on the picture of 400 by 300."""


def at(patch: Patch, x: float, y: float) -> tuple[int, int, int]:
    return patch.palette[patch.pixels[round(y) * patch.width + round(x)]]


def inks(patch: Patch, left: int, top: int, right: int, bottom: int) -> set[tuple[int, int, int]]:
    rows = (patch.pixels[y * patch.width + left : y * patch.width + right] for y in range(top, bottom))
    return {patch.palette[n] for n in set(b"".join(rows))}


def test_four_neighbours_are_in_sight(tmp_path: Path) -> None:
    """Around F5 the fourth nearest is 80 away, and a third of that more: 104 to each side, of a square window."""
    seen = window(board(plain(tmp_path), TEN, "F5"), (400, 300), 1.0)
    assert seen is not None
    assert seen == pytest.approx(Window(200 - 104, 150 - 104, 208, 208))
    flat = window(board(plain(tmp_path), TEN, "F5"), (400, 300), 1.2)
    assert flat is not None and (flat.width, flat.height) == pytest.approx((249.6, 208))


def test_the_window_stays_on_the_picture(tmp_path: Path) -> None:
    """At the edge it does not show what is no picture; of one that is smaller than the window it shows all."""
    corner = {"F1": ((0.05, 0.95),), "F2": ((0.2, 0.95),)}
    first = window(board(plain(tmp_path), corner, "F1"), (400, 300), 1.0)
    assert first == pytest.approx(Window(0, 300 - 156, 156, 156)), "60 away and a third more to each side"
    alone = window(board(plain(tmp_path), {"F1": ((0.5, 0.5),)}, "F1"), (400, 300), 1.0)
    assert alone == pytest.approx(Window(164, 114, 72, 72)), "nothing near: 0.09 of the longer side to each side"
    far = {"F1": ((0.0, 0.0),), "F2": ((1.0, 1.0),)}
    wide = window(board(plain(tmp_path), far, "F1"), (400, 300), 1.0)
    assert wide == pytest.approx(Window(0, -50, 400, 400)), "half of the longer side at most"


def test_two_tips_are_both_in_sight(tmp_path: Path) -> None:
    """Red and black 200 apart: the middle is shown, and both with some way around."""
    seen = window(board(plain(tmp_path), {"TP1": ((0.25, 0.5), (0.75, 0.5))}, "TP1"), (400, 300), 1.0)
    assert seen is not None and seen.left + seen.width / 2 == pytest.approx(200)
    assert seen.left <= 100 - 20 and seen.left + seen.width >= 300 + 20


def test_nothing_is_next(tmp_path: Path) -> None:
    """Then nothing is lit and nothing drawn."""
    nothing = board(plain(tmp_path), TEN, "")
    assert window(nothing, (400, 300), 1.0) is None
    assert draw(Image.new("RGB", (400, 300), GREEN), nothing, WIDE, HIGH, 16) is None


def test_the_point_is_lit_and_free(tmp_path: Path) -> None:
    """A ring of light around it, the picture itself within, the shade without; no more colours than there may be."""
    shown = board(plain(tmp_path), {"F1": ((0.5, 0.5),)}, "F1")
    patch = draw(Image.new("RGB", (400, 300), GREEN), shown, WIDE, HIGH, 16)
    assert patch is not None
    assert (patch.width, patch.height, len(patch.pixels)) == (WIDE, HIGH, WIDE * HIGH) and len(patch.palette) <= 16
    assert at(patch, 120, 100) == GREEN, "where the tip goes nothing is drawn over"
    assert LIT in inks(patch, 120, 60, 121, 100) and LIT in inks(patch, 130, 100, 165, 101)
    corner = at(patch, 3, 3)
    assert all(round(0.55 * a) == pytest.approx(b, abs=2) for a, b in zip(GREEN, corner, strict=True))


@pytest.mark.parametrize("colours", [16, 32])
def test_no_more_colours_than_there_may_be(tmp_path: Path, colours: int) -> None:
    """Of a picture with thousands: the marks keep theirs, and all together are no more than asked for."""
    rainbow = Image.merge("RGB", [Image.linear_gradient("L").rotate(90 * n).resize((400, 300)) for n in range(3)])
    patch = draw(rainbow, board(plain(tmp_path), TEN, "F5", F4=State.TICKED), WIDE, HIGH, colours)
    assert patch is not None and len(patch.palette) <= colours and max(patch.pixels) < len(patch.palette)
    assert {LIT, DARK} <= set(patch.palette)
    marks = sum(ink >= len(patch.palette) - 6 for ink in patch.pixels)
    assert marks < 0.2 * len(patch.pixels), "the picture has none of the marks' six colours"


@pytest.mark.parametrize("lit", ["F1", "F5", "F9"])
def test_it_is_the_right_one(lit: str) -> None:
    """On the GC-8's back: the pixels of the light lie around that fuse, worked out from the window; F9 is no F8."""
    shown = fuses(lit)
    size = (1600, 1000)
    patch = draw(Image.new("RGB", size, GREEN), shown, WIDE, HIGH, 32)
    seen = window(shown, size, WIDE / HIGH)
    assert patch is not None and seen is not None and shown.next is not None
    lights = [(n % WIDE, n // WIDE) for n, ink in enumerate(patch.pixels) if patch.palette[ink] == LIT]
    middle = [sum(each) / len(lights) for each in zip(*lights, strict=True)]
    (place,) = shown.next.at
    scale = WIDE / seen.width
    assert middle == pytest.approx([(place[0] * 1600 - seen.left) * scale, (place[1] * 1000 - seen.top) * scale], abs=1)
    nearest = min(
        abs(mark.at[0][0] - place[0]) * 1600 * scale for mark in shown.here if mark.item != lit
        and abs(mark.at[0][1] - place[1]) < 0.01
    )  # fmt: skip
    assert max(abs(x - middle[0]) for x, _ in lights) < nearest, "the neighbour is not under the light"


def test_shapes_tell_them_apart(tmp_path: Path) -> None:
    """Each state leaves another pattern of dark and light, whatever the hues: told apart in black and white too."""
    states = [state for state in State if state is not State.NEXT]
    patterns = set()
    for state in states:
        shown = board(plain(tmp_path), {"F1": ((0.5, 0.5),), "F2": ((0.62, 0.5),)}, "F1", F2=state)
        patch = draw(Image.new("RGB", (400, 300), GREEN), shown, WIDE, HIGH, 16, grey=True)
        seen = window(shown, (400, 300), WIDE / HIGH)
        assert patch is not None and seen is not None
        x, y = (0.62 * 400 - seen.left) * WIDE / seen.width, (150 - seen.top) * WIDE / seen.width
        around = [patch.pixels[(round(y) + dy) * WIDE + round(x) - 12 : (round(y) + dy) * WIDE + round(x) + 12]
                  for dy in range(-12, 12)]  # fmt: skip
        levels = [patch.palette[ink] for ink in b"".join(around)]
        assert all(len(set(level)) == 1 for level in levels), "no hue at all"
        patterns.add(tuple(level[0] // 64 for level in levels))
    assert len(patterns) == len(states)


@pytest.mark.parametrize("name", ["", "\x1b[2J", "F1\nF2", "‮evil", "F" * 500, "電", "\x00"])
def test_hostile_names(tmp_path: Path, name: str) -> None:
    """A name of a plan is drawn or not, and breaks nothing."""
    shown = board(plain(tmp_path), {"F1": ((0.5, 0.5),), name: ((0.55, 0.5),)}, "F1")
    assert draw(Image.new("RGB", (400, 300), GREEN), shown, WIDE, HIGH, 16) is not None


def test_a_picture_of_one_pixel() -> None:
    """Whatever the file holds can be shown."""
    assert draw(Image.new("RGB", (1, 1), GREEN), fuses("F1"), WIDE, HIGH, 16) is not None
