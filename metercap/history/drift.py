"""Do the values of a place rise or fall over the dates?

Sources: Theil, Proc. K. Ned. Akad. Wet. 53 (1950) 386; Sen, J. Am. Stat. Assoc. 63 (1968) 1379; Mann, Econometrica 13
(1945) 245. All from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from metercap.history.counts import Dates
from metercap.metrology.domain import round6
from metercap.metrology.series import median
from metercap.metrology.trend import trend

YEAR_DAYS = 365.25
FEWEST_DATES = 6
"""With five dates in one order chance alone gives such an order once in 60 times: too often to tell."""
CHANCE = 0.01
Level = Literal["day", "month", "year"]
_LEVELS: tuple[Level, ...] = ("day", "month", "year")
"""By `Dates.level`."""


class Drift(msgspec.Struct, frozen=True):
    """How the medians of `dates` days, months or years (`by`) go: `per_year` in the values' unit, and `p` of chance.

    `relative` is `per_year` by the middle of the medians; None where that is 0. `told`: it is no chance.
    """

    by: Level
    dates: int
    per_year: float
    relative: float | None
    p: float
    told: bool


def slope(points: Sequence[tuple[float, float]]) -> float:
    """Return the median of the slopes (y_j − y_i)/(x_j − x_i) of all pairs whose x differ, the Theil–Sen estimate.

    y's unit by x's. Degenerate: fewer than two different x give 0. Source: Sen 1968.
    """
    slopes = [
        (y - before_y) / (x - before_x)
        for i, (x, y) in enumerate(points)
        for before_x, before_y in points[:i]
        if x != before_x
    ]
    return median(slopes) if slopes else 0.0


def drift(dates: Dates) -> Drift | None:
    """Return how the medians of the dates go; None where there are too few of them."""
    names = sorted(dates.parts)
    if len(names) < FEWEST_DATES:
        return None
    middles = [dates.parts[name].median() for name in names]
    per_year = round6(slope([(dates.middle(name), y) for name, y in zip(names, middles, strict=True)]) * YEAR_DAYS)
    found = trend(middles)
    centre = abs(median(middles))
    relative = round6(per_year / centre) if centre else None
    return Drift(_LEVELS[dates.level], len(names), per_year, relative, found.p, found.p < CHANCE and per_year != 0.0)
