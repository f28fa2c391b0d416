"""The model of a meter profile: all that metercap knows about a meter is data.

A profile is a TOML file in `profiles/meters`. Its serial settings, poll bytes, conversion rates, continuity
ceiling, frame tables and accuracy table become one frozen `MeterProfile`, which a journal's first record carries
whole, so that a session can be replayed without the file.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from metercap.quantity import Quantity

Family = Literal["lcd14", "digits14", "polled-line", "text", "scpi"]


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

    `conversions_per_s`: the slowest rate of the meter for any quantity not named in `conversions_per_s_by`.
    `continuity_ceiling_ohm`: above it continuity mode shows over-range.
    `tables`: what the family's decoder needs, by table name; each family documents and checks its own.
    `counts`: the highest number the display shows, for choosing a fixed range.
    """

    name: str
    family: Family
    title: str = ""
    schema: int = 1
    serial: Serial = Serial()
    poll: Poll | None = None
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
