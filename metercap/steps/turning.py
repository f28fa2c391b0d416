"""Turning: what a trimmer does under the screwdriver, and what the hand should be told now.

Fed one conversion at a time. It knows the band, its guarded inner part and the hazardous sides; it says which cue
holds, how fast the value runs, when it is at rest, and when it has been past a hazard limit. Below 4 conversions/s
nobody can follow the value, so the cues switch to nudging: turn, stop, wait two conversions.

A conversion that `track` doubts never says which way to turn. It may say stop: at once where a slow meter would else
be too late, and when none could be believed for a while, so that the value settles. The hazard alarm waits for nothing.
"""

from __future__ import annotations

import msgspec

from metercap.contact import Burst
from metercap.contact.burst import PLATEAU_COUNTS, PLATEAU_SHARE
from metercap.metrology.domain import round6
from metercap.reading import Reading
from metercap.records import CueKind
from metercap.steps.band import Band, Hazard, Past
from metercap.steps.track import Track

NUDGE_BELOW_PER_S = 4.0
NEAR = 5.0
"""Near is within this many half bands of the target."""
NEAR_LEAST = 2.0
NEAR_SHARE = 0.1
"""But no more than this share of the target: a wide band is not approached gently from far off. At least so many half
bands all the same, for targets about zero."""
NEAR_BLIND = 0.3
"""Near is also within this share of what the fastest turning so far covers before a hand reacts to a meter; found by
trial on the practice bench."""
REACTION_S = 0.3
"""From a cue to a hand that has stopped turning (common practice, no source)."""
REPEAT_S = 1.0
"""A cue that asks the hand to change what it does is repeated after this long while it holds; after a reaction and two
conversions on slow meters, which show only then whether the hand obeyed."""
REPEATED = (CueKind.STOP, CueKind.SLOW, CueKind.WRONG_WAY)
BLIND_S = 1.0
"""So long without a conversion to be believed, near the band, a hand is stopped."""
FAR_BLIND_S = 2.5
"""The same far from it."""
STRANGE_S = 2.0
"""A value off the track for so long steers all the same: the trimmer may be at its end."""
TRACK = 10.0
"""A value further than this factor from the last one is not on the trimmer's track: tips or track."""


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
        "_cued_s",
        "_hazard",
        "_inward",
        "_last",
        "_lay",
        "_on",
        "_outward",
        "_rest_from_s",
        "_rest_high",
        "_rest_low",
        "_side",
        "_slowed_at",
        "_strange_from_s",
        "_track",
        "band",
        "burst",
        "conversion_s",
        "inner",
        "notes",
        "reported",
    )

    def __init__(
        self,
        band: Band,
        inner: float,
        conversion_s: float,
        *,
        found: float | None = None,
        began_s: float = 0.0,
        opens_high: bool = True,
    ) -> None:
        self.band = band
        self.inner = inner
        self.conversion_s = conversion_s
        self.burst = Burst()
        self.reported = 0
        self.notes: list[str] = []
        self._track = Track(band.tolerance, conversion_s, found=found, t_s=began_s, opens_high=opens_high)
        self._cue: CueKind | None = None
        self._cued_s = 0.0
        self._last: tuple[float, float] | None = None
        self._on = found
        self._lay = found
        self._inward = False
        self._outward = 0
        self._side = 0
        self._slowed_at = 0.0
        self._strange_from_s: float | None = None
        self._hazard = Hazard()
        self._rest_from_s: float | None = None
        self._rest_low = self._rest_high = 0.0

    @property
    def nudging(self) -> bool:
        """True on meters too slow to be followed."""
        return self.conversion_s > 1.0 / NUDGE_BELOW_PER_S * 1.000001

    @property
    def hazard(self) -> bool:
        """True while the value is past a hazard limit for two agreeing conversions or more."""
        return self._hazard.n >= 2

    @property
    def excursions(self) -> list[Past]:
        """Those that have ended."""
        return self._hazard.excursions

    @property
    def speed_per_s(self) -> float:
        """How fast the value runs, SI per second."""
        return self._track.speed_per_s

    def contact(self, t_s: float) -> None:
        """A contact begins: its first conversion may be a blend."""
        self.burst = Burst(t_s)
        self._rest_from_s = None
        self._track.part()

    def lost(self, t_s: float) -> None:
        """The contact ended: so did an excursion, and any rest."""
        self._hazard.end(self.band, t_s)
        self._track.lost(t_s)
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
        strange = self._on is not None and not _on_track(value, self._on, resolution)
        believed = self._track.feed(t_s, value, resolution) if self._steers(t_s, strange) else []
        if self._hazard.feed(self.band, t_s, value, resolution, [] if strange else believed):
            cues.append(CueKind.HAZARD)
        if strange:
            self._rest_from_s = None
        else:
            self._rest(t_s, value, resolution)
            self._last = (t_s, value)
            self._on = value if believed else self._on
        cue = self._choose(value, resolution) if believed else self._doubting(t_s, value)
        return cues + self._give(t_s, cue)

    def _steers(self, t_s: float, strange: bool) -> bool:
        """Whether this conversion may steer: not when it is off the track, unless that lasts."""
        if not strange:
            self._strange_from_s = None
            return True
        if self._strange_from_s is None:
            self._strange_from_s = t_s
            self.notes.append("probes or track")
        return t_s - self._strange_from_s >= STRANGE_S

    @property
    def _again_s(self) -> float:
        """How long a hand and the meter take to show that a cue was obeyed."""
        return max(REPEAT_S, REACTION_S + 2.5 * self.conversion_s) * 0.95

    def _give(self, t_s: float, cue: CueKind | None) -> list[CueKind]:
        """Give a cue when it begins to hold; one that the hand does not obey, again every REPEAT_S."""
        again_s = self._again_s if cue in REPEATED else float("inf")
        if cue is None or (cue is self._cue and t_s - self._cued_s < again_s):
            return []
        self._cue, self._cued_s = cue, t_s
        return [cue]

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

    def _doubting(self, t_s: float, value: float) -> CueKind | None:
        """What to say while no conversion can be believed: nothing at first, then stop, so that the value settles.

        Sooner near the band, which the hand must not run through unseen.
        """
        track = self._track
        was, error = (track.value or 0.0) - self.band.target, value - self.band.target
        if self.nudging and not track.rough(t_s):
            # A leap as long as the way to the band: were it true, the next one would be too late. Stop, and look.
            reach = abs(error - was) * (2.0 + REACTION_S / self.conversion_s)
            if abs(error) - max(self.inner, 0.0) <= reach:
                return CueKind.STOP
        there = track.expected(t_s) - self.band.target
        near = abs(there) <= NEAR * self.band.tolerance or there * was <= 0.0
        patience_s = max(2.0 * self.conversion_s, BLIND_S if near else FAR_BLIND_S)
        return CueKind.STOP if t_s - track.t_s >= patience_s * 0.95 else None

    def _choose(self, value: float, resolution: float) -> CueKind | None:
        error = value - self.band.target
        inner = max(self.inner, 0.0)
        side = 0 if abs(error) <= inner else 1 if error > 0 else -1
        crossed = side != 0 and self._side == -side
        if side:
            self._side = side
        moving = abs(self.speed_per_s) * self.conversion_s > PLATEAU_COUNTS * resolution
        outward = self._runs_away(value, error, moving)
        if side == 0 and not moving:
            return CueKind.IN_BAND
        if self.nudging and moving:
            # The value shown is half a conversion old, and the next one is a whole one away: stop, then look.
            reach = abs(error) - inner <= abs(self.speed_per_s) * (1.5 * self.conversion_s + REACTION_S)
            if outward and side and not crossed:
                return CueKind.WRONG_WAY  # a hand that was only stopped would go on the same way
            return CueKind.STOP if reach or outward else self._cue_for(error)
        if side == 0:
            return CueKind.IN_BAND
        if crossed or (self._cue is CueKind.PAST_IT and not moving):
            return CueKind.PAST_IT
        if outward:
            turning_round = self._cue is CueKind.PAST_IT and self._track.t_s - self._cued_s < self._again_s
            return CueKind.PAST_IT if turning_round else CueKind.WRONG_WAY
        if moving and self._too_fast(error, inner):
            self._slowed_at = abs(error)
            return CueKind.SLOW
        if abs(error) <= self._slowed_at:
            return CueKind.NEAR  # a hand that was slowed is not sent on at full speed
        return self._cue_for(error)

    def _runs_away(self, value: float, error: float, moving: bool) -> bool:
        """Whether the value runs away from the band, or came to rest further away than it lay at rest before.

        A hand that turns does not turn round by itself: after inward motion two conversions must say so.
        """
        if not self._track.followed:
            return False
        lay, self._lay = self._lay, self._lay if moving else value
        if not moving:
            self._inward, self._outward = False, 0
            further = lay is not None and (value - lay) * error > 0.0
            return further and abs(value - (lay or 0.0)) > 0.5 * self.band.tolerance
        if self.speed_per_s * error <= 0.0:
            self._inward, self._outward = True, 0
            return False
        self._outward += 1
        if self._inward and self._outward < 2:
            return False
        self._inward = False
        return True

    def _too_fast(self, error: float, inner: float) -> bool:
        """True when half the guarded band goes by in T + 0.1 s or less, and the band is within reach."""
        half = max(inner, 1e-12)
        fast = abs(self.speed_per_s) * (self.conversion_s + 0.1) > half
        reach = abs(error) - inner <= abs(self.speed_per_s) * (2.0 * self.conversion_s + 2.0 * REACTION_S)
        return fast and reach

    def _cue_for(self, error: float) -> CueKind:
        """Near or far: near as well where a hand as fast as it was would be through before it could be told."""
        track, band = self._track, self.band
        blind = 0.0 if track.rough(track.t_s) else track.fastest * (2.0 * self.conversion_s + REACTION_S)
        wide = max(NEAR_LEAST * band.tolerance, NEAR_SHARE * abs(band.target))
        near = max(min(NEAR * band.tolerance, wide), NEAR_BLIND * blind)
        return CueKind.NEAR if abs(error) <= near else CueKind.FAR

    def _rest(self, t_s: float, value: float, resolution: float) -> None:
        low, high = min(self._rest_low, value), max(self._rest_high, value)
        width = max(PLATEAU_COUNTS * resolution, PLATEAU_SHARE * max(abs(low), abs(high)))
        if self._rest_from_s is None or high - low > width * 1.000001:
            self._rest_from_s, self._rest_low, self._rest_high = t_s, value, value
        else:
            self._rest_low, self._rest_high = low, high


def _on_track(value: float, last: float, resolution: float) -> bool:
    """Return whether a trimmer could have gone from `last` to `value` in one conversion: within a factor of 10."""
    small = 2.0 * resolution
    a, b = max(abs(value), small), max(abs(last), small)
    return a <= TRACK * b and b <= TRACK * a
