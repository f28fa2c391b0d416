"""Counts of presses and starts: what is kept of them, in the form that a journal's record has."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from metercap.rests import Count


def count_of(kept: Mapping[str, Any], step: str, item: str, t_s: float = 0.0) -> Count:
    """Return the record of what is kept of an item: see `exercise.pressed` and `trials`, which make it."""
    made = [good for good, _ in kept.get("open", ())]
    decided = [good for good in made if good is not None]
    return Count(
        t_s,
        step,
        item,
        k=int(kept.get("k", 0)),
        runs=int(kept.get("runs", 0)),
        rounds=tuple((int(k), int(n)) for k, n in kept.get("rounds", ())),
        open=(decided.count(True), len(decided), len(made)) if made else None,
        dropouts=int(kept.get("dropouts", 0)),
        fix=str(kept["fix"]) if "fix" in kept else None,
        after=int(kept.get("after", 0)),
        tries=tuple(int(n) for n in kept.get("tries", ())),
    )
