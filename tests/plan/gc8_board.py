"""Draws the main board of the GC-8, both sides, and says where its items are: a board of our own invention.

    python -m tests.plan.gc8_board --write     draws the pictures anew, beside the plan
    python -m tests.plan.gc8_board             prints the tables for the plan

Everything is in mm on the board, x from the left and y from the rear edge, seen from that side; one layout gives the
pictures and the places, so they cannot drift apart. Lettering is of strokes, as on a real board, so no font of the
machine comes in, and the same numbers give the same picture.
"""

from __future__ import annotations

import hashlib
import io
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from PIL import Image, ImageDraw

WIDTH_MM, HEIGHT_MM = 160.0, 100.0
PER_MM, FINER = 10, 2
PLANS = Path(__file__).parents[2] / "profiles" / "plans"
FILES = {"front": "greenhouse-front.png", "back": "greenhouse-back.png"}
TITLES = {"front": "Main board, cover off", "back": "Main board, lifted out and turned over"}

MASK, EDGE, TRACK = (18, 74, 56), (10, 44, 34), (28, 94, 71)
SILK, TIN, COPPER, HOLE = (236, 238, 226), (205, 205, 196), (206, 164, 88), (24, 26, 26)
BLACK, GREY, STEEL, BLUE, WHITE = (34, 35, 38), (92, 94, 98), (158, 162, 166), (44, 82, 142), (222, 220, 208)
METAL = (TIN, COPPER, STEEL)
FUSE, GLASS, DIGITS = (226, 214, 170), (36, 48, 40), (120, 190, 120)
Colour = tuple[int, int, int]
XY = tuple[float, float]

_STROKES = {
    "A": "06 02 20 42 46/04 44", "B": "00 06 36 45 44 33 03/33 42 41 30 00", "C": "41 30 10 01 05 16 36 45",
    "D": "00 06 36 45 41 30 00", "E": "40 00 06 46/03 33", "F": "40 00 06/03 33", "G": "41 30 10 01 05 16 36 45 43 23",
    "H": "00 06/40 46/03 43", "I": "20 26", "J": "40 45 36 16 05", "K": "00 06/40 03 46", "L": "00 06 46",
    "M": "06 00 23 40 46", "N": "06 00 46 40", "O": "10 30 41 45 36 16 05 01 10", "P": "06 00 30 41 42 33 03",
    "R": "06 00 30 41 42 33 03/23 46", "S": "41 30 10 01 02 13 33 44 45 36 16 05", "T": "00 40/20 26",
    "U": "00 05 16 36 45 40", "V": "00 26 40", "W": "00 16 23 36 40", "X": "00 46/40 06", "Y": "00 23 40/23 26",
    "0": "10 30 41 45 36 16 05 01 10/41 05", "1": "02 20 26", "2": "01 10 30 41 42 06 46",
    "3": "01 10 30 41 42 33 13/33 44 45 36 16 05", "4": "36 30 04 44", "5": "40 00 02 32 43 45 36 06",
    "6": "30 02 05 16 36 45 44 33 03", "7": "00 40 16", "8": "13 02 01 10 30 41 42 33 13 04 05 16 36 45 44 33",
    "9": "43 13 02 01 10 30 41 44 26", "-": "03 43", "+": "03 43/21 25", ".": "26 26", ":": "22 22/25 25",
}  # fmt: skip
"""Letters as strokes over a field of 4 by 6: digits are x and y of each bend."""


class Side(NamedTuple):
    """One side: what to draw on, in mm."""

    image: Image.Image
    draw: ImageDraw.ImageDraw


def px(*mm: float) -> list[float]:
    """Return lengths in the finer picture's pixels."""
    return [each * PER_MM * FINER for each in mm]


def box(side: Side, at: XY, size: XY, fill: Colour, edge: Colour | None = None, round_mm: float = 0.4) -> None:
    """A part's body about its middle."""
    (x, y), (w, h) = at, size
    corners = px(x - w / 2, y - h / 2, x + w / 2, y + h / 2)
    side.draw.rounded_rectangle(corners, px(round_mm)[0], fill, edge, 0 if edge is None else 4)


