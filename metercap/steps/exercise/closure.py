"""What a switch's contact did since the last prompt: conversions closed, open, or closed badly.

A conversion that an edge of the hand fell into is a blend, so the first and the last of a closure tell nothing of its
resistance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum

from metercap.judging.judge import Judge, Judgement, Limits
from metercap.metrology.domain import round6
from metercap.metrology.trend import trend
from metercap.quantity import format_value
from metercap.reading import Reading, State

LEAST = 3
"""Conversions that a closure and an opening last at least; what is shorter cannot be told from an edge or a bounce."""

WIDE = 2.0
"""A contact whose resistance varies by more than this factor, and by counts that can be told, is said to."""
TOLD_COUNTS = 5.0


class Contact(StrEnum):
    """What one conversion shows of a contact."""

    CLOSED = "closed"
    OPEN = "open"
    POOR = "poor"
    """Closed, but of too high a resistance."""


def kind_of(reading: Reading, value: float | None, most: float, open_above: float | None) -> Contact:
    """Return what a conversion shows: open when over-range or above `open_above`, closed up to `most`. Ohm."""
    if reading.state is State.OVER or value is None or (open_above is not None and value > open_above):
        return Contact.OPEN
    return Contact.CLOSED if value <= most else Contact.POOR


class Closure:
    """Counts the conversions of one press or release; `last` and `last_s` outlive `forget`."""

    __slots__ = ("apart", "dropouts", "gap", "last", "last_s", "poor", "values")

    def __init__(self) -> None:
        self.last = Contact.OPEN
        self.last_s = 0.0
        self.dropouts = 0
        self.forget()

    def forget(self) -> None:
        """A new half of a press begins."""
        self.values: list[float] = []
        self.apart = self.poor = 0
        self.gap = False

    def feed(self, kind: Contact, value: float, t_s: float) -> None:
        """Take a conversion; `value` in ohm counts where it is closed."""
        self.last, self.last_s = kind, t_s
        if kind is Contact.OPEN:
            self.apart += 1
            self.gap = bool(self.values)
            return
        self.apart = 0
        if kind is Contact.POOR:
            self.poor += 1
            return
        if self.gap:
            self.dropouts += 1
        self.gap = False
        self.values.append(value)

    @property
    def is_closed(self) -> bool:
        """True when it has been closed for long enough."""
        return len(self.values) >= LEAST

    @property
    def is_open(self) -> bool:
        """True when it has been open for long enough, without a break."""
        return self.apart >= LEAST

    @property
    def is_poor(self) -> bool:
        """True when its resistance has been too high for long enough."""
        return self.poor >= LEAST

    @property
    def inside(self) -> list[float]:
        """The values whose conversions no edge of the closure fell into, in ohm."""
        return self.values[1:-1]


def resistance(judge: Judge, limits: Limits, last: Reading, inside: Sequence[float]) -> tuple[Judgement, list[str]]:
    """Judge the mean of the values inside the closures, in ohm; say when they vary much. `last` is the newest reading.

    Without any value inside (closures too short for it) the newest one stands for them.
    """
    inner = list(inside) or [judge.corrected(last)]
    low, high = min(inner), max(inner)
    said = []
    if high > WIDE * max(low, TOLD_COUNTS * last.resolution):
        ends = (format_value(value, "ohm", last.resolution) for value in (low, high))
        said.append("contact resistance from {} to {}".format(*ends))
    middle = round6(math.fsum(inner) / len(inner))
    return judge.judge(last, limits, value=middle, conversions=inner[-10:]), said


def drift(by_press: Sequence[float], confidence: float) -> list[str]:
    """Say whether the contact's resistance rises or falls with use, where it is more than chance; ohm, one a press.

    Kendall's S, two-sided p, against 1 − confidence: see `trend`. Degenerate: under five presses none shows at 95 %.
    """
    found = trend(by_press)
    shown = found.direction != "none" and found.p <= round6(1.0 - confidence)
    return [f"contact resistance {found.direction} with use (p = {found.p:.3g})"] if shown else []
