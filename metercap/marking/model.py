"""What is marked: pictures of a board with places on them, and the order and groups that follow from the taps."""

from __future__ import annotations

from typing import TypeAlias

import msgspec

Spot: TypeAlias = tuple[float, float]
"""x from the left and y from the top, each 0 to 1, as fractions of the picture as it is stored."""
Tips: TypeAlias = tuple[Spot, ...]
"""One spot, or two where each tip has its own: red first."""

DIGITS = 4
"""Decimals of a place in a file: a quarter of a pixel on a picture of 2400."""


class Shot(msgspec.Struct, frozen=True):
    """One picture of the board as the plan names it; `at` has the places by "step" or "step/item"."""

    file: str
    side: str = ""
    title: str = ""
    sha256: str = ""
    at: dict[str, Tips] = {}


class Marks(msgspec.Struct, frozen=True):
    """All that is to stand in the plan: its own pictures first, in their order, then new ones.

    `orders` and `clusters` go by step id: those named here are written, an empty one is taken out, the other steps keep
    theirs.
    """

    shots: tuple[Shot, ...] = ()
    orders: dict[str, tuple[str, ...]] = {}
    clusters: dict[str, tuple[tuple[str, ...], ...]] = {}