def disc(side: Side, at: XY, radius: float, fill: Colour, edge: Colour | None = None) -> None:
    """A round part about its middle."""
    x, y = at
    corners = px(x - radius, y - radius, x + radius, y + radius)
    side.draw.ellipse(corners, fill, edge, 0 if edge is None else 5)


def pad(side: Side, at: XY, radius: float = 1.25, hole: bool = True) -> None:
    """A plated hole, or a test point."""
    disc(side, at, radius, COPPER)
    if hole:
        disc(side, at, radius * 0.42, HOLE)


def track(side: Side, *way: XY, width: float = 0.5, fill: Colour = TRACK) -> None:
    """A track under the mask."""
    side.draw.line([(px(x)[0], px(y)[0]) for x, y in way], fill, round(px(width)[0]), "curve")


def letters(side: Side, text: str, at: XY, high: float = 2.4, fill: Colour = SILK) -> None:
    """Lettering about its middle."""
    unit = high / 6
    x = at[0] - (len(text) * 5.6 - 1.6) * unit / 2
    y = at[1] - high / 2
    for sign in text:
        for stroke in filter(None, _STROKES.get(sign, "").split("/")):
            bends = [(x + int(p[0]) * unit, y + int(p[1]) * unit) for p in stroke.split()]
            side.draw.line([tuple(px(*bend)) for bend in bends], fill, max(3, round(px(high * 0.11)[0])), "curve")
            if len(set(bends)) == 1:
                disc(side, bends[0], high * 0.07, fill)
        x += 5.6 * unit


def chip(side: Side, at: XY, size: XY, fill: Colour, *, upright: bool = False) -> None:
    """A part without wires: a body between two tinned ends."""
    w, h = size
    half = (w / 2) if not upright else (h / 2)
    for sign in (-1, 1):
        end = (at[0], at[1] + sign * half) if upright else (at[0] + sign * half, at[1])
        box(side, end, (w * 1.1, 1.3) if upright else (1.3, h * 1.1), TIN, round_mm=0.2)
    box(side, at, size, fill, round_mm=0.2)


def many_legs(side: Side, at: XY, half: float, count: int) -> None:
    """A square part with legs all round."""
    for n in range(count):
        off = (n - (count - 1) / 2) * (2 * half - 2) / (count - 1)
        for x, y, w, h in (
            (off, -half, 0.5, 2.4),
            (off, half, 0.5, 2.4),
            (-half, off, 2.4, 0.5),
            (half, off, 2.4, 0.5),
        ):
            box(side, (at[0] + x, at[1] + y), (w, h), TIN, round_mm=0.1)
    box(side, at, (2 * half, 2 * half), BLACK, round_mm=0.8)
    disc(side, (at[0] - half + 2, at[1] - half + 2), 0.7, GREY)


# --- the layout: where things are, seen from their side

RELAYS = {"K1": (128.0, 24.0), "K2": (128.0, 46.0), "K3": (128.0, 68.0)}
FUSES: dict[str, XY] = {
    **{f"F{n + 1}": (66.0 + 5.2 * n, 39.0) for n in range(6)},
    **{f"F{n + 7}": (68.6 + 5.2 * n, 52.0) for n in range(6)},
}
SUPPLY = ((8.0, 29.0), (8.0, 39.0))
TEST_POINTS = {"TP0": (40.0, 64.0), "TP1": (46.0, 64.0), "TP2": (52.0, 64.0)}
COVER = ((17.0, 16.5), (27.0, 16.5))
C12_PADS = ((25.5, 53.5), (34.5, 53.5))
TRIMMER = ((80.5, 61.0), (89.5, 61.0))
SENSOR_PINS = [(18.0 + 4.0 * n, 91.0) for n in range(8)]
CELL = (66.0, 28.0)


