"""The picture of k of n before and after: each a dot on a line from 0 to 100 %, within its interval. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from metercap.compare.model import Counted
from metercap.metrology.proportion import clopper_pearson
from metercap.report.document import Box, Dot, Line, Picture, Shape, Words

WIDTH = 720.0
LEFT, RIGHT = 120.0, 690.0
ROW = 22.0


def spans(title: str, row: Counted) -> Picture | None:
    """Return the picture of a count, or None where nothing was counted."""
    counts = []
    if row.before_k is not None and row.before_runs:
        interval = clopper_pearson(row.before_k, row.before_runs, row.confidence)
        counts.append(("before", row.before_k, row.before_runs, interval.low, interval.high))
    if row.runs:
        counts.append(("last", row.k, row.runs, row.low, row.high))
    if not counts:
        return None
    shapes = [shape for n, count in enumerate(counts) for shape in _one(*count, top=n * ROW)]
    bottom = len(counts) * ROW + 4.0
    shapes += _axis(bottom)
    return Picture(
        title, (f"each dot lies within its {100 * row.confidence:g} % interval",), WIDTH, bottom + 20.0, tuple(shapes)
    )


def _one(name: str, k: int, n: int, low: float, high: float, *, top: float) -> Iterator[Shape]:
    y = top + ROW / 2.0
    yield Words(0.0, y + 4.0, f"{name}: {k} of {n}")
    yield Box(_x(low), y - 4.0, max(_x(high) - _x(low), 1.0), 8.0, "bar")
    yield Dot(_x(k / n), y, 4.0, "left")


def _axis(y: float) -> Iterator[Shape]:
    yield Line(LEFT, y, RIGHT, y, "axis")
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        yield Line(_x(share), y, _x(share), y + 4.0, "axis")
        yield Words(_x(share), y + 15.0, f"{100 * share:g} %", anchor="middle")


def _x(share: float) -> float:
    return LEFT + share * (RIGHT - LEFT)
