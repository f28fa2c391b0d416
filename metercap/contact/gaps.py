"""The usual gap between frames, whatever the link does to their arrival.

A port hands frames over late, in bursts, or not at all for a while. Over a block of frames lateness cancels, so the
mean gap of a block is nearly the meter's own. Stalls that lose frames are gaps that stand out, and are left out;
one whose frames come later spoils the block that it falls into, so the middle one of the last blocks is taken.
"""

from __future__ import annotations

import math

BLOCK = 24
"""Frames in a block: whole bursts of two, three and four frames."""
BLOCKS = 5
"""Blocks whose middle one is taken."""
KNOWN = 16
"""Gaps that must be seen before anything is concluded from them."""
LONG = 4.1
"""A pause of more usual gaps than this is longer than bursts of four make: frames are late by a stall, or lost."""
LEAST_S = 0.002
"""No meter sends more often; frames that waited arrive in one moment."""
PAUSE = 2.0
"""A gap that is so many times the middle one of its block was a stall, not the meter."""
WAITED = 4.0
"""Gaps so many times shorter than the middle one are of frames that waited."""


class Gaps:
    """Measures the usual gap from arrival times; `usual_s` holds once `arrived` has said so."""

    __slots__ = ("_block", "_last_s", "_means", "late", "usual_s")

    def __init__(self) -> None:
        self.usual_s = LEAST_S
        self.late = 0.0
        """Usual gaps by which frames come late now and then, in the last block: the third longest of its gaps."""
        self._last_s: float | None = None
        self._block: list[float] = []
        self._means: list[float] = []

    @property
    def is_known(self) -> bool:
        """True when enough gaps were seen to conclude anything from them."""
        return bool(self._means) or (len(self._block) >= KNOWN and _tells(self._block))

    def resume(self) -> None:
        """The gap before the next frame is none: the block begins anew."""
        self._last_s = None
        self._block.clear()

    def arrived(self, t_s: float) -> bool:
        """A frame arrived; return whether `usual_s` may have changed."""
        last_s, self._last_s = self._last_s, t_s
        if last_s is None:
            return False
        block, means = self._block, self._means
        block.append(t_s - last_s)
        if len(block) < BLOCK:
            if not means:
                self.usual_s = max(LEAST_S, _mean(_fresh(block)))
                self._judge_late()
            return not means
        if not _tells(block):
            block.clear()
            return False
        means.append(_mean(block if means else _fresh(block)))
        if len(means) > BLOCKS:
            del means[0]
        self.usual_s = max(LEAST_S, sorted(means)[(len(means) - 1) // 2])
        self._judge_late()
        block.clear()
        return True

    def _judge_late(self) -> None:
        longest = sorted(self._block)[-3:]
        self.late = longest[0] / self.usual_s - 1.0


def _tells(gaps: list[float]) -> bool:
    """Return whether the gaps are more than a backlog: bursts of four leave a gap between each four frames."""
    return sum(gap_s >= LEAST_S for gap_s in gaps) >= KNOWN // 4


def _fresh(gaps: list[float]) -> list[float]:
    """Return the gaps without those of frames that had waited in the port when it was opened.

    They come first and in one moment. A link that always sends bursts does so later as well: as many are left.
    """
    short_s = sorted(gaps)[-3:][0] / WAITED
    runs = [0]
    for gap_s in gaps:
        if gap_s < short_s:
            runs[-1] += 1
        else:
            runs.append(0)
    first, *later = runs
    return gaps[max(0, first - max(later, default=0)) :]


def _mean(gaps: list[float]) -> float:
    """Return the mean of gaps, without pauses whose frames did not come later."""
    ordered = sorted(gaps)
    middle = ordered[len(ordered) // 2]
    late = len(ordered) < 3 or ordered[1] * WAITED <= middle
    counted = gaps if late else [gap for gap in gaps if gap <= PAUSE * middle]
    return math.fsum(counted) / len(counted)