def turned(at: XY) -> XY:
    """Return a place of the front as it is seen from the back."""
    return WIDTH_MM - at[0], at[1]


def coil(relay: XY) -> tuple[XY, XY]:
    """Return where a relay's coil comes out on the back."""
    x, y = turned(relay)
    return (x + 6.0, y - 5.5), (x + 6.0, y + 5.5)


def places() -> dict[str, dict[str, tuple[XY, ...]]]:
    """Return by side where each item of the plan is, in mm; of two places the red tip's first."""
    points = TEST_POINTS
    return {
        "front": {
            "dead/supply input": SUPPLY,
            "dead/C12": C12_PADS,
            "cover/S1": COVER,
            "sensor-cable/J3": (SENSOR_PINS[0],),
            "backup/BT1": (CELL,),
            "bridge/RV1": TRIMMER,
            "rails/TP1": (points["TP1"], points["TP0"]),
            "rails/TP2": (points["TP2"], points["TP0"]),
        },
        "back": {
            **{f"fuses/{name}": (at,) for name, at in FUSES.items()},
            **{f"coils/{name}": coil(at) for name, at in RELAYS.items()},
        },
    }


def begun() -> Side:
    """A bare board on nothing, its holes and edge."""
    size = (round(px(WIDTH_MM)[0]), round(px(HEIGHT_MM)[0]))
    image = Image.new("RGB", size, (54, 54, 56))
    side = Side(image, ImageDraw.Draw(image))
    box(side, (WIDTH_MM / 2, HEIGHT_MM / 2), (WIDTH_MM - 1, HEIGHT_MM - 1), MASK, EDGE, round_mm=3.0)
    for at in ((5.0, 5.0), (155.0, 5.0), (5.0, 95.0), (155.0, 95.0)):
        pad(side, at, 3.0)
    return side


