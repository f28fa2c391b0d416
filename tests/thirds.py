"""Tables of cases so large that a quick run takes a share: another one in each row, so that no column is left out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

import pytest

T = TypeVar("T")


def thirds() -> list[Any]:
    """Return the parameters of a test that takes its columns by `third`: a quick one, and two that are slow."""
    return [0, *(pytest.param(part, marks=pytest.mark.slow) for part in (1, 2))]


def third(columns: Sequence[T], row: int, part: int) -> list[T]:
    """Return every third column, beginning elsewhere in each row."""
    return [each for n, each in enumerate(columns) if (n + row) % 3 == part]


def crossed(rows: Iterable[Any], columns: Iterable[Any], share: int = 3) -> list[Any]:
    """Return every pair for `parametrize`; in each row one of `share` is quick, the others are slow."""
    across = list(columns)
    return [
        pytest.param(one, other, marks=[] if (n + m) % share == 0 else [pytest.mark.slow])
        for m, one in enumerate(rows)
        for n, other in enumerate(across)
    ]


def some_of(values: Iterable[Any], share: int = 3) -> list[Any]:
    """Return the values for `parametrize`; the first of each `share` is quick, the others are slow."""
    return [pytest.param(each, marks=[] if n % share == 0 else [pytest.mark.slow]) for n, each in enumerate(values)]
