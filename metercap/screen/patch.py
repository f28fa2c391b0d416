"""The patch: the neighbourhood of the next point on the board's picture, drawn for a number of pixels.

The point is lit, all around lies in the shade. How the other places stand is told by a shape before a colour: a disc
with a tick, a square with a cross, a diamond, a broken ring that was skipped, a bar that is absent, a small ring that
is open.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from metercap.screen.text import fitted, visible
from metercap.view import Board, Mark, State

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

NEIGHBOURS = 4
"""As many more places are in sight, so that one can count from them."""
NEAREST, WIDEST = 0.09, 0.5
"""Half of what is shown, as a share of the picture's longer side."""
SHADE = 0.55
ABOUT = 4.6
"""The light reaches so many times its measure; as far as there is room, no neighbour's mark is under it."""
MOST_NAME = 8
XY = tuple[float, float]


class Window(NamedTuple):
    """What is shown of a picture, in its pixels; it may reach over the edge."""

    left: float
    top: float
    width: float
    height: float


class Patch(NamedTuple):
    """A picture by the numbers of its colours, row by row."""

    width: int
    height: int
    pixels: bytes
    palette: tuple[tuple[int, int, int], ...]


def window(board: Board, size: tuple[int, int], shape: float) -> Window | None:
    """Return what to show around the next point of a picture of that size; `shape` is width over height."""
    lit = board.next
    if lit is None:
        return None
    x, y = _middle(lit, size)
    others = [mark for mark in board.here if mark is not lit]
    away = sorted(max(math.hypot(a * size[0] - x, b * size[1] - y) for a, b in mark.at) for mark in others)
    tips = max(math.hypot(a * size[0] - x, b * size[1] - y) for a, b in lit.at)
    near = away[min(NEIGHBOURS, len(away)) - 1] if away else 0.0
    longer = max(size)
    half = min(max(1.3 * max(1.5 * tips, near), NEAREST * longer), WIDEST * longer)
    width, height = (2 * half * shape, 2 * half) if shape > 1 else (2 * half, 2 * half / shape)
    return Window(_within(x, width, size[0]), _within(y, height, size[1]), width, height)


def _within(middle: float, length: float, whole: int) -> float:
    """Where a window of a length begins, so that it shows no more than it must of what is no picture."""
    if length >= whole:
        return (whole - length) / 2
    return min(max(middle - length / 2, 0.0), whole - length)


def _middle(mark: Mark, size: tuple[int, int]) -> XY:
    x = math.fsum(each[0] for each in mark.at) / len(mark.at)
    y = math.fsum(each[1] for each in mark.at) / len(mark.at)
    return x * size[0], y * size[1]


_LIT, _DARK, _GOOD, _BAD, _UNSURE, _OPEN = range(6)
_PENS = ((255, 225, 77), (0, 0, 0), (124, 188, 255), (255, 145, 82), (255, 216, 102), (255, 255, 255))
"""Colours of the marks; they are kept whatever the picture is made of."""