def front() -> Side:
    """The side with the parts: terminals left and right, relays, display, switches at the rear."""
    side = begun()
    for n in range(5):
        y = 20.0 + 3.2 * n
        track(side, (16, y + 8), (40, y + 8), (52 + n, y - 2), (88, y - 2), (96, y + 4))
        track(side, (104, 30 + 1.6 * n), (112, 30 + 1.6 * n), (118, 24 + 9 * n), (122, 24 + 9 * n))
        track(side, (20 + 4 * n, 90), (20 + 4 * n, 80 - 1.5 * n), (56, 60 - 1.5 * n), (78, 60 - 1.5 * n))
        track(side, (138, 20 + 11 * n), (148, 20 + 11 * n), width=1.6)
    for n in range(10):
        track(side, (62 + 5 * n, 68), (62 + 5 * n, 56), (84 + 2 * n, 44), (90 + 1.2 * n, 41))
    letters(side, "GC-8 MAIN", (72, 8), 3.4)
    # the rear edge: switches
    box(side, (22, 9.5), (17, 8), BLACK)
    box(side, (22, 5), (12, 1.6), STEEL)
    letters(side, "S1", (33.5, 12.5))
    letters(side, "COVER", (22, 10), 1.8, WHITE)
    for at in COVER:
        pad(side, at)
    box(side, (111, 9.5), (15, 8), BLACK)
    box(side, (111, 5), (10, 1.6), STEEL)
    letters(side, "S2", (122, 11))
    for x in (107.0, 115.0):
        pad(side, (x, 16.5))
    # the supply
    box(side, (8, 34), (13, 24), (46, 110, 70))
    for at, sign in zip(SUPPLY, "+-", strict=True):
        disc(side, at, 3.2, STEEL, BLACK)
        box(side, at, (4.8, 0.7), BLACK)
        letters(side, sign, (17.2, at[1]), 2.6)
    letters(side, "J1 24V", (11, 49.5), 2.0)
    disc(side, (30, 41), 9, (40, 44, 60), EDGE)
    disc(side, (30, 41), 7.2, STEEL)
    box(side, (30, 41), (0.6, 12), GREY)
    letters(side, "C12", (30, 58.2))
    for at, sign in zip(C12_PADS, "+-", strict=True):
        pad(side, at, 1.6, hole=False)
        letters(side, sign, (at[0], at[1] - 2.9), 1.8)
    box(side, (46, 41), (11, 11), BLACK, round_mm=2)
    letters(side, "L1", (46, 49.5), 2.0)
    disc(side, (46, 26), 4, (40, 44, 60), EDGE)
    disc(side, (46, 26), 3, STEEL)
    # the cell
    disc(side, CELL, 11.5, BLACK)
    disc(side, CELL, 10, STEEL, GREY)
    letters(side, "+", (CELL[0], CELL[1] - 5), 3.0, BLACK)
    box(side, (CELL[0], CELL[1] + 10.5), (6, 3), TIN)
    letters(side, "BT1", (66, 43))
    # what thinks
    many_legs(side, (96, 32), 7.5, 12)
    letters(side, "U2", (96, 32), 2.4, GREY)
    box(side, (111, 27), (4, 9), STEEL, round_mm=1.5)
    letters(side, "X1", (111, 34), 1.8)
    for n in range(7):
        chip(side, (74 + 6.2 * n, 47.5), (2.2, 1.2), BLACK)
        letters(side, f"R{n + 1}", (74 + 6.2 * n, 50), 1.3)
    # test points, trimmer, display
    for name, at in TEST_POINTS.items():
        pad(side, at, 1.6, hole=False)
        letters(side, name, (at[0], at[1] - 3.3), 1.7)
    box(side, (85, 55.5), (10, 8), BLUE)
    disc(side, (85, 55.5), 2.6, COPPER)
    box(side, (85, 55.5), (4.2, 0.6), BLACK)
    letters(side, "RV1", (95, 56.5))
    for at in TRIMMER:
        pad(side, at)
    box(side, (85, 79), (56, 26), BLACK, GREY)
    box(side, (85, 79), (50, 19), GLASS)
    letters(side, "21.5", (77, 79), 8.0, DIGITS)
    letters(side, "64", (103, 80.5), 5.0, DIGITS)
    # the sensors' plug
    box(side, (32, 93.5), (36, 8), WHITE)
    for n, at in enumerate(SENSOR_PINS):
        box(side, at, (1.6, 1.6), STEEL, round_mm=0.1)
        letters(side, str(n + 1), (at[0], at[1] - 5.2), 1.5)
    letters(side, "J3 SENSORS", (32, 82.8), 2.0)
    # relays and what they switch
    for name, at in RELAYS.items():
        box(side, at, (18, 17), BLUE, BLACK, round_mm=1.0)
        letters(side, name, (at[0], at[1] - 2), 3.2, WHITE)
        letters(side, "24V", (at[0], at[1] + 4), 1.8, WHITE)
    box(side, (150, 46), (12, 64), (46, 110, 70))
    for n in range(6):
        disc(side, (150, 20 + 10.4 * n), 3.2, STEEL, BLACK)
        box(side, (150, 20 + 10.4 * n), (0.7, 4.8), BLACK)
    letters(side, "J4", (140.5, 81), 2.4)
    return side


