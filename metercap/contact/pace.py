"""Pace: how often a meter sends frames in one quantity, and how often it converts.

Two things are measured, both from arrivals alone. The usual gap between frames is a mean over blocks of frames, the
middle one of the last blocks: arrival jitter and bursts cancel inside a block, a stalled link spoils one block of five.
The conversion time T follows from changes of what is shown: they happen only between conversions, so the shortest
distance between two changes, seen often enough, bounds T from above. Distances are counted in frames, which jitter
does not move, and T is so many usual gaps. How rarely changes come says little, since a steady value never changes:
more than one frame is taken for a conversion only where changes keep to whole multiples of it and none comes sooner.
"""

from __future__ import annotations

from metercap.contact.gaps import Gaps

OFTEN = 6
"""Changes one frame after another that must be seen before a conversion is believed to take no longer."""
OFTEN_SHARE = 0.1
"""The least share of all changes that they must be: a torn or a lost frame comes seldom."""
IN_STEP = 12
"""Changes that must all lie whole multiples of the shortest distance apart, before that is taken for a conversion. Of
values that merely stand still now and then, in a meter that sends each conversion once, fewer than half do."""
ASTRAY = 16
"""One change in so many may lie elsewhere: a frame was lost or torn."""
TWICE = 3
"""How often the shortest distance itself must be among them."""
OUT_OF_STEP = 24
"""Changes that must be seen where frames and conversions are not in step, two thirds of them at the shortest."""
AGREE = 3
"""Changes of this session that must agree with a T measured earlier that is shorter than the profile's, or that must
come sooner than a T that is longer, to refute it."""
SAME = 0.03
"""Two conversion times nearer than this are the same (arrival clocks, rounding)."""
SLOWER = 1.1
"""How many times T the distance between changes must last before the meter is called slower."""
EACH_WAY = 3
"""How many moves must go up, and how many down, for that: what only drifts changes slowly on the fastest meter."""
SLOWEST_S = 2.0
"""No meter takes longer for a conversion (common practice, no source); rarer changes are the circuit's."""
ROUND_DOWN = 1.2
"""No fewer frames count as one conversion than would leave a sixth of T out."""
MOST = 64
"""Distances of more frames than this say nothing about T."""
MIXED = 6
"""Distances of one frame more that are seen at least once in so many times: not in step."""
EXCESS = 0.25
"""Frames by which the time may exceed what the link's lateness explains, before frames must have been lost."""
HALVE = 400
"""Changes after which old ones count half, so that what the meter does now prevails."""


