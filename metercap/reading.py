"""A reading: one value off the meter, exactly as the display showed it.

This very object is what the decoders yield, what the session is fed and what the journal holds, so there is no
second form of it that could differ.
"""

from __future__ import annotations

from enum import StrEnum

import msgspec
from msgspec import UNSET, UnsetType

from metercap.quantity import Quantity


class State(StrEnum):
    """Whether the display shows a number."""

    OK = "ok"
    OVER = "over"
    """Over-range, "OL": in air, over an open fuse, or above the range. No number."""
    BLANK = "blank"
    """The display shows nothing readable, as some meters do while they change range."""


class Reading(msgspec.Struct, frozen=True, tag_field="kind", tag="reading"):
    """One value off the meter.

    `t_s`: seconds since session start of the frame's last byte, monotonic, rounded to 1 µs.
    `value`: SI base units (temperature in degC, duty in percent); the float of the displayed decimal text, or None.
    `resolution`: the weight of the last displayed digit in the same unit; 0.0 when the display shows none.
    `flags`: among auto, hold, rel, min, max, peak, low_battery, beep, link, in a fixed order.
    `raw`: hex of the frame's bytes.
    """

    t_s: float
    quantity: Quantity
    value: float | None
    resolution: float
    unit: str
    state: State
    flags: tuple[str, ...]
    raw: str


class Garbage(msgspec.Struct, frozen=True, tag_field="kind", tag="garbage"):
    """Bytes that fit no frame: `raw` is their hex, `why` says what was wrong, `offset` counts from the link's start.

    In a flood one record stands for `count` pieces of `size` bytes in all, one behind the other unless readings lie
    between; `raw`, `why` and `offset` are then the first's. Otherwise both are UNSET: one piece, the bytes of `raw`.
    """

    t_s: float
    raw: str
    why: str
    offset: int = 0
    count: int | UnsetType = UNSET
    size: int | UnsetType = UNSET

    @property
    def bytes(self) -> int:
        """How many bytes it stands for."""
        return len(self.raw) // 2 if self.size is UNSET else self.size


def told(flags: tuple[str, ...]) -> list[str]:
    """Return what the meter said: files of schema 1 carry, behind a colon, how a frame was laid out as well."""
    return [flag for flag in flags if ":" not in flag]
