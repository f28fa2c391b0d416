"""The strip of a sweep: every contact and every verdict on a line of time, which wraps where it grows long. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from metercap.report.axes import TimeAxis
from metercap.report.document import Box, Line, Mark, Picture, Shape, Words
from metercap.report.gather import Strip, Tick, Touch
from metercap.report.plot import time_axis
from metercap.report.when import elapsed

WIDTH = 720.0
LEFT, RIGHT = 8.0, 712.0
ROW = 76.0
"""Height of one line of time."""
NAME_ROOM = 34.0
"""What a name takes, so that neighbours can be told apart."""
MOST_ROWS = 12


def strip(title: str, found: Strip) -> Picture | None:
    """Return the picture of a sweep, or None where nothing was touched or decided."""
    touches, ticks = list(found.touches), list(found.ticks)
    busy = sorted([time for touch in touches for time in (touch.t_s, touch.to_s)] + [tick.t_s for tick in ticks])
    if not busy:
        return None
    rows = min(max(math.ceil(len(ticks) * NAME_ROOM / (RIGHT - LEFT)), 1), MOST_ROWS)
    whole = TimeAxis(busy, 0.0, float(rows))
    shapes: list[Shape] = []
    for row in range(rows):
        mine = [time for time in busy if _row(whole, time, rows) == row]
        if mine:
            inside = [touch for touch in touches if _row(whole, touch.t_s, rows) == row]
            decided = [tick for tick in ticks if _row(whole, tick.t_s, rows) == row]
            clock = TimeAxis(_with_ends(mine, inside), LEFT, RIGHT)
            shapes += _one(clock, inside, decided, row * ROW)
    return Picture(title, tuple(_says(found, touches, ticks)), WIDTH, rows * ROW, tuple(shapes))


def _row(whole: TimeAxis, t_s: float, rows: int) -> int:
    return min(int(whole.x(t_s)), rows - 1)


def _with_ends(mine: Sequence[float], inside: Sequence[Touch]) -> list[float]:
    """A contact stays in the row where it began, to its end."""
    return sorted([*mine, *(touch.to_s for touch in inside)])


def _one(clock: TimeAxis, touches: Sequence[Touch], ticks: Sequence[Tick], top: float) -> Iterator[Shape]:
    line = top + 52.0
    for touch in touches:
        x0, x1 = clock.x(touch.t_s), clock.x(touch.to_s)
        height = 6.0 if touch.same else 12.0
        yield Box(x0, line - height, max(x1 - x0, 1.0), height, "slip" if touch.same else "touch")
    ends = (-99.0, -99.0)
    for tick in ticks:
        x = clock.x(tick.t_s)
        yield Line(x, top + 37.0, x, line - 12.0, "quiet")
        yield Mark(x, top + 30.0, tick.verdict)
        level = 0 if x >= ends[0] else 1 if x >= ends[1] else -1
        if level >= 0:
            anchor, at = ("end", RIGHT) if x > RIGHT - 20.0 else ("middle", x)
            yield Words(at, top + 20.0 - 11.0 * level, tick.item, anchor=anchor)  # type: ignore[arg-type]
            taken = x + 7.0 * max(len(tick.item), 2)
            ends = (taken, ends[1]) if level == 0 else (ends[0], taken)
    yield Line(LEFT, line, RIGHT, line, "axis")
    yield from time_axis(clock, line)


def _says(found: Strip, touches: Sequence[Touch], ticks: Sequence[Tick]) -> Iterator[str]:
    slips = sum(touch.same for touch in touches)
    yield f"contacts: {len(touches) - slips} (tall bars); touches of what was decided already: {slips} (low bars)"
    yield f"verdicts: {len(ticks)}" + (f", from {elapsed(ticks[0].t_s)} to {elapsed(ticks[-1].t_s)}" if ticks else "")
    left = found.touches.left_out + found.ticks.left_out
    if left:
        yield f"{left} more contacts and verdicts are in the journal and not drawn"
