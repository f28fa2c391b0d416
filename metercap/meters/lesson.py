"""What a lesson comes to: a profile, or the display that would tell most; and what stays open."""

from __future__ import annotations

import msgspec

from metercap.errors import ProfileError
from metercap.meter import MeterProfile
from metercap.meters.shown import Shown
from metercap.reading import Reading
from metercap.wire import decode_frame


class Sample(msgspec.Struct, frozen=True):
    """One display, and the frame that came while it stood."""

    frame: bytes
    shown: Shown


class Lesson(msgspec.Struct, frozen=True):
    """What the samples teach. `profile` is None until they suffice; `ask` names the display that would tell most.

    `digits` is what the asked display should hold, from the left, "_" for any: "_47_".
    `why` says in a few words what is not settled; `untold` lists what the profile leaves out, because no display
    showed it.
    """

    profile: MeterProfile | None = None
    ask: str = ""
    digits: str = ""
    why: str = ""
    untold: tuple[str, ...] = ()


class Contradiction(Exception):
    """The samples cannot all be of such a meter; the text says which display does not go with the others."""


def wrong(profile: MeterProfile, samples: list[Sample]) -> list[str]:
    """Return the displays that a profile does not decode to what was typed, each with what it decodes to."""
    found = []
    for sample in samples:
        try:
            items = decode_frame(profile, sample.frame, 0.0)
        except ProfileError as error:
            return [error.what]
        if len(items) != 1:
            found.append(f"{sample.shown.typed!r}: no single reading")
        elif not isinstance(items[0], Reading):
            found.append(f"{sample.shown.typed!r}: {items[0].why}")
        elif not sample.shown.agrees(items[0]):
            found.append(f"{sample.shown.typed!r}: decoded as {items[0].value} {items[0].unit}")
    return found
