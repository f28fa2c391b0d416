"""What tells that something was mended: of a verdict, of what was counted, of a part that was replaced."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from metercap.records import Verdict, VerdictKind


def mended_of(verdict: Verdict) -> bool:
    """Return whether a verdict says that its item passes since it was set: a trimmer as found out of its band."""
    found, target, tolerance = verdict.as_found, verdict.target, verdict.tolerance
    told = isinstance(found, float) and isinstance(target, float) and isinstance(tolerance, float)
    return verdict.verdict is VerdictKind.PASS and told and abs(found - target) > tolerance  # type: ignore[operator]


def mended_here(counted: Mapping[str, Any]) -> bool:
    """Return whether presses were missed in a round that is over: the switch was cleaned, or another one put in."""
    rounds = counted.get("rounds", ())
    return len(rounds) > 1 and any(k < n for k, n in rounds[:-1])
