"""Good units' values, as the steps of a session use them: to judge what a plan sets no limits for.

A difference from good units is a reason to look, not a fault: E_n ranks, and only a plan's limits fail (trimmers, for
one, are set per unit). So a value that is like theirs passes, and one that differs is `unsure`. The one limit that
comes from a good unit is that of a fuse whose type has no table: its plan asks for one by naming the type.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import msgspec

from metercap.errors import JournalError
from metercap.meter import MeterProfile
from metercap.metrology.budget import Budget
from metercap.metrology.compare import ENOUGH, Comparison, Expected, compare, expected_middle, expected_value
from metercap.metrology.domain import round6
from metercap.metrology.pair import Measured, pair_budget
from metercap.plankeys import Item
from metercap.records import SessionRecord

BY_REFERENCE = "reference"
"""The rule a verdict names where good units were its limits."""


class Origin(msgspec.Struct, frozen=True, omit_defaults=True):
    """Which meter gave values, and on which local day (ISO 8601, empty where not known)."""

    meter: str = ""
    identity: str = ""
    day: str = ""

    @classmethod
    def of(cls, record: SessionRecord) -> Origin:
        """Return the origin of a session's values."""
        try:
            start = datetime.datetime.fromisoformat(record.start_utc)
            day = (start + datetime.timedelta(seconds=record.zone_offset_s)).date().isoformat()
        except (ValueError, OverflowError):
            day = ""
        return cls(record.meter.name, record.identity, day)

    def apart(self, other: Origin) -> str:
        """Return why values of two origins do not share a gain error; empty where they do.

        Meters that tell no identity are taken for one when their profile is the same.
        """
        if not self.meter or (self.meter, self.identity) != (other.meter, other.identity):
            return "another meter"
        return "" if self.day and self.day == other.day else "another day"


class GoodValue(Measured, frozen=True, omit_defaults=True):
    """What one good unit measured; `name` is the unit."""

    name: str = ""
    origin: Origin = Origin()


class Good(msgspec.Struct, frozen=True, omit_defaults=True, rename={"expanded": "U"}):
    """What good units measured at one item: a row of a first record's `reference`. SI, in `unit`.

    `value`: the one unit's, or the middle of `n`; `expanded` (JSON key `U`): the largest U of one of them. `connected`,
    `red` and `black` say how they were measured, as an item's keys do. `fuse_max`: the limit of a fuse that reads so.
    Of very many units no values are listed: `value` is then their median and `mad` their scaled MAD.
    """

    value: float
    expanded: float | None = None
    unit: str = ""
    n: int = 1
    unit_name: str = ""
    session: str = ""
    known_good: bool = True
    resolution: float | None = None
    units: tuple[GoodValue, ...] = ()
    connected: str = ""
    red: str = ""
    black: str = ""
    fuse_max: float | None = None
    mad: float | None = None

    @property
    def values(self) -> tuple[GoodValue, ...]:
        """Every good unit's value; of a row that does not list them, the one that it has."""
        return self.units or (GoodValue(self.value, self.expanded or 0.0, self.resolution, name=self.unit_name),)

    @property
    def who(self) -> str:
        """Name the good units, in a few words."""
        if self.n > 1:
            return f"{self.n} known-good units" if self.known_good else f"{self.n} units, not all known good"
        if not self.known_good:
            return f"unit {self.unit_name}, not marked known good"
        return f"the known-good unit {self.unit_name}".rstrip()

    def unlike(self, item: Item, unit: str) -> str:
        """Return why an item is not comparable with these values; empty where it is."""
        if unit != self.unit and self.unit:
            return f"it is in {unit or 'no unit'}, the reference in {self.unit}"
        for what, here, there in (
            ("connected", item.connected, self.connected),
            ("red on", item.red, self.red),
            ("black on", item.black, self.black),
        ):
            if here != there:
                return f"{what}: {here or 'not said'}, there {there or 'not said'}"
        return ""


class Likeness(msgspec.Struct, frozen=True):
    """A value beside good units: `comparison` with their middle, what they let `expected`, and U(Δ)'s `budget`.

    With one good unit `comparison.e_n` is E_n; with more it is the difference in half-widths of the expected interval,
    which is never narrower than U(Δ).
    """

    comparison: Comparison
    expected: Expected
    budget: Budget

    @property
    def differs(self) -> bool:
        """True where the difference is more than chance explains."""
        return self.comparison.signal

    def said(self, good: Good) -> str:
        """Return the comparison in words, for a verdict's reason."""
        score = f"{self.comparison.e_n:.3g}"
        how = f"E_n {score}" if good.n == 1 else f"{score} of the expected half-width"
        return f"{'differs from' if self.differs else 'like'} {good.who} ({how})"


def likeness(now: Measured, good: Good, origin: Origin, profile: MeterProfile) -> Likeness:
    """Compare a value, measured by `profile` at `origin`, with good units' values.

    U(Δ) is the widest `pair_budget` with any of them; the interval is that of `expected_value`.
    """
    budgets = [pair_budget(now, each, profile, origin.apart(each.origin)) for each in good.values]
    widest = max(budgets, key=lambda budget: budget.expanded)
    if good.mad is not None and good.n >= ENOUGH:
        expected = expected_middle(good.value, good.mad, good.n, widest.expanded)
    else:
        expected = expected_value([each.value for each in good.values], widest.expanded)
    comparison = compare(now.value, round6(expected.centre), expected.half_width)
    return Likeness(comparison, expected, widest)


class Against(msgspec.Struct, frozen=True):
    """What an item without limits is held against: good units, seen from this session's meter and day.

    `apart` says why they are not comparable after all; empty where they are.
    """

    good: Good
    origin: Origin
    profile: MeterProfile
    apart: str = ""

    def likeness(self, now: Measured) -> Likeness:
        """Compare a value of this session."""
        return likeness(now, self.good, self.origin, self.profile)


class Goods:
    """The good units' values that a session was given, by step and item."""

    def __init__(self, record: SessionRecord) -> None:
        self._origin = Origin.of(record)
        self._profile = record.meter
        self._rows = read_goods(record.reference)

    def against(self, step: str, item: Item, unit: str) -> Against | None:
        """Return what to hold an item against, or None where nothing is known of it."""
        good = self._rows.get(f"{step}/{item.name}")
        return None if good is None else Against(good, self._origin, self._profile, good.unlike(item, unit))


def read_goods(reference: Mapping[str, Mapping[str, Any]]) -> dict[str, Good]:
    """Return the rows of a first record's `reference`; JournalError for one that cannot be read."""
    out = {}
    for key, row in reference.items():
        try:
            out[key] = msgspec.convert(row, Good)
        except msgspec.ValidationError as error:
            hint = "the journal was written by another version"
            raise JournalError(f"the reference value of {key} cannot be read: {error}", hint=hint) from error
    return out
