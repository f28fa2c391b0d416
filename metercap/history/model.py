"""What a history is made of: places to probe, and what was seen there."""

from __future__ import annotations

from typing import Literal

import msgspec

Aspect = Literal["", "as found", "as left"]
"""Which of a trimmer's two values; empty for everything else."""


class Place(msgspec.Struct, frozen=True, order=True):
    """One place to probe on units of one model, and how: values of one place can be held against each other.

    `model` is the plan's title where it names no model. `unit` is that of the values; `how` says what is connected and
    where the tips are, as the plan does.
    """

    model: str
    step: str
    item: str
    unit: str = ""
    aspect: Aspect = ""
    how: str = ""

    @property
    def name(self) -> str:
        """Step, item and what tells it from others of that name, for people."""
        more = ", ".join(part for part in (self.aspect, self.how) if part)
        return f"{self.step} {self.item}{f' ({more})' if more else ''}"


class Mark(msgspec.Struct, frozen=True, order=True):
    """One value and where it came from; `day` is local (ISO 8601), empty where the clock cannot be believed."""

    value: float
    day: str = ""
    job: str = ""
    unit: str = ""
    journal: str = ""


class Sight(msgspec.Struct, frozen=True):
    """One verdict at a place. Its settled `value` is None where there is none; SI, in the place's unit.

    A value as found has no verdict of its own, and an empty one here.
    `meter` and `bench` are the names under which values are told apart.
    """

    verdict: str
    value: float | None = None
    resolution: float = 0.0
    meter: str = ""
    bench: str = ""
    day: str = ""
    job: str = ""
    unit: str = ""
    journal: str = ""

    @property
    def mark(self) -> Mark:
        """The value and where it came from; there must be one."""
        assert self.value is not None
        return Mark(self.value, self.day, self.job, self.unit, self.journal)
