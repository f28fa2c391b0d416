"""Burst: the conversions of one contact, and what they prove together.

The first conversion after contact may be a blend of air and contact, so it is never whole; mixed with air it reads
high, which is enough under an upper limit (`early`). Two whole conversions in
one range agree on a limit when both are on its right side; a value needs a plateau. Neighbouring readings are strongly
correlated: nothing here ever divides by the root of their number.
"""

from __future__ import annotations

import msgspec

from metercap.reading import Reading

PLATEAU_COUNTS = 2.0
PLATEAU_SHARE = 0.001
WIDE_COUNTS = 10.0
WIDE_SHARE = 0.02
WIDE_AFTER = 8
"""Whole conversions without a plateau before the wider one is used, which its verdict then states."""
KEEP = 32
"""Conversions kept; a longer contact forgets its oldest."""


class Plateau(msgspec.Struct, frozen=True):
    """A settled value: `value` is the last of `n` conversions between `low` and `high`, whose span is `span`.

    All in SI; `from_s` is the arrival of the first of them. `wide` says that a worn or dirty contact needed more width.
    """

    value: float
    resolution: float
    n: int
    span: float
    from_s: float
    wide: bool
    low: float
    high: float


class Burst:
    """The conversions of one contact in one quantity, oldest first."""

    __slots__ = ("_all", "began_s", "count", "first", "kept")

    def __init__(self, t_s: float = 0.0, *, first_is_whole: bool = False) -> None:
        self.began_s = t_s
        self.count = -1 if not first_is_whole else 0
        self.kept: list[Reading] = []
        self.first: Reading | None = None
        self._all = first_is_whole

    def feed(self, reading: Reading) -> None:
        """Take a new conversion (not a repeat). The first is dropped unless `first_is_whole`."""
        self.count += 1
        if self.count == 0 and not self._all:
            self.first = reading
            return
        kept = self.kept
        if kept and (kept[-1].resolution != reading.resolution or kept[-1].quantity is not reading.quantity):
            kept.clear()
        kept.append(reading)
        if len(kept) > KEEP:
            del kept[0]

    @property
    def pair(self) -> tuple[Reading, Reading] | None:
        """The last two whole conversions in one range, or None."""
        return (self.kept[-2], self.kept[-1]) if len(self.kept) >= 2 else None

    @property
    def early(self) -> tuple[Reading, Reading] | None:
        """The first conversion, perhaps a blend, and the whole one right after it in the same range; else None."""
        first, kept = self.first, self.kept
        if first is None or self.count != 1 or len(kept) != 1:
            return None
        alike = first.resolution == kept[0].resolution and first.quantity is kept[0].quantity
        return (first, kept[0]) if alike else None

    def forget(self) -> None:
        """Nothing seen so far counts; the contact goes on."""
        self.first = None
        self.kept.clear()

    @property
    def whole(self) -> int:
        """Whole conversions in the present range."""
        return len(self.kept)

    def plateau(self) -> Plateau | None:
        """Return the settled value, or None.

        Settled: at least two whole conversions in one range with span ≤ max(2 counts, 0.1 %). After WIDE_AFTER
        whole conversions without that, four conversions within max(10 counts, 2 %) do, marked `wide`.
        """
        found = self._flat(2, PLATEAU_COUNTS, PLATEAU_SHARE, wide=False)
        if found is None and len(self.kept) >= WIDE_AFTER:
            found = self._flat(4, WIDE_COUNTS, WIDE_SHARE, wide=True)
        return found

    def run(self, noise: float = 0.0) -> int:
        """Count the last conversions that moved one way by more than 2 counts each: > 0 climbing, < 0 falling.

        `noise`: the meter's standard deviation where it is known to be more than a count; twice that is no move either.
        """
        kept, moves = self.kept, 0
        for later, earlier in zip(reversed(kept), reversed(kept[:-1]), strict=False):
            step = (later.value or 0.0) - (earlier.value or 0.0)
            if abs(step) <= max(PLATEAU_COUNTS * later.resolution, 2.0 * noise) * 1.000001:
                break
            way = 1 if step > 0 else -1
            if moves * way < 0:
                break
            moves += way
        return moves

    def _flat(self, least: int, counts: float, share: float, *, wide: bool) -> Plateau | None:
        low = high = None
        n = 0
        for reading in reversed(self.kept):
            value = reading.value
            if value is None:
                break
            new_low = value if low is None else min(low, value)
            new_high = value if high is None else max(high, value)
            width = max(counts * reading.resolution, share * max(abs(new_low), abs(new_high)))
            if new_high - new_low > width * 1.000001:
                break
            low, high, n = new_low, new_high, n + 1
        if n < least or low is None or high is None:
            return None
        last, first = self.kept[-1], self.kept[-n]
        return Plateau(last.value or 0.0, last.resolution, n, high - low, first.t_s, wide, low, high)
