"""Counts of presses and starts: what a verdict and a journal's record say of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from metercap.metrology.proportion import clopper_pearson
from metercap.rests import Count


def count_of(kept: Mapping[str, Any], step: str, item: str, t_s: float = 0.0) -> Count:
    """Return the record of what is kept of an item: see `exercise.presses` and `trials`, which make it."""
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


def k_of_n(k: int, n: int, confidence: float) -> dict[str, Any]:
    """Return what a verdict says of k of n, with the exact interval; without any press there is none."""
    interval = clopper_pearson(k, n, confidence) if n else None
    low, high = (None, None) if interval is None else (interval.low, interval.high)
    return {"k": k, "runs": n, "low": low, "high": high, "confidence": confidence}


def number_in(text: str) -> int:
    """Return the whole number that a word carries, up to 999; 0 for anything else (a journal may hold anything)."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 3 else 0
