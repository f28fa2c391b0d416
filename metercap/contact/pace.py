"""Pace: how often a meter sends frames in one quantity, and how often it converts.

Two things are measured, both from arrivals alone. The usual gap between frames is a mean over blocks of frames, the
middle one of the last blocks: arrival jitter and bursts cancel inside a block, a stalled link spoils one block of five.
The conversion time T follows from changes of what is shown: they happen only between conversions, so the shortest
distance between two changes, seen often enough, bounds T from above. Distances are counted in frames, which jitter
does not move. How rarely changes come says little, since a steady value never changes: T is lengthened only by a last
digit that moves up and down and still never moves sooner.
"""

from __future__ import annotations

from metercap.contact.gaps import Gaps

OFTEN = 6
"""Changes that close to each other, or closer, that must be seen before a faster T is believed."""
OFTEN_OF_MANY = 10
"""The same where a conversion takes two frames or more, which may come on a clock of their own."""
OFTEN_SHARE = 0.1
"""The least share of all changes that they must be: a torn or a lost frame comes seldom."""
AGREE = 3
"""Changes of this session that must agree with a T measured earlier that is shorter than the profile's."""
SAME = 0.03
"""Two conversion times nearer than this are the same (arrival clocks, rounding)."""
SLOWER = 1.1
"""How many times T the shortest flicker must last before the meter is called slower."""
FLICKERS = 9
"""Moves of the last digit that must be seen for that, a third of them at the shortest distance."""
EACH_WAY = 3
"""How many of those must go up, and how many down: what only drifts changes slowly on the fastest meter."""
SLOWEST_S = 2.0
"""No meter takes longer for a conversion (common practice, no source); rarer changes are the circuit's."""
ROUND_DOWN = 1.2
"""No fewer frames count as one conversion than would leave a sixth of T out."""
MOST = 64
"""Distances of more frames than this say nothing about T."""
MIXED = 6
"""Distances of one frame more that are seen at least once in so many times: not in step."""
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
        "_flicker",
        "_frames",
        "_is_exact",
        "_kept_s",
        "_seen",
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
        self._flicker = [0] * (MOST + 2)
        self._total = self._ups = self._downs = 0

    def resume(self) -> None:
        """Frames of another quantity came in between: the gap before the next one is none."""
        self.gaps.resume()

    def change(self, frames: int, apart_s: float, move: int) -> None:
        """What is shown changed, `frames` frames and `apart_s` after it changed before.

        `move` is +1 or −1 where only the value moved, up or down, inside one range; 0 for all other changes. Frames
        lost on the way would make the distance too short, so the longer of both measures is taken.
        """
        if not self.is_known:
            return
        frames = max(frames, int(apart_s / self.gap_s + 0.5))
        if frames > MOST:
            return
        self._seen[frames] += 1
        self._total += 1
        if move:
            self._flicker[frames] += 1
            self._ups += move > 0
            self._downs += move < 0
        if not self.measured or frames < self.per_conversion or self._total % FLICKERS == 0:
            self._judge()

    def _judge(self) -> None:
        mixed = self._mixed()
        if mixed:
            self.in_step = False
        if self._kept_s is not None:
            # Measured earlier, and shorter than the profile's: three changes must come as close as that.
            agreed = self._shortest(AGREE)
            if agreed and agreed * self.gap_s <= self._kept_s * SLOWER:
                kept_s, self._kept_s = self._kept_s, None
                self._take(kept_s, max(1.0, round(kept_s / self.gap_s)))
                self._is_exact = True
                return
        shortest = self._shortest(OFTEN)
        if shortest > 1 and self._seen[shortest] < OFTEN_OF_MANY and not mixed:
            shortest = 0  # too few to tell whether frames and conversions are in step
        if shortest:
            frames = mixed or float(shortest)
            bound_s = frames * self.gap_s
            better = mixed and self._frames and self._frames != mixed  # taken before the mixture was known as well
            if better or bound_s < self.conversion_s * (1.0 - SAME):
                self._take(bound_s, frames)
            elif bound_s <= self.conversion_s * (1.0 + SAME):
                self.measured = True
                if self._is_exact:
                    self._frames = frames
                    self._refit()
        self._look_for_slow()
        if self._total >= HALVE:
            self._seen = [times // 2 for times in self._seen]
            self._flicker = [times // 2 for times in self._flicker]
            self._total, self._ups, self._downs = self._total // 2, self._ups // 2, self._downs // 2

    def _shortest(self, often: int) -> int:
        """Return the fewest frames within which changes were seen `often` times and in no small share, or 0."""
        least, together = max(often, OFTEN_SHARE * self._total), 0
        for frames in range(1, MOST + 1):
            together += self._seen[frames]
            if together >= least:
                return frames
        return 0

    def _mixed(self) -> float:
        """Return T in frames where frames and conversions are not in step, or 0.

        Then the shortest distance is now one number of frames, now one more, and their mean is T. (One and two frames
        are seen in step as well, where some conversions repeat the value before: nothing is concluded from those, nor
        from two and three where there are ones.)
        """
        seen = self._seen
        for frames in range(2, MOST):
            if seen[frames] > 1:
                more = seen[frames + 1]
                few = more < max(2, seen[frames] / MIXED)
                single = seen[1] >= max(2, seen[frames] / MIXED)
                return 0.0 if few or single else frames + more / (more + seen[frames])
        return 0.0

    def _look_for_slow(self) -> None:
        flickers = self._slow_flicker()
        slow_s = flickers * self.gap_s
        if SLOWER * self.conversion_s < slow_s <= SLOWEST_S * (1.0 + SAME):
            self._take(slow_s, flickers)

    def _slow_flicker(self) -> int:
        """Return the frames between the moves of a last digit that never moves sooner, or 0 when that is not known."""
        flicker = self._flicker
        moves = self._ups + self._downs
        if moves < FLICKERS or min(self._ups, self._downs) < EACH_WAY:
            return 0
        shortest = self._shortest(1)
        first = next(frames for frames, times in enumerate(flicker) if times)
        often = 3 * (flicker[first] + flicker[first + 1]) >= moves
        return first if often and first <= MOST and (not shortest or shortest >= first) else 0

    def _take(self, conversion_s: float, frames: float, *, measured: bool = True) -> None:
        """Use another T from now on, which lasts so many frames."""
        self.news = 1 if conversion_s > self.conversion_s else -1
        self.conversion_s = round(conversion_s, 6)
        self._frames, self._is_exact = frames, False
        self.measured = measured
        self._refit()

    def regap(self) -> None:
        """The usual gap between frames is known better now: `gaps` said so of the frame that arrived."""
        self.gap_s = gap_s = self.gaps.usual_s
        self.is_known = self.gaps.is_known
        if self.is_known and SLOWER * self.conversion_s < gap_s <= SLOWEST_S:
            # No conversion can be seen sooner than the next frame; that bounds T from below only.
            self._take(gap_s, 1.0, measured=False)
        elif not self._is_exact:
            self.conversion_s = round(self._frames * gap_s, 6)
        self._refit()

    def _refit(self) -> None:
        self.frames = share = self._frames or self.conversion_s / self.gap_s
        count = max(1, round(share))
        self.per_conversion = count + 1 if share > ROUND_DOWN * count else count
