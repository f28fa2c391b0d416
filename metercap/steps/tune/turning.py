"""Turning: what a trimmer does under the screwdriver, and what the hand should be told now.

Fed one conversion at a time. It knows the band, its guarded inner part and the hazardous sides; it says which cue
holds, how fast the value runs, when it is at rest, and when it has been past a hazard limit. Below 4 conversions/s
nobody can follow the value, so the cues switch to nudging: turn, stop, wait two conversions.

A conversion that `track` doubts never says which way to turn. It may say stop: at once where a slow meter would else
be too late, and when none could be believed for a while, so that the value settles. The hazard alarm waits for nothing,
and stands until a believed value is back.
"""

from __future__ import annotations

from metercap.contact.burst import PLATEAU_COUNTS
from metercap.plankeys.tune import Band
from metercap.reading import Reading
from metercap.records import CueKind
from metercap.steps.hazard import Hazard, on_track
from metercap.steps.tune.rest import Rest
from metercap.steps.tune.track import FASTER, Stray, Track

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


# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_NEAR, _FAR, _SLOW, _STOP = CueKind.NEAR, CueKind.FAR, CueKind.SLOW, CueKind.STOP
_IN_BAND, _PAST_IT, _WRONG_WAY = CueKind.IN_BAND, CueKind.PAST_IT, CueKind.WRONG_WAY


