"""The usual gap between frames, whatever the link does to their arrival.

A port hands frames over late, in bursts, or not at all for a while. Over a block of frames lateness cancels, so the
mean gap of a block is nearly the meter's own; a stall spoils the block that it falls into, so the middle one of the
last blocks is taken.
"""

from __future__ import annotations

import math

BLOCK = 24
"""Frames in a block: whole bursts of two, three and four frames."""
BLOCKS = 5
"""Blocks whose middle one is taken."""
KNOWN = 16
"""Gaps that must be seen before anything is concluded from them."""
LEAST_S = 0.002
"""No meter sends more often; frames that waited arrive in one moment."""
PAUSE = 2.0
"""Among the first gaps a longest that is so many times the next one was a stall, not the meter."""
WAITED = 4.0
"""Gaps so many times shorter than the longest of the others are of frames that waited."""


class Gaps:
    """Measures the usual gap from arrival times; `usual_s` holds once `arrived` has said so."""

    __slots__ = ("_early", "_from_s", "_in_block", "_last_s", "_means", "usual_s")

    def __init__(self) -> None:
        self.usual_s = LEAST_S
        self._from_s = 0.0
        self._last_s = 0.0
        self._in_block = -1
        self._means: list[float] = []
        self._early: list[float] | None = []

    @property
    def is_known(self) -> bool:
        """True when enough gaps were seen to conclude anything from them."""
        return self._early is None or len(self._early) >= KNOWN

    def resume(self) -> None:
        """The gap before the next frame is none: the block begins anew."""
        self._in_block = -1

    def arrived(self, t_s: float) -> bool:
        """A frame arrived; return whether `usual_s` may have changed."""
        self._in_block += 1
        if self._in_block == 0:
            self._from_s = self._last_s = t_s
            return False
        if self._in_block == BLOCK:
            mean_s = (t_s - self._from_s) / BLOCK
            if self._early is not None:
                mean_s, self._early = _early_mean([*self._early, t_s - self._last_s]), None
            self._means.append(mean_s)
            if len(self._means) > BLOCKS:
                del self._means[0]
            self._from_s, self._in_block = t_s, 0
            means = sorted(self._means)
            self.usual_s = max(LEAST_S, means[(len(means) - 1) // 2])
            return True
        if self._early is None:
            return False
        self._early.append(t_s - self._last_s)
        self._last_s = t_s
        self.usual_s = max(LEAST_S, _early_mean(self._early))
        return True


def _early_mean(gaps: list[float]) -> float:
    """Return the mean of the first gaps, without a longest that stands alone and whose frames did not come later."""
    *rest, longest = sorted(gaps)
    lost = len(rest) >= 2 and longest > PAUSE * rest[-1] and rest[1] * WAITED > rest[-1]
    counted = rest if lost else gaps
    return math.fsum(counted) / len(counted)
