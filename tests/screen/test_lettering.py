"""Lettering: every glyph at every height, told apart, and where the pen went checked by distances."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from metercap.screen import lettering
from metercap.screen.glyphs import GLYPHS
from metercap.screen.lettering import (
    MAX_ROWS,
    MIN_ROWS,
    Weight,
    capitals,
    draw,
    fit_rows,
    plain_glyphs,
    width_of,
    wrap,
)
from tests.thirds import some_of

_QUADRANTS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789kmnpµΩ%✓✗?→←"


def quarters(char: str, rows: int, weight: Weight = Weight.HEAVY) -> np.ndarray:
    lines = draw(char, rows, weight).lines
    grid = np.zeros((rows * 2, len(lines[0]) * 2), bool)
    for y, line in enumerate(lines):
        for x, cell in enumerate(line):
            bits = _QUADRANTS.index(cell)
            for bit in range(4):
                grid[2 * y + bit // 2, 2 * x + bit % 2] = bits >> bit & 1
    return grid


@pytest.mark.parametrize("rows", some_of(range(MIN_ROWS, MAX_ROWS + 1)))
def test_height_and_width(rows: int) -> None:
    """Every glyph has the height asked for, lines of one width, the width foretold, and only quadrant blocks."""
    for char in GLYPHS:
        drawn = draw(char, rows)
        assert drawn.rows == rows
        assert {len(line) for line in drawn.lines} == {width_of(char, rows)} == {drawn.width}
        assert set("".join(drawn.lines)) <= set(_QUADRANTS)
        assert char == " " or any(line.strip() for line in drawn.lines)


@pytest.mark.parametrize("rows", [3, 4, 5, 8, 20])
@pytest.mark.parametrize("weight", list(Weight))
def test_every_pair_differs(rows: int, weight: Weight) -> None:
    """No two letters, digits or signs look alike: laid over each other, at least a tenth of their ink differs."""
    grids = {char: quarters(char, rows, weight) for char in LETTERS}
    for one, other in itertools.combinations(LETTERS, 2):
        width = max(grids[one].shape[1], grids[other].shape[1])
        a, b = (
            np.pad(grid, ((0, 0), ((width - grid.shape[1]) // 2, (width - grid.shape[1] + 1) // 2)))
            for grid in (grids[one], grids[other])
        )
        assert (a != b).sum() >= 0.1 * (a | b).sum(), f"{one} and {other}"


@pytest.mark.parametrize("rows", [3, 6, 13])
def test_digits_share_one_width(rows: int) -> None:
    """A live value does not jump about: all digits are equally wide."""
    assert len({width_of(digit, rows) for digit in "0123456789"}) == 1


@pytest.mark.parametrize("char", "0FSΩ✓")
@pytest.mark.parametrize("rows", [12, 20])
def test_pen_covers_its_track(char: str, rows: int) -> None:
    """Quarters set are those within half a pen of the track, measured here by distances to densely sampled points."""
    glyph = GLYPHS[char]
    grid = quarters(char, rows)
    across, down = lettering._pen(rows, Weight.HEAVY)
    height, width = grid.shape
    points = []
    for stroke in glyph.strokes:
        nodes = [
            (math.floor(x * (width - across) + 0.5) + across / 2, math.floor(y * (height - down) + 0.5) + down / 2)
            for x, y in stroke.nodes
        ]
        if stroke.curved:
            for a, c, b in zip(nodes[::2], nodes[1::2], nodes[2::2], strict=False):
                centre = (a[0] + b[0] - c[0], a[1] + b[1] - c[1])
                for angle in np.linspace(0, math.pi / 2, 200):
                    points.append(
                        [centre[i] + (c[i] - b[i]) * math.cos(angle) + (c[i] - a[i]) * math.sin(angle) for i in (0, 1)]
                    )
        else:
            for a, b in itertools.pairwise(nodes):
                points += [[a[i] + (b[i] - a[i]) * step for i in (0, 1)] for step in np.linspace(0, 1, 200)]
    track = np.array(points) / (across, down)
    y, x = np.mgrid[0:height, 0:width]
    middles = np.stack([(x + 0.5) / across, (y + 0.5) / down], axis=-1)
    distance = np.sqrt(((middles[:, :, None, :] - track[None, None]) ** 2).sum(-1)).min(-1)
    clear = np.abs(distance - 0.5) > 0.03  # on the very edge either answer is right
    assert clear.mean() > 0.9
    assert (grid == (distance <= 0.5))[clear].all()


def test_heavy_is_heavier() -> None:
    """The light pen sets fewer quarters, so that "not yet" is seen without any hue."""
    for char in "F8S":
        assert quarters(char, 10, Weight.LIGHT).sum() < 0.6 * quarters(char, 10, Weight.HEAVY).sum()


def test_fit_is_the_greatest_that_fits() -> None:
    """One row more would be too wide or too high; 0 when even the smallest is."""
    for columns in (30, 80, 200):
        rows = fit_rows("2.187", columns, 15)
        assert width_of("2.187", rows) <= columns
        assert rows == 15 or width_of("2.187", rows + 1) > columns
    assert fit_rows("2.187", 5, 15) == 0
    assert fit_rows("1", 80, 2) == 0
    assert fit_rows("", 0, 99) == MAX_ROWS


def test_unknown_characters() -> None:
    """Accents go, small letters become capitals, anything else is the empty box, and nothing raises."""
    assert plain_glyphs("é µ") == "E µ"
    assert draw("é", 5).lines == draw("E", 5).lines
    assert draw("漢", 5).lines == draw("\ufffd", 5).lines
    assert draw("", 4).lines == ("", "", "", "")
    assert draw("A", 1).rows == MIN_ROWS
    assert draw("A", 999).rows == MAX_ROWS


def test_capitals_keep_units() -> None:
    """Words go to capitals, units do not: m is not M, and k is not K."""
    assert capitals("turn RV1 up to 1.5 kΩ, 3 mV or 10 µF") == "TURN RV1 UP TO 1.5 kΩ, 3 mV OR 10 µF"


def test_wrap_keeps_every_word() -> None:
    """Lines fit, words stay whole and in order, a word too long keeps a line of its own."""
    lines = wrap("SUPPLY AND BACKUP CELL UNPLUGGED?", 60, 4)
    assert " ".join(lines) == "SUPPLY AND BACKUP CELL UNPLUGGED?"
    assert all(width_of(line, 4) <= 60 for line in lines)
    assert wrap("INCOMPREHENSIBILITIES A", 20, 4) == ["INCOMPREHENSIBILITIES", "A"]
