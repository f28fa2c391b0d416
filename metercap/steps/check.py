"""check: one settled value per item against limits or a reference, from separate contacts."""

from __future__ import annotations

from metercap.steps.bench import Bench
from metercap.steps.items import WalkStep
from metercap.steps.walk import Walk


class CheckStep(WalkStep, frozen=True, tag="check", kw_only=True):
    """Keys of a `check` step. `contacts` separate contacts are taken, and their spread enters U."""

    contacts: int = 2


class Check(Walk):
    """A walk that records settled values."""

    def __init__(self, step: CheckStep, bench: Bench) -> None:
        super().__init__(step, bench, decisive=False)