def back() -> Side:
    """The side with the solder: fuses crowded between resistors that look alike, the relays' coils beside them."""
    side = begun()
    for n in range(12):
        x = 64.0 + 4.6 * n
        track(side, (x, 30), (x, 34), (66 + 5.2 * (n % 6), 36), width=0.9)
        track(side, (x, 62), (x, 58), (68.6 + 5.2 * (n % 6), 55), width=0.9)
        track(side, (x, 62), (x - 6, 72), (x - 6, 84))
    for n in range(6):
        track(side, (12, 20 + 10.4 * n), (22, 20 + 10.4 * n), (27, 24 + 9 * n), width=2.0)
        track(side, (38, 20 + 10 * n), (50, 20 + 10 * n), (58, 28 + 3 * n), (64, 28 + 3 * n), width=0.8)
        track(side, (104 + 4 * n, 60), (116 + 4 * n, 72), (116 + 4 * n, 88))
    letters(side, "GC-8 MAIN", (82, 12), 3.4)
    letters(side, "FUSES", (82, 30.5), 2.2)
    for name, at in FUSES.items():
        chip(side, at, (2.3, 4.2), FUSE, upright=True)
        above = at[1] < 45
        letters(side, name, (at[0], at[1] + (-4.6 if above else 4.6)), 1.5)
    for n in range(7):
        chip(side, (97.4, 39) if n == 6 else (63.4 + 5.2 * n, 45.5), (2.2, 3.2), BLACK, upright=True)
    for n in range(6):
        chip(side, (88 + 5.2 * n, 62.2), (3.0, 1.6), BLACK)
        letters(side, f"R{n + 21}", (88 + 5.2 * n, 64.8), 1.3)
    for name, at in RELAYS.items():
        x, y = turned(at)
        side.draw.rounded_rectangle(px(x - 9, y - 8.5, x + 9, y + 8.5), 8, None, SILK, 3)
        letters(side, name, (x, y - 2), 2.6)
        for point in coil(at):
            pad(side, point, 1.5)
        letters(side, "COIL", (x + 0.6, y + 3.4), 1.3)
        for dx, dy in ((-6.0, -6.0), (-6.0, 0.0), (-6.0, 6.0)):
            pad(side, (x + dx, y + dy), 1.5)
    for at in [*COVER, *SUPPLY, (25.0, 41.0), (35.0, 41.0), *TRIMMER, *SENSOR_PINS]:
        pad(side, turned(at), 1.4)
    for n in range(6):
        pad(side, turned((150, 20 + 10.4 * n)), 1.9)
    for n in range(14):
        pad(side, turned((60 + 3.8 * n, 94)), 1.0)
    letters(side, "J1", turned((16, 34)), 2.2)
    letters(side, "C12", turned((30, 47)), 2.2)
    letters(side, "S1", turned((22, 22)), 2.2)
    letters(side, "RV1", turned((85, 65.5)), 2.0)
    letters(side, "J3", turned((32, 85)), 2.2)
    letters(side, "J4", turned((140.5, 81)), 2.4)
    for x, y in ((112.0, 32.0), (112.0, 54.0)):
        for n in range(5):
            chip(side, (x + 4.0 * n, y), (2.0, 3.0), GREY if n % 2 else BLACK, upright=True)
    return side


def drawn(side: str) -> Image.Image:
    """Return the picture of a side."""
    fine = {"front": front, "back": back}[side]().image
    return fine.resize((fine.width // FINER, fine.height // FINER), Image.Resampling.BOX)


def png(side: str) -> bytes:
    """Return the picture's file."""
    out = io.BytesIO()
    drawn(side).quantize(96, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def shares(points: Iterable[XY]) -> list[list[float]]:
    """Return places in mm as fractions of the picture."""
    return [[round(x / WIDTH_MM, 4), round(y / HEIGHT_MM, 4)] for x, y in points]


def tables() -> str:
    """Return the tables for the plan, with the hashes of the files as they lie beside it."""
    lines = []
    for side, file in FILES.items():
        sha = hashlib.sha256((PLANS / file).read_bytes()).hexdigest()
        lines += ["[[picture]]", f'file = "{file}"', f'side = "{side}"', f'title = "{TITLES[side]}"']
        lines += [f'sha256 = "{sha}"', "[picture.at]"]
        for name, points in places()[side].items():
            at = shares(points)
            lines.append(f'"{name}" = {at[0] if len(at) == 1 else at}')
        lines.append("")
    return "\n".join(lines)


if __name__ == "__main__":
    if "--write" in sys.argv[1:]:
        for side, file in FILES.items():
            (PLANS / file).write_bytes(png(side))
    sys.stdout.write(tables())