class Turning:
    """Follows one item's conversions while it is turned; without `steers` nothing is said but the alarm."""

    __slots__ = (
        "_again_s",
        "_before",
        "_blend",
        "_cue",
        "_cued_s",
        "_inward",
        "_last",
        "_lay",
        "_near",
        "_on",
        "_outward",
        "_side",
        "_slowed_at",
        "_steers",
        "_stray",
        "_track",
        "band",
        "conversion_s",
        "excursions",
        "gone",
        "hazard",
        "high",
        "inner",
        "low",
        "notes",
        "nudging",
        "reported",
        "rest",
        "shown",
        "since_s",
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
        steers: bool = True,
    ) -> None:
        self.aim_at(band)
        self._steers = steers
        self.inner = inner
        self.conversion_s = conversion_s
        self.nudging = conversion_s > 1.0 / NUDGE_BELOW_PER_S * 1.000001
        """True on meters too slow to be followed."""
        self._again_s = max(REPEAT_S, REACTION_S + 2.5 * conversion_s) * 0.95
        """How long a hand and the meter take to show that a cue was obeyed."""
        self.rest = Rest()
        self.since_s = began_s
        """Since when nothing was touched that could move the value: a contact, the tool taken away."""
        self.gone = False
        """True while the value is beyond the end of its range."""
        self.hazard = Hazard()
        self.excursions = self.hazard.excursions
        """Those that have ended."""
        self.reported = 0
        self.notes: list[str] = []
        self._track = Track(band.tolerance, conversion_s, found=found, t_s=began_s, opens_high=opens_high)
        self._stray = Stray()
        self._blend = True
        self._cue: CueKind | None = None
        self._cued_s = 0.0
        self._last: Reading | None = None
        self.shown = 0.0 if found is None else found
        """The last value on the track, SI, leads off."""
        self._on = found
        self._before: float | None = None
        self._lay = found
        self._inward = False
        self._outward = 0
        self._side = 0
        self._slowed_at = 0.0

    def aim_at(self, band: Band) -> None:
        """Another band is wanted from now on: its limits are worked out once, not at each conversion."""
        self.band = band
        self.low, self.high = band.low, band.high
        wide = max(NEAR_LEAST * band.tolerance, NEAR_SHARE * abs(band.target))
        self._near = min(NEAR * band.tolerance, wide)

    @property
    def speed_per_s(self) -> float:
        """How fast the value runs, SI per second."""
        return self._track.speed_per_s

    @property
    def believed(self) -> float | None:
        """The last value that was believed, SI, leads off: what a lift blends with is none."""
        return self._track.value

    @property
    def rests(self) -> bool:
        """Whether the last values that were believed are all alike: no hand turned."""
        last = self._last
        return last is not None and self._track.moved <= PLATEAU_COUNTS * last.resolution

    @property
    def last(self) -> Reading | None:
        """The reading that it was shown by, or None before the first."""
        return self._last

    @property
    def fresh(self) -> bool:
        """True until the first conversion of a contact, which may be a blend, was seen."""
        return self._blend

    def tool_away(self, t_s: float) -> None:
        """The tool was taken away, or something else was aimed at: the value must be at rest anew."""
        self.since_s = t_s

    def contact(self, *, goes_on: bool = False) -> None:
        """A contact begins: its first conversion may be a blend; not in one that goes on."""
        self._blend = not goes_on
        self.gone = False
        self.rest.restart()
        self._stray.forget()
        self._track.part()
        self._lay = None  # what was turned while nobody saw it is no way to turn

    def lost(self, t_s: float) -> None:
        """The contact ended: so did an excursion, and any rest."""
        self.hazard.part(self.band, t_s)
        self._track.lost(t_s)
        self.rest.restart()
        self._cue = None

    def runs_off(self, full_scale: float) -> bool:
        """Return whether a value that ran outward may have left a range that ends at `full_scale`.

        Tips that are lifted look the same, so the hand must have been turning that way: at twice its speed it got there
        in two conversions and a reaction.
        """
        track = self._track
        if self.gone:
            return True
        if track.value is None or track.value * full_scale < 0.0:
            return False
        ahead = FASTER * track.speed_per_s * (2.0 * self.conversion_s + REACTION_S)
        return ahead * full_scale > 0.0 and abs(track.value + ahead) >= abs(full_scale)

    def off_scale(self, t_s: float, full_scale: float) -> list[CueKind]:
        """Take a conversion beyond the end of the range: the value is `full_scale` at least."""
        self.gone = True
        self.rest.restart()
        self._track.part()
        alarm = self.hazard.feed(self.band, t_s, full_scale, 0.0, [(t_s, full_scale)])
        return [CueKind.HAZARD] if alarm else []

    def feed(self, reading: Reading, value: float) -> list[CueKind]:
        """Take a new conversion with its corrected value; return the cues to give, hazard first."""
        if self._blend:
            self._blend = False
            return []
        t_s, resolution = reading.t_s, reading.resolution
        cues: list[CueKind] = []
        hazard = self.hazard
        stood = hazard.side
        on = self._on
        strange = on is not None and not on_track(value, on, resolution) and self._is_strange(value, resolution)
        if strange:
            steering, believed = self._off_track(t_s, value, resolution)
            strange = not believed
        else:
            if self._stray.points:
                self._stray.forget()
            steering = believed = self._track.feed(t_s, value, resolution)
        stands = stood is not None or self.band.beyond(value, resolution) is not None
        if stands and hazard.feed(self.band, t_s, value, resolution, believed):
            cues.append(CueKind.HAZARD)
        if strange:
            self.rest.restart()
        else:
            self.rest.feed(t_s, value, resolution)
            self._last, self.shown = reading, value
            self._on = value if believed else self._on
        if not self._steers:
            return cues
        cue = self._choose(value, resolution) if steering else self._doubting(t_s, value)
        if stood is not None and hazard.side is None:
            self._cue = None  # what holds now is said even if it held before the alarm: the alarm is over
            cue = cue or self._cue_for(value - self.band.target)
        if cue is not None and self._says(t_s, cue):
            cues.append(cue)
        return cues

    def _is_strange(self, value: float, resolution: float) -> bool:
        """Whether what lies off the track lies off the one before that too, which tips that touched each other left."""
        return self._before is None or not on_track(value, self._before, resolution)

    def _off_track(
        self, t_s: float, value: float, resolution: float
    ) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
        """Take a conversion off the track; return what may steer, and what is believed, both as (t_s, value).

        It steers once it has lasted, and is the track itself once three such, or three that answer the turning, were
        seen.
        """
        stray, track = self._stray, self._track
        if not stray.points:
            self.notes.append("probes or track")
        quick = value < (self._on or 0.0) or not (track.opens_high and track.rough(t_s))
        if stray.feed(t_s, value, resolution, quick=quick):
            believed = list(stray.points)
            stray.forget()
            track.take(believed)
            self._before = self._on
            return believed, believed
        return (track.feed(t_s, value, resolution) if stray.lasts(t_s) else []), []

    def _says(self, t_s: float, cue: CueKind) -> bool:
        """Whether a cue is given: when it begins to hold; one that the hand does not obey, again every REPEAT_S."""
        if cue is self._cue and (cue not in REPEATED or t_s - self._cued_s < self._again_s):
            return False
        self._cue, self._cued_s = cue, t_s
        return True

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
        inner = self.inner if self.inner > 0.0 else 0.0
        track = self._track
        side = 0 if abs(error) <= inner else 1 if error > 0 else -1
        crossed = side != 0 and self._side == -side
        if side:
            self._side = side
        least = PLATEAU_COUNTS * resolution
        # A meter may convert faster than is known of it: the digits that dance must not pass for a hand then.
        moving = track.moved > least and abs(track.speed_per_s) * self.conversion_s > least
        outward = self._runs_away(value, error, moving)
        if side == 0 and not moving:
            return _IN_BAND
        if self.nudging and moving:
            # The value shown is half a conversion old, and the next one is a whole one away: stop, then look.
            reach = abs(error) - inner <= abs(self.speed_per_s) * (1.5 * self.conversion_s + REACTION_S)
            if outward and side and not crossed:
                return _WRONG_WAY  # a hand that was only stopped would go on the same way
            return _STOP if reach or outward else self._cue_for(error)
        if side == 0:
            return _IN_BAND
        if crossed or (self._cue is _PAST_IT and not moving):
            return _PAST_IT
        if outward:
            turning_round = self._cue is _PAST_IT and track.t_s - self._cued_s < self._again_s
            return _PAST_IT if turning_round else _WRONG_WAY
        if moving and self._too_fast(error, inner):
            self._slowed_at = abs(error)
            return _SLOW
        if abs(error) <= self._slowed_at:
            return _NEAR  # a hand that was slowed is not sent on at full speed
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
        if self._track.speed_per_s * error <= 0.0:
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
        speed = abs(self._track.speed_per_s)
        fast = speed * (self.conversion_s + 0.1) > half
        reach = abs(error) - inner <= speed * (2.0 * self.conversion_s + 2.0 * REACTION_S)
        return fast and reach

    def _cue_for(self, error: float) -> CueKind:
        """Near or far: near as well where a hand as fast as it was would be through before it could be told."""
        track = self._track
        blind = 0.0 if track.rough(track.t_s) else track.fastest * (2.0 * self.conversion_s + REACTION_S)
        near = max(self._near, NEAR_BLIND * blind)
        return _NEAR if abs(error) <= near else _FAR
