"""Turning: what a trimmer does under the screwdriver, and what the hand should be told now.

Fed one conversion at a time. It knows the band, its guarded inner part and the hazardous sides; it says which cue
holds, how fast the value runs, when it is at rest, and when it has been past a hazard limit. Below 4 conversions/s
nobody can follow the value, so the cues switch to nudging: turn, stop, wait two conversions.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from metercap.contact import Burst
from metercap.contact.burst import PLATEAU_COUNTS, PLATEAU_SHARE
from metercap.metrology.domain import round6
from metercap.reading import Reading
from metercap.records import CueKind

NUDGE_BELOW_PER_S = 4.0
NEAR = 5.0
"""Near is within this many half bands of the target."""
REACTION_S = 0.3
"""From a cue to a hand that has stopped turning (common practice, no source)."""
TRACK = 10.0
"""A value further than this factor from the last one is not on the trimmer's track: tips or track."""


class Band(msgspec.Struct, frozen=True):
    """Where the value must go, SI: the target, the limits around it, the hazardous sides where the plan names them."""

    target: float
    tolerance: float
    never_below: float | None = None
    never_above: float | None = None

    @property
    def low(self) -> float:
        """Lower limit."""
        return round6(self.target - self.tolerance)

    @property
    def high(self) -> float:
        """Upper limit."""
        return round6(self.target + self.tolerance)

    def beyond(self, value: float, resolution: float) -> Literal["below", "above"] | None:
        """Return the hazardous side that `value` is past for certain: beyond the limit by more than one resolution."""
        if self.never_below is not None and value + resolution < self.never_below:
            return "below"
        if self.never_above is not None and value - resolution > self.never_above:
            return "above"
        return None


class Past(msgspec.Struct, frozen=True):
    """An excursion that ended: see the record of that name."""

    side: Literal["below", "above"]
    limit: float
    worst: float
    from_s: float
    duration_s: float


class Live(msgspec.Struct, frozen=True):
    """What a screen shows while a trimmer is turned, SI.

    `stops_at` is where the value would be after the hand's reaction. `inner` is the tolerance less U, negative when the
    band cannot be proved.
    """

    item: str
    band: Band
    inner: float
    as_found: float | None
    value: float
    error: float
    speed_per_s: float
    stops_at: float
    nudging: bool


