"""The model of a meter profile: all that metercap knows about a meter is data.

A profile is a TOML file in `profiles/meters`. Its serial settings, poll bytes, conversion rates, continuity
ceiling, frame tables and accuracy table become one frozen `MeterProfile`, which a journal's first record carries
whole, so that a session can be replayed without the file.
"""

from __future__ import annotations

import math
from typing import Literal

import msgspec

from metercap.quantity import Quantity


class Serial(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How the port is opened: 8N1 is bits 8, parity "none", stop 1. `dtr` and `rts` power many optical heads."""

    baud: int = 9600
    bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    stop: Literal[1, 2] = 1
    dtr: bool = True
    rts: bool = True

    @property
    def byte_s(self) -> float:
        """Time of one byte on the wire in seconds: start bit, data, parity, stop."""
        return (1 + self.bits + (self.parity != "none") + self.stop) / self.baud


class Poll(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A meter that speaks only when asked: `send` is the ASCII text of a request, sent `per_s` times a second."""

    send: str
    per_s: float


class Hid(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How a cable that is a USB HID device carries the meter's bytes, where the meter is opened by hid://.

    `set_up`: feature reports to send when it is opened, each in hex, its number first; they hold baud rate and the like
    in the cable's own way. `count_mask`: the bits of a report's first byte that say how many of the meter's bytes
    follow. `numbered`: that first byte is the report's number as well.
    """

    set_up: tuple[str, ...] = ()
    count_mask: int = 0x3F
    numbered: bool = True


class Accuracy(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One row of the data sheet's accuracy table: ±(percent of reading + counts of the last digit).

    `resolution` (SI) picks the range that the row is for; None holds for every range of the quantity.
    """

    quantity: Quantity
    percent: float
    counts: float
    resolution: float | None = None


class MeterProfile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Everything known about a meter.

    `family`: which decoder reads it: one of ours (`wire.families`), or one that another package brings.
    `like`: the profile that this one was read on top of: a relative, where only some keys differ.
    `conversions_per_s`: the slowest rate of the meter for any quantity not named in `conversions_per_s_by`.
    `continuity_ceiling_ohm`: above it continuity mode shows over-range.
    `tables`: what the family's decoder needs, by table name; each family documents and checks its own.
    `counts`: the highest number the display shows, for choosing a fixed range.
    """

    name: str
    family: str
    title: str = ""
    like: str = ""
    schema: int = 1
    serial: Serial = Serial()
    poll: Poll | None = None
    hid: Hid = Hid()
    conversions_per_s: float = 2.0
    conversions_per_s_by: dict[Quantity, float] = {}
    frames_per_s: float | None = None
    continuity_ceiling_ohm: float | None = None
    counts: int | None = None
    accuracy: tuple[Accuracy, ...] = ()
    tables: dict[str, dict[str, str | float]] = {}
    patterns: tuple[str, ...] = ()

    def conversion_s(self, quantity: Quantity) -> float:
        """T: the longest time between two new values for `quantity`, in seconds (1 / rate)."""
        return 1.0 / self.conversions_per_s_by.get(quantity, self.conversions_per_s)

    def at_rate(self, conversions_per_s: float) -> MeterProfile:
        """Return the profile with one stated rate for every quantity (`--rate N`); a polled meter is asked as often."""
        poll = self.poll
        if poll is not None and poll.per_s < conversions_per_s:
            poll = msgspec.structs.replace(poll, per_s=conversions_per_s)
        return msgspec.structs.replace(self, conversions_per_s=conversions_per_s, conversions_per_s_by={}, poll=poll)


MOST_PER_S = 10_000.0
"""No meter converts, sends or is asked more often."""
SLOWEST_PER_S = 0.001
MOST_BAUD = 100_000_000


def impossible(profile: MeterProfile) -> list[str]:
    """Return what is wrong with numbers that have the right type, each as "key: what"; NaN is wrong everywhere."""
    rates: list[tuple[str, float | None]] = [
        ("poll.per_s", profile.poll.per_s if profile.poll else None),
        ("conversions_per_s", profile.conversions_per_s),
        *((f"conversions_per_s_by.{key}", rate) for key, rate in profile.conversions_per_s_by.items()),
        ("frames_per_s", profile.frames_per_s),
    ]
    problems = [
        f"{key}: must be a number above 0, from {SLOWEST_PER_S:g} to {MOST_PER_S:g}"
        for key, rate in rates
        if rate is not None and not SLOWEST_PER_S <= rate <= MOST_PER_S
    ]
    if not 1 <= profile.serial.baud <= MOST_BAUD:
        problems.append(f"serial.baud: must be a number above 0, up to {MOST_BAUD}")
    if not 1 <= profile.hid.count_mask <= 0xFF:
        problems.append("hid.count_mask: must be from 1 to 255")
    for key, value in (("continuity_ceiling_ohm", profile.continuity_ceiling_ohm), ("counts", profile.counts)):
        if value is not None and not 0 < value < 1e12:
            problems.append(f"{key}: must be a number above 0")
    for n, row in enumerate(profile.accuracy, 1):
        for name in ("percent", "counts"):
            if not 0 <= getattr(row, name) < 1e6:
                problems.append(f"accuracy, row {n}: {name}: must be 0 or above")
        if row.resolution is not None and not 0 < row.resolution < 1e12:
            problems.append(f"accuracy, row {n}: resolution: must be above 0")
    for table, rows in profile.tables.items():
        problems += [
            f"tables.{table}.{key}: must be a number"
            for key, value in rows.items()
            if not isinstance(value, str) and not math.isfinite(value)
        ]
    return problems
