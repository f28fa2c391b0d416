"""What a codec makes of one frame, and the flags a reading can carry: what the meter says, such as `auto` or `hold`.

`minus` is the sign of a display without a number. How the frame was laid out stands in its raw bytes alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol, TypeAlias

from metercap.quantity import Quantity
from metercap.reading import State

Fields: TypeAlias = tuple[Quantity, float | None, float, str, State, tuple[str, ...], str]
"""All of a `Reading` after its `t_s`, in its order."""

FLAGS = ("auto", "hold", "rel", "min", "max", "peak", "peak_max", "peak_min", "low_battery", "beep", "link", "minus")
"""Flags that every family means alike, in the order in which a reading carries them."""
_RANK = {flag: rank for rank, flag in enumerate(FLAGS)}


class Codec(Protocol):
    """Knows one profile's frames. Framing, timing and buffers are not its business."""

    frame_bytes: int
    """Length of a frame; for free lines, of a usual one."""

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one whole frame, or why it is none. Never raises."""
        ...


def ordered(flags: Iterable[str]) -> tuple[str, ...]:
    """Return flags in the fixed order; those not in `FLAGS` follow in the order given."""
    return tuple(sorted(flags, key=lambda flag: _RANK.get(flag, len(FLAGS))))
