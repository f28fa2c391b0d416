"""k of n on paper: dots and intervals at their places; the interval against scipy's beta distribution."""

from __future__ import annotations

from typing import Any

import pytest
from scipy.stats import beta

from metercap.compare.model import Counted
from metercap.report.document import Box, Dot
from metercap.report.spans import LEFT, RIGHT, spans

ROW = Counted("B", "cover", "S1", 10, 15, 15, 15, 0.781981, 1.0, 0.95, 0.0211, True)


def of(picture: Any, kind: Any) -> Any:
    """Return a picture's shapes of one kind."""
    return [shape for shape in picture.shapes if isinstance(shape, kind)]


def share(x: Any) -> Any:
    """Return the share that a place stands for."""
    return (x - LEFT) / (RIGHT - LEFT)


def test_dots_and_intervals() -> None:
    """10 of 15 before and 15 of 15 after; the interval before by Clopper-Pearson, as scipy has it."""
    before, after = of(spans("cover S1", ROW), Box)
    assert [share(dot.x) for dot in of(spans("cover S1", ROW), Dot)] == pytest.approx([10 / 15, 1.0])
    assert share(before.x) == pytest.approx(beta.ppf(0.025, 10, 6))
    assert share(before.x + before.width) == pytest.approx(beta.ppf(0.975, 11, 5))
    assert share(after.x) == pytest.approx(0.781981)


def test_one_run_has_one_line() -> None:
    """Nothing before: one dot."""
    row = Counted("B", "cover", "S1", None, None, 15, 15, 0.78, 1.0, 0.95, None, None)
    assert len(of(spans("cover S1", row), Dot)) == 1


def test_nothing_counted_nothing_drawn() -> None:
    """A switch that was never pressed has no share."""
    assert spans("S1", Counted("B", "cover", "S1", None, None, 0, 0, 0.0, 1.0, 0.95, None, None)) is None
