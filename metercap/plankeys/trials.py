"""Plan keys of `trials`."""

from __future__ import annotations

from metercap.plankeys.base import Seconds, Share, StepBase


class TrialsStep(StepBase, frozen=True, tag="trials", kw_only=True):
    """Keys of a `trials` step. `runs` before a fix; `off_s` is how long the unit is off and cools between two."""

    runs: int = 20
    off_s: Seconds | None = None
    confidence: Share = 0.95
    reliability: Share = 0.90
