"""Taps: which item of the plan a finger on a picture of the board means. Pure."""

from __future__ import annotations

import math
from typing import NamedTuple

from metercap.view.model import View

REACH = 0.05
"""How far beside a place a finger may come down, as a share of the picture's longer side: about a finger's width on a
picture that fills a phone (common practice, no source)."""


class Tap(NamedTuple):
    """An item of the plan, and which of its places was met: 0 the only one or the red tip's, 1 the black one's."""

    step: str
    item: str
    tip: int


def tapped(
    view: View, picture: int, x: float, y: float, width: float, height: float, reach: float = REACH
) -> Tap | None:
    """Return the item nearest to a point of a picture, None where none is near or the point is none.

    `x` and `y` are fractions of the picture, `width` and `height` its size in any unit: what is near is measured on the
    picture as it is seen. Where places lie on one another, the item that is asked for is meant, then one of its step.
    """
    if not (0.0 <= x <= 1.0 and 0.0 <= y <= 1.0 and 0.0 < width < math.inf and 0.0 < height < math.inf):
        return None
    longer = max(width, height)
    best: tuple[tuple[float, bool, bool], Tap] | None = None
    for stage in view.path:
        for spot in stage.spots:
            for where in spot.at:
                for tip, (px, py) in enumerate(where.at if where.picture == picture else ()):
                    away = math.hypot((px - x) * width, (py - y) * height) / longer
                    other = stage.id != view.step
                    rank = (round(away, 6), other, other or spot.name != view.item)
                    if away <= reach and (best is None or rank < best[0]):
                        best = rank, Tap(stage.id, spot.name, tip)
    return None if best is None else best[1]