class Pace:
    """Frames and conversions of one quantity.

    `conversion_s` is T, `gap_s` the usual gap between frames, `frames` T in frames, `per_conversion` the same as
    whole frames (at least 1), which count from when `is_known`. `measured` is true once changes of this session, or
    a longer T measured earlier, bound T from above. `in_step` is false for a meter that is asked: its frames come
    at the program's pace, anywhere in a conversion.
    """

    __slots__ = (
        "_downs",
        "_frames",
        "_is_exact",
        "_kept_s",
        "_nearer",
        "_seen",
        "_stated_s",
        "_total",
        "_ups",
        "conversion_s",
        "frames",
        "gap_s",
        "gaps",
        "in_step",
        "is_known",
        "measured",
        "news",
        "per_conversion",
    )

    def __init__(self, stated_s: float, kept_s: float | None = None, *, in_step: bool = True) -> None:
        self.in_step = in_step
        self._stated_s = stated_s
        self._kept_s: float | None = None
        self.conversion_s = stated_s
        self.measured = False
        if kept_s is not None and kept_s >= stated_s * (1.0 - SAME):
            self.conversion_s = max(kept_s, stated_s)
            self.measured = True
        else:
            self._kept_s = kept_s
        self.gaps = Gaps()
        self.gap_s = stated_s
        self.per_conversion = 1
        self.frames = 1.0
        self.is_known = False
        self.news = 0
        """+1 when T was just lengthened, -1 when it was shortened, 0 otherwise; for whoever tells it."""
        self._is_exact = True
        """T is the profile's, or one measured earlier; else it is `_frames` usual gaps, and follows these."""
        self._frames = 0.0
        """Frames of one conversion by which T was measured; 0 while it was not."""
        self._seen = [0] * (MOST + 2)
        self._nearer = 0
        """Changes that came sooner than a T that is longer than the profile's."""
        self._total = self._ups = self._downs = 0

    def resume(self) -> None:
        """Frames of another quantity came in between: the gap before the next one is none."""
        self.gaps.resume()

    def change(self, frames: int, apart_s: float, move: int) -> None:
        """What is shown changed, `frames` frames and `apart_s` after it changed before.

        `move` is +1 or −1 where only the value moved, up or down, inside one range; 0 for all other changes. Frames
        lost on the way would make the distance too short: the time counts where lateness does not explain it.
        """
        if not self.is_known:
            return
        by_time = apart_s / self.gap_s
        if by_time - frames > 0.5 and by_time - frames > self.gaps.late + EXCESS:
            frames = int(by_time + 0.5)
        if frames > MOST:
            return
        self._seen[frames] += 1
        self._total += 1
        if move > 0:
            self._ups += 1
        elif move:
            self._downs += 1
        if self.conversion_s > self._stated_s and frames < int(self.conversion_s / self.gap_s + SLOWER - 1.0):
            self._nearer += 1
            if self._nearer >= AGREE:
                self._back()
        if not self.measured or frames < self.per_conversion or self._total % IN_STEP == 0:
            self._judge()

    def _judge(self) -> None:
        if self._kept_s is not None and self._agrees(self._kept_s):
            kept_s, self._kept_s = self._kept_s, None
            self._take(kept_s, max(1.0, round(kept_s / self.gap_s)))
            self._is_exact = True
            return
        frames = self._conversion()
        if frames:
            self._weigh(frames)
        if self._total >= HALVE:
            self._seen = [times // 2 for times in self._seen]
            self._total, self._ups, self._downs = sum(self._seen), self._ups // 2, self._downs // 2

    def _agrees(self, kept_s: float) -> bool:
        """Return whether enough changes came as close as a T measured earlier that is shorter than the profile's."""
        return sum(self._seen[: int(kept_s * SLOWER / self.gap_s) + 1]) >= max(AGREE, OFTEN_SHARE * self._total)

    def _weigh(self, frames: float) -> None:
        """Changes keep to so many frames a conversion: is T to be changed by that?"""
        bound_s = frames * self.gap_s
        mixed = frames != int(frames)
        if mixed:
            self.in_step = False
        better = mixed and self._frames and self._frames != frames  # taken before the mixture was known as well
        if bound_s < self.conversion_s * (1.0 - SAME):
            self._take(bound_s, frames)
        elif bound_s <= self.conversion_s * (1.0 + SAME):
            self.measured = True
            if self._is_exact:
                self._frames = frames
                self._refit()
            elif better or not self._frames:
                self._take(bound_s, frames)
        elif (
            better or (bound_s > SLOWER * self.conversion_s and min(self._ups, self._downs) >= EACH_WAY)
        ) and bound_s <= SLOWEST_S * (1.0 + SAME):
            none_sooner = not any(self._seen[: int(frames)])
            if none_sooner:
                self._take(bound_s, frames)

    def _conversion(self) -> float:
        """Return how many frames a conversion takes by the distances between changes, or 0 if they do not tell.

        Where frames and conversions are not in step the shortest distance is now one number of frames, now one more,
        and their mean is T. (One and two frames are seen in step as well, where some conversions repeat the value
        before: nothing is concluded from those.)
        """
        seen, total = self._seen, self._total
        if seen[1] >= max(OFTEN, OFTEN_SHARE * total):
            return 1.0
        if total < IN_STEP:
            return 0.0
        astray, sooner, first = total // ASTRAY, 0, 1
        while sooner + seen[first] <= astray:
            sooner += seen[first]
            first += 1
        if first == 1 or seen[first] < TWICE:
            return 0.0
        if total - sum(seen[first::first]) <= astray:
            return float(first)
        more = seen[first + 1]
        both = seen[first] + more
        if total < OUT_OF_STEP or 3 * both < 2 * total or more < max(2, seen[first] / MIXED):
            return 0.0
        return first + more / both

    def _take(self, conversion_s: float, frames: float, *, measured: bool = True) -> None:
        """Use another T from now on, which lasts so many frames."""
        self.news = 1 if conversion_s > self.conversion_s else -1
        self.conversion_s = round(conversion_s, 6)
        self._frames, self._is_exact = frames, False
        self.measured = measured
        self._nearer = 0
        self._refit()

    def _back(self) -> None:
        """Nothing but the profile's word is left."""
        self._take(self._stated_s, 0.0, measured=False)
        self._is_exact = True

    def regap(self) -> None:
        """The usual gap between frames is known better now: `gaps` said so of the frame that arrived."""
        self.gap_s = gap_s = self.gaps.usual_s
        self.is_known = self.gaps.is_known
        if self.is_known and SLOWER * self.conversion_s < gap_s <= SLOWEST_S:
            # No conversion can be seen sooner than the next frame; that bounds T from below only.
            self._take(gap_s, 1.0, measured=False)
        elif not self._is_exact:
            self.conversion_s = round(self._frames * gap_s, 6)
            if not self.measured and self.conversion_s < self._stated_s:
                self._back()  # stalls had made the gap too long
        self._refit()

    def _refit(self) -> None:
        self.frames = share = self._frames or self.conversion_s / self.gap_s
        count = max(1, round(share))
        self.per_conversion = count + 1 if share > ROUND_DOWN * count else count
