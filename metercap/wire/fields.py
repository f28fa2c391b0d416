"""What a codec makes of one frame, and the flags a reading can carry.

Plain flags are what the meter says (`auto`, `hold`, …). Flags with a colon are layout: what the frame showed beyond
value, resolution and plain flags, so that the reading re-encodes to its very bytes.

    shape:TEXT   the number's layout, where it is not the family's usual one (see `shapes`)
    mode:TEXT    the symbols of the measuring mode, where the profile knows several for one quantity
    range:TEXT   function and range code, likewise
    unit:TEXT    the unit as written, likewise
    query:TEXT   the SCPI query that was asked, likewise
    end:TEXT     the line end, where it is not the usual one
    line:TEXT    everything of a text line but its digits, where it is not the profile's own way of writing

`minus` is the sign of a display without a number. What is only layout never decides a verdict.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol, TypeAlias

from metercap.errors import ProfileError
from metercap.quantity import Quantity
from metercap.reading import Reading, State

Fields: TypeAlias = tuple[Quantity, float | None, float, str, State, tuple[str, ...], str]
"""All of a `Reading` after its `t_s`, in its order."""

FLAGS = ("auto", "hold", "rel", "min", "max", "peak", "peak_max", "peak_min", "low_battery", "beep", "link", "minus")
"""Flags that every family means alike, in the order in which a reading carries them."""
_RANK = {flag: rank for rank, flag in enumerate(FLAGS)}
LAYOUT = ("mode", "range", "unit", "query", "end", "shape", "line")


class Codec(Protocol):
    """Knows one profile's frames: bytes to fields and back. Framing, timing and buffers are not its business."""

    frame_bytes: int
    """Length of a frame; for free lines, of a usual one."""

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one whole frame, or why it is none. Never raises."""
        ...

    def encode(self, reading: Reading) -> bytes:
        """Return the frame of `reading`, from its fields. Raises ProfileError for what the frame cannot show."""
        ...


def ordered(flags: Iterable[str]) -> list[str]:
    """Return plain flags in the fixed order; those not in `FLAGS` follow in the order given."""
    return sorted(flags, key=lambda flag: _RANK.get(flag, len(FLAGS)))


def layout(reading: Reading, name: str) -> str | None:
    """Return the text of a layout flag, or None."""
    head = f"{name}:"
    for flag in reading.flags:
        if flag.startswith(head):
            return flag[len(head) :]
    return None


def plain_flags(flags: Iterable[str]) -> tuple[str, ...]:
    """Return the flags that mean something to a person: all but layout."""
    return tuple(flag for flag in flags if ":" not in flag)


def unfit(reading: Reading, why: str) -> ProfileError:
    """Return the error for a reading that this profile's frames cannot show."""
    return ProfileError(
        f"a frame cannot show this {reading.quantity} reading: {why}",
        hint="use the profile of the meter that the reading came from",
    )