class Turning:
    """Follows one item's conversions while it is turned."""

    __slots__ = (
        "_cue",
        "_hazard_from_s",
        "_hazard_n",
        "_hazard_side",
        "_hazard_worst",
        "_last",
        "_prior",
        "_rest_from_s",
        "_rest_high",
        "_rest_low",
        "_side",
        "_strange",
        "band",
        "burst",
        "conversion_s",
        "excursions",
        "inner",
        "notes",
        "reported",
        "speed_per_s",
    )

    def __init__(self, band: Band, inner: float, conversion_s: float) -> None:
        self.band = band
        self.inner = inner
        self.conversion_s = conversion_s
        self.burst = Burst()
        self.excursions: list[Past] = []
        self.reported = 0
        self.notes: list[str] = []
        self.speed_per_s = 0.0
        self._cue: CueKind | None = None
        self._last: tuple[float, float] | None = None
        self._prior: tuple[float, float] | None = None
        self._side = 0
        self._strange = False
        self._hazard_side: Literal["below", "above"] | None = None
        self._hazard_from_s = 0.0
        self._hazard_worst = 0.0
        self._hazard_n = 0
        self._rest_from_s: float | None = None
        self._rest_low = self._rest_high = 0.0

    @property
    def nudging(self) -> bool:
        """True on meters too slow to be followed."""
        return self.conversion_s > 1.0 / NUDGE_BELOW_PER_S * 1.000001

    @property
    def hazard(self) -> bool:
        """True while the value is past a hazard limit for two agreeing conversions or more."""
        return self._hazard_n >= 2

    def contact(self, t_s: float) -> None:
        """A contact begins: its first conversion may be a blend."""
        self.burst = Burst(t_s)
        self._rest_from_s = None
        self._prior = None

    def lost(self, t_s: float) -> None:
        """The contact ended: so did an excursion, and any rest."""
        self._end_hazard(t_s)
        self._rest_from_s = None
        self._cue = None

    def restart_rest(self) -> None:
        """The tool was taken away: the value must be at rest anew."""
        self._rest_from_s = None

    def rested_s(self, t_s: float) -> float:
        """Return for how many seconds the value has been at rest, 0.0 when it is not."""
        return 0.0 if self._rest_from_s is None else t_s - self._rest_from_s

    def feed(self, reading: Reading, value: float) -> list[CueKind]:
        """Take a new conversion with its corrected value; return the cues to give, hazard first."""
        self.burst.feed(reading)
        if not self.burst.kept:
            return []
        t_s, resolution = reading.t_s, reading.resolution
        cues: list[CueKind] = []
        strange = self._last is not None and not _on_track(value, self._last[1], resolution)
        if self._hazard(t_s, value, resolution, strange):
            cues.append(CueKind.HAZARD)
        if strange:
            if not self._strange:
                self._strange = True
                self.notes.append("probes or track")
            self._rest_from_s = None
            return cues
        self._strange = False
        self._rest(t_s, value, resolution)
        self._speed(t_s, value)
        cue = self._choose(value, resolution)
        if self._last is None or cue is not self._cue:
            self._cue = cue
            if cue is not None:
                cues.append(cue)
        self._last = (t_s, value)
        return cues

    def live(self, item: str, as_found: float | None) -> Live | None:
        """Return what a screen shows, or None before the first value."""
        if self._last is None:
            return None
        value = self._last[1]
        ahead = self.speed_per_s * (self.conversion_s + REACTION_S)
        return Live(
            item,
            self.band,
            self.inner,
            as_found,
            value,
            round6(value - self.band.target),
            round6(self.speed_per_s),
            round6(value + ahead),
            self.nudging,
        )

    # --- the parts of it

    def _speed(self, t_s: float, value: float) -> None:
        before = self._prior
        self._prior = (t_s, value)
        if before is None or t_s <= before[0]:
            self.speed_per_s = 0.0
            return
        self.speed_per_s = (value - before[1]) / max(t_s - before[0], self.conversion_s * 0.95)

    def _choose(self, value: float, resolution: float) -> CueKind | None:
        error = value - self.band.target
        inner = max(self.inner, 0.0)
        side = 0 if abs(error) <= inner else 1 if error > 0 else -1
        crossed = side != 0 and self._side == -side
        if side:
            self._side = side
        moving = abs(self.speed_per_s) * self.conversion_s > PLATEAU_COUNTS * resolution
        outward = moving and self.speed_per_s * error > 0
        if not moving and side == 0:
            return CueKind.IN_BAND
        if self.nudging and moving:
            # The value shown is one conversion old: stop, then look.
            reach = abs(error) - inner <= abs(self.speed_per_s) * (2.0 * self.conversion_s + REACTION_S)
            if outward and side and not crossed:
                return CueKind.WRONG_WAY  # a hand that was only stopped would go on the same way
            return CueKind.STOP if reach or outward else self._cue_for(error)
        if side == 0:
            return CueKind.IN_BAND
        if crossed or (self._cue is CueKind.PAST_IT and not moving):
            return CueKind.PAST_IT
        if outward:
            return CueKind.WRONG_WAY
        if moving and self._too_fast(error, inner):
            return CueKind.SLOW
        return self._cue_for(error)

    def _too_fast(self, error: float, inner: float) -> bool:
        """True when half the guarded band goes by in T + 0.1 s or less, and the band is within reach."""
        half = max(inner, 1e-12)
        fast = abs(self.speed_per_s) * (self.conversion_s + 0.1) > half
        reach = abs(error) - inner <= abs(self.speed_per_s) * (2.0 * self.conversion_s + 2.0 * REACTION_S)
        return fast and reach

    def _cue_for(self, error: float) -> CueKind:
        return CueKind.NEAR if abs(error) <= NEAR * self.band.tolerance else CueKind.FAR

    def _rest(self, t_s: float, value: float, resolution: float) -> None:
        low, high = min(self._rest_low, value), max(self._rest_high, value)
        width = max(PLATEAU_COUNTS * resolution, PLATEAU_SHARE * max(abs(low), abs(high)))
        if self._rest_from_s is None or high - low > width * 1.000001:
            self._rest_from_s, self._rest_low, self._rest_high = t_s, value, value
        else:
            self._rest_low, self._rest_high = low, high

    def _hazard(self, t_s: float, value: float, resolution: float, strange: bool) -> bool:
        """Follow the hazardous side; return True when the alarm must sound now."""
        side = self.band.beyond(value, resolution)
        if side is None or strange:
            self._end_hazard(t_s)
            return side is not None and not self._strange
        if side != self._hazard_side:
            self._end_hazard(t_s)
            self._hazard_side, self._hazard_from_s, self._hazard_worst, self._hazard_n = side, t_s, value, 1
            return True
        self._hazard_n += 1
        worse = min if side == "below" else max
        self._hazard_worst = worse(self._hazard_worst, value)
        return False

    def _end_hazard(self, t_s: float) -> None:
        side = self._hazard_side
        if side is not None and self._hazard_n >= 2:
            limit = self.band.never_below if side == "below" else self.band.never_above
            past = Past(
                side, limit or 0.0, self._hazard_worst, self._hazard_from_s, round(t_s - self._hazard_from_s, 6)
            )
            self.excursions.append(past)
        self._hazard_side, self._hazard_n = None, 0


def _on_track(value: float, last: float, resolution: float) -> bool:
    """Return whether a trimmer could have gone from `last` to `value` in one conversion: within a factor of 10."""
    small = 2.0 * resolution
    a, b = max(abs(value), small), max(abs(last), small)
    return a <= TRACK * b and b <= TRACK * a
