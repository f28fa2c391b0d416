"""A reference: what good units of one model measured, item by item, with all that a comparison needs to know.

It keeps every unit's value, not their middle: what they let one expect is worked out where it is used, against the
uncertainty of the value at hand. Of very many units it keeps how often each value was displayed, which says the same.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

import msgspec

from metercap.judging.good import Good, GoodValue, Origin
from metercap.metrology.compare import ENOUGH, Expected, expected_middle, expected_value
from metercap.metrology.domain import round6
from metercap.metrology.tally import Tally
from metercap.reference.fuses import FACTOR, LEAST_LIMIT_OHM

SCHEMA = 2
"""Version of the file; a reader refuses newer ones. Schema 1 had no sources, signatures or counted values."""

LISTED = 30
"""Units whose values are listed one by one; of more they are counted."""
MOST_NAMED = 1000
"""Units that are named, with their sources; of more their number is kept, and the sum of the sources' hashes."""

Sha256 = Annotated[str, msgspec.Meta(pattern=r"^[0-9a-f]{64}\Z")]
"""In hexadecimal (FIPS 180-4)."""
Number = Annotated[int, msgspec.Meta(ge=0, le=10**12)]
Times = Annotated[int, msgspec.Meta(ge=1, le=10**12)]


class GoodUnit(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One unit: its session, when that started (RFC 3339, UTC), where its values come from, and who vouched for it."""

    name: str
    session: str
    start_utc: str
    origin: Origin
    known_good: bool


class SourceFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A file that values are from, by its name and the SHA-256 of its bytes; `signed`: who signed a reference off."""

    file: str
    sha256: Sha256
    signed: str = ""


class Signature(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Who vouches for these values, and since when (RFC 3339, UTC).

    `sha256` is that of what was signed, so that a later change shows; it does not prove who signed.
    """

    by: str
    utc: str
    sha256: Sha256

    @property
    def words(self) -> str:
        """Who, and since when."""
        return f"{self.by}, {self.utc}"


class Folded(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Units that are no longer named: how many, how many of them nobody marked known good, and their sources.

    `sha256` is the sum of the sources' own, as whole numbers modulo 2^256, so that it is the same in any order.
    """

    units: Number = 0
    unmarked: Number = 0
    sources: Number = 0
    sha256: Annotated[str, msgspec.Meta(pattern=r"^([0-9a-f]{64})?\Z")] = ""


class Counted(msgspec.Struct, frozen=True, forbid_unknown_fields=True, rename={"expanded": "U"}):
    """How often each value was displayed: `counts` by whole numbers of 10^`power`, as a `Tally` has them.

    `expanded` (JSON key `U`) is the largest of one value, `resolution` the coarsest.
    """

    counts: dict[int, Times]
    power: int
    expanded: float
    resolution: float | None = None
    coarse: bool = False

    @classmethod
    def of(cls, tally: Tally, expanded: float, resolution: float | None) -> Counted:
        """Return a tally, which stays its own."""
        return cls(dict(tally.counts), tally.power, expanded, resolution, tally.coarse)

    @property
    def tally(self) -> Tally:
        """The values."""
        return Tally(dict(self.counts), self.power, self.coarse)


class GoodItem(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One place to probe and what each unit measured there, in SI and `unit`; each value names its unit.

    `connected`, `red` and `black` are those of the plan's item, under which the values hold. Of more than LISTED units
    there are no `values`; they are `counted`.
    """

    step: str
    item: str
    unit: str
    values: tuple[GoodValue, ...] = ()
    connected: str = ""
    red: str = ""
    black: str = ""
    counted: Counted | None = None

    @property
    def key(self) -> tuple[str, str]:
        """Step and item."""
        return self.step, self.item

    @property
    def n(self) -> int:
        """How many units' values there are."""
        return len(self.values) if self.counted is None else self.counted.tally.n

    @property
    def widest(self) -> float:
        """The largest U of one value."""
        return self.counted.expanded if self.counted is not None else max(value.expanded for value in self.values)

    @property
    def resolution(self) -> float | None:
        """The first value's, or the coarsest of those that are counted."""
        return self.counted.resolution if self.counted is not None else self.values[0].resolution

    @property
    def tally(self) -> Tally:
        """How often each value was displayed."""
        return Tally.of(value.value for value in self.values) if self.counted is None else self.counted.tally

    @property
    def one_by_one(self) -> tuple[GoodValue, ...]:
        """Every value; those that are counted have no name any more, and the largest U."""
        if self.counted is None:
            return self.values
        return tuple(GoodValue(value, self.widest) for value, n in self.counted.tally.values() for _ in range(n))

    def expected(self) -> Expected:
        """Return what the values let expect, floored by the largest U of one. Source: `metrology.expected_value`."""
        tally = self.tally
        if tally.n < ENOUGH:
            return expected_value([value.value for value in self.one_by_one], self.widest)
        return expected_middle(tally.median(), tally.mad(), tally.n, self.widest)

    def as_counted(self) -> Counted:
        """Return all values counted."""
        if self.counted is not None:
            return self.counted
        digits = [value.resolution for value in self.values if value.resolution is not None]
        return Counted.of(self.tally, self.widest, max(digits, default=None))


class LeftOut(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A unit's item that gives no good value, and why."""

    step: str
    item: str
    unit_name: str
    why: str


class Reference(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What good units of `model` measured; `title` is the plan's. `left_out` names what gave no good value.

    `sources` are the files that it was made from, `signed` says who vouches for it. What is too much to be named is
    `folded`, or counted in `more_left_out`.
    """

    kind: Literal["reference"] = "reference"
    schema: int = SCHEMA
    program: str
    model: str
    title: str
    units: tuple[GoodUnit, ...]
    items: tuple[GoodItem, ...]
    left_out: tuple[LeftOut, ...] = ()
    more_left_out: Number = 0
    sources: tuple[SourceFile, ...] = ()
    signed: Signature | None = None
    folded: Folded = Folded()

    @property
    def n(self) -> int:
        """How many units there are, named or not."""
        return len(self.units) + self.folded.units

    @property
    def unmarked(self) -> tuple[str, ...]:
        """Units that nobody marked known good."""
        return tuple(unit.name for unit in self.units if not unit.known_good)


def goods(reference: Reference) -> dict[tuple[str, str], Good]:
    """Return what a session is held against, by step and item."""
    units = {unit.name: unit for unit in reference.units}
    known_good = not reference.unmarked and not reference.folded.unmarked
    return {item.key: _good(item, units, known_good) for item in reference.items}


def rows(reference: Reference) -> dict[str, dict[str, Any]]:
    """Return `goods` in the form that a session's first record carries, by "step/item"."""
    return {"/".join(key): msgspec.to_builtins(good) for key, good in goods(reference).items()}


def _good(item: GoodItem, units: dict[str, GoodUnit], known_good: bool) -> Good:
    """Return one item's row; `known_good` stands for units that are no longer named.

    Few values need all that is known of each. From ENOUGH on their median and MAD are all that is used, and the row
    does not grow with their number.
    """
    n, centre = item.n, round6(item.expected().centre)
    few = item.one_by_one if n < ENOUGH else ()
    row = Good(
        value=few[0].value if n == 1 else centre,
        expanded=item.widest,
        unit=item.unit,
        n=n,
        known_good=all(units[value.name].known_good for value in item.values) if item.values else known_good,
        units=tuple(_seen(value, units) for value in few),
        connected=item.connected,
        red=item.red,
        black=item.black,
        fuse_max=max(LEAST_LIMIT_OHM, round6(FACTOR * centre)) if item.unit == "ohm" else None,
        mad=None if few else round6(item.tally.mad()),
    )
    if few and item.values:
        row = msgspec.structs.replace(row, unit_name=", ".join(value.name for value in few))
    if n == 1:
        session = units[few[0].name].session if item.values else ""
        row = msgspec.structs.replace(row, session=session, resolution=item.resolution)
    return row


def _seen(value: GoodValue, units: dict[str, GoodUnit]) -> GoodValue:
    if value.origin != Origin() or value.name not in units:
        return value
    return msgspec.structs.replace(value, origin=units[value.name].origin)
