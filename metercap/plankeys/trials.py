"""Plan keys of `trials`."""

from __future__ import annotations

from typing import Annotated

from metercap.plankeys.base import Seconds, Share, StepBase, says


class TrialsStep(StepBase, frozen=True, tag="trials", kw_only=True):
    """Keys of a `trials` step. `runs` before a fix; `off_s` is how long the unit is off and cools between two."""

    runs: Annotated[int, says("Starts before a fix.", "30")] = 20
    off_s: Annotated[Seconds | None, says("How long the unit is off, and cools, between two starts.", '"2 min"')] = None
    confidence: Annotated[Share, says("Confidence of what is claimed from the count.", "0.90")] = 0.95
    reliability: Annotated[Share, says("The share of good starts that is to be proved.", "0.95")] = 0.90
