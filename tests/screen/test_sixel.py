"""Sixel: read again by the terminal of the tests, whose reading is its own, after DEC STD 070 (from memory)."""

from __future__ import annotations

import random

import pytest

from metercap.screen.sixel import Colour, sixel
from tests.screen.drawing import CELL_H, CELL_W, Emulator

RED, BLUE = (255, 0, 0), (0, 0, 255)


def read_again(data: bytes, columns: int = 30) -> Emulator:
    """What a terminal draws of it, at the upper left corner."""
    assert data.startswith(b"\x1bP") and data.endswith(b"\x1b\\")
    screen = Emulator(columns, 2)
    screen.picture(data[2:-2])
    return screen


def test_worked_out_by_hand() -> None:
    """Four columns, six rows of one colour: all six bits, 63 + 63 is "~", four times; red is 100, 0, 0 percent."""
    assert sixel(bytes(24), 4, [RED]) == b'\x1bP0;1;0q"1;1;4;6#0;2;100;0;0#0!4~\x1b\\'


def test_two_colours_and_a_second_band() -> None:
    """The uppermost row blue, the seventh too: lowest bit, "@"; the rest red: 63 + 62 is "}"; "-" ends the band."""
    pixels = bytes([1, 1]) + bytes(10) + bytes([1, 1])
    assert sixel(pixels, 2, [RED, BLUE]) == (b'\x1bP0;1;0q"1;1;2;7#0;2;100;0;0#1;2;0;0;100#0}}$#1@@-#1@@\x1b\\')


def test_what_ends_a_pass_in_nothing_is_left_out() -> None:
    """Columns without the colour at the end need no words; before others they are "?", nothing, repeated."""
    assert sixel(bytes(18), 3, [RED]).endswith(b"#0~~~\x1b\\"), "three are no shorter as a number"
    assert b"#1!5?~" in sixel((bytes(5) + b"\1") * 6, 6, [RED, BLUE])
    assert b"#0!5~$#1" in sixel((bytes(5) + b"\1") * 6, 6, [RED, BLUE])


@pytest.mark.parametrize("seed", range(12))
def test_what_is_drawn_is_what_was_meant(seed: int) -> None:
    """Any size up to a row of cells and any number of colours: every pixel, within what a percent is of 255."""
    rng = random.Random(seed)
    width, height, colours = rng.randint(1, 300), rng.randint(1, CELL_H), rng.choice([1, 2, 16, 64, 256])
    palette: list[Colour] = [(rng.randrange(256), rng.randrange(256), rng.randrange(256)) for _ in range(colours)]
    pixels = bytearray(rng.randrange(colours) for _ in range(width * height))
    for _ in range(20):  # and long runs
        at, run = rng.randrange(len(pixels)), rng.randrange(1, 80)
        pixels[at : at + run] = bytes([rng.randrange(colours)]) * len(pixels[at : at + run])
    sheet = read_again(sixel(bytes(pixels), width, palette)).sheet
    for y in range(height):
        for x in range(width):
            *found, drawn = sheet.getpixel((x, y))  # type: ignore[misc]
            wanted = palette[pixels[y * width + x]]
            assert drawn == 255 and all(abs(a - b) <= 2 for a, b in zip(found, wanted, strict=True)), (x, y)
    box = sheet.getchannel("A").getbbox()
    assert box == (0, 0, width, height), "nothing outside"


def test_letters_wipe_it_out() -> None:
    """The terminal of the tests does what others do: a letter takes the pixels of its cell, and of no other."""
    screen = read_again(sixel(bytes(60 * CELL_H), 60, [RED]))
    screen.cursor.x = 2
    screen.draw("ab")
    kept = screen.sheet.getchannel("A")
    assert kept.crop((2 * CELL_W, 0, 4 * CELL_W, CELL_H)).getbbox() is None
    assert kept.crop((0, 0, 2 * CELL_W, CELL_H)).getextrema() == (255, 255)
    assert kept.crop((4 * CELL_W, 0, 60, CELL_H)).getextrema() == (255, 255)