def draw(picture: Image, board: Board, width: int, height: int, colours: int, *, grey: bool = False) -> Patch | None:
    """Return the neighbourhood of the next point, None where there is none. `picture` is in RGB."""
    from PIL import Image

    seen = window(board, picture.size, width / height)
    if seen is None:
        return None
    box = (seen.left, seen.top, seen.left + seen.width, seen.top + seen.height)
    part = picture.transform((width, height), Image.Transform.EXTENT, box, Image.Resampling.BILINEAR, fillcolor="black")
    if grey:
        part = part.convert("L").convert("RGB")
    scale = width / seen.width

    def place(point: XY) -> XY:
        return (point[0] * picture.width - seen.left) * scale, (point[1] * picture.height - seen.top) * scale

    size = max(5.0, min(width, height) / 22)
    lit = board.next
    assert lit is not None
    part = _shaded(part, [place(point) for point in lit.at], 4.5 * size)
    few = part.quantize(colours - len(_PENS), Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    raw = (few.getpalette("RGB") or [])[: 3 * (colours - len(_PENS))]
    first = len(raw) // 3
    pens = [(round(0.3 * r + 0.59 * g + 0.11 * b),) * 3 if grey else (r, g, b) for r, g, b in _PENS]
    few.putpalette([*raw, *(each for pen in pens for each in pen)])
    _mark(few, board, place, size, first)
    known = [(raw[n], raw[n + 1], raw[n + 2]) for n in range(0, len(raw), 3)]
    return Patch(width, height, few.tobytes(), (*known, *pens))


def _shaded(part: Image, points: Sequence[XY], reach: float) -> Image:
    """The picture in the shade, but for a round place about each point."""
    from PIL import Image, ImageDraw

    mask = Image.new("L", part.size, 0)
    pen = ImageDraw.Draw(mask)
    for x, y in points:
        pen.ellipse((x - reach, y - reach, x + reach, y + reach), fill=255)
    return Image.composite(part, part.point(lambda value: value * SHADE), mask)


def _mark(few: Image, board: Board, place: Callable[[XY], XY], size: float, first: int) -> None:
    from PIL import ImageDraw, ImageFont

    pen = ImageDraw.Draw(few)
    font = ImageFont.load_default(max(10, round(1.6 * size)))
    inks = [first + n for n in range(len(_PENS))]
    lit = board.next
    for mark in board.here:
        points = [place(point) for point in mark.at]
        x = math.fsum(each[0] for each in points) / len(points)
        y = math.fsum(each[1] for each in points) / len(points)
        if mark is lit or not (-size <= x <= few.width + size and -size <= y <= few.height + size):
            continue
        _SHAPES[mark.state](pen, x, y, size, inks)
        name = fitted(visible(mark.item), MOST_NAME)
        _words(pen, x, y - 1.3 * size, name, font, inks[_OPEN], inks[_DARK])
    assert lit is not None
    lights = [place(point) for point in lit.at]
    others = [place(point) for mark in board.here if mark is not lit for point in mark.at]
    near = min((math.dist(one, other) for one in lights for other in others), default=math.inf)
    size = max(0.5 * size, min(size, (near - size) / ABOUT))
    for at, point in enumerate(lit.at):
        _light(pen, *place(point), size, inks)
        if len(lit.at) > 1:
            x, y = place(point)
            words = "black" if at else "red"
            _words(pen, x, y + 5.4 * size + font.getbbox("x")[3], words, font, inks[_LIT], inks[_DARK])


def _words(pen: ImageDraw, x: float, y: float, words: str, font: Any, ink: int, edge: int) -> None:
    """Letters with an edge, each pixel one of the two: a colour between two numbers would be any other one."""
    pen.fontmode = "1"
    for dx, dy in ((-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)):
        pen.text((x + dx, y + dy), words, edge, font, "ms")
    pen.text((x, y), words, ink, font, "ms")


def _light(pen: ImageDraw, x: float, y: float, size: float, inks: Sequence[int]) -> None:
    """The next point: a thick ring with four strokes towards it, light on dark."""
    for ink, more in ((inks[_DARK], 2.0), (inks[_LIT], 0.0)):
        reach = 2.6 * size + more
        wide = round(0.9 * size + 2 * more)
        pen.ellipse((x - reach, y - reach, x + reach, y + reach), outline=ink, width=wide)
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            near, far = 3.0 * size, 4.4 * size + more
            pen.line((x + dx * near, y + dy * near, x + dx * far, y + dy * far), ink, wide)


def _ring(pen: ImageDraw, x: float, y: float, r: float, fill: int, edge: int, width: int = 2) -> None:
    pen.ellipse((x - r, y - r, x + r, y + r), fill=fill, outline=edge, width=width)


def _tick(pen: ImageDraw, x: float, y: float, r: float, ink: int) -> None:
    pen.line([(x - r / 2, y), (x - r / 8, y + r / 2.4), (x + r / 2, y - r / 2.4)], ink, 2)


def _ticked(pen: ImageDraw, x: float, y: float, r: float, inks: Sequence[int]) -> None:
    _ring(pen, x, y, r, inks[_GOOD], inks[_DARK])
    _tick(pen, x, y, r, inks[_DARK])


def _accepted(pen: ImageDraw, x: float, y: float, r: float, inks: Sequence[int]) -> None:
    _ring(pen, x, y, r, inks[_DARK], inks[_GOOD])
    _tick(pen, x, y, r, inks[_GOOD])


def _failed(pen: ImageDraw, x: float, y: float, r: float, inks: Sequence[int]) -> None:
    pen.rectangle((x - r, y - r, x + r, y + r), fill=inks[_DARK], outline=inks[_BAD], width=2)
    pen.line((x - r / 2, y - r / 2, x + r / 2, y + r / 2), inks[_BAD], 2)
    pen.line((x + r / 2, y - r / 2, x - r / 2, y + r / 2), inks[_BAD], 2)


def _unsure(pen: ImageDraw, x: float, y: float, r: float, inks: Sequence[int]) -> None:
    r *= 1.2
    pen.polygon([(x, y - r), (x + r, y), (x, y + r), (x - r, y)], fill=inks[_DARK], outline=inks[_UNSURE], width=2)


def _skipped(pen: ImageDraw, x: float, y: float, r: float, inks: Sequence[int]) -> None:
    for start in range(0, 360, 60):
        pen.arc((x - r, y - r, x + r, y + r), start, start + 35, inks[_UNSURE], 3)


def _absent(pen: ImageDraw, x: float, y: float, r: float, inks: Sequence[int]) -> None:
    pen.rectangle((x - r, y - 3, x + r, y + 3), fill=inks[_OPEN], outline=inks[_DARK])


def _open(pen: ImageDraw, x: float, y: float, r: float, inks: Sequence[int]) -> None:
    _ring(pen, x, y, 0.6 * r, inks[_DARK], inks[_OPEN])


_SHAPES: dict[State, Callable[[ImageDraw, float, float, float, Sequence[int]], None]] = {
    State.TICKED: _ticked,
    State.ACCEPTED: _accepted,
    State.FAILED: _failed,
    State.UNSURE: _unsure,
    State.SKIPPED: _skipped,
    State.ABSENT: _absent,
    State.OPEN: _open,
    State.NEXT: _open,
}
