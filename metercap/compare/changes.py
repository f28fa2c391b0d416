"""What became of one unit: trimmers as found and as left, and counts before a fix or cleaning and after it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, TypeVar

from metercap.compare.model import Adjusted, Counted
from metercap.evidence import Evidence
from metercap.metrology.domain import round6
from metercap.metrology.proportion import attempt_confidence, clopper_pearson, fisher_exact
from metercap.outcome import Key
from metercap.records import Verdict

CONFIDENCE = 0.95
T = TypeVar("T")


def adjusted(session: Evidence, file: str) -> Iterator[Adjusted]:
    """Return every trimmer of a session that was read, as found and as left."""
    for key, verdict in session.verdicts.items():
        as_found, as_left = _given(verdict.as_found, None), _given(verdict.as_left, None)
        if as_found is None and as_left is None:
            continue
        yield Adjusted(
            session.first.unit,
            file,
            *key,
            unit=verdict.unit,
            verdict=str(verdict.verdict),
            as_found=as_found,
            as_left=as_left,
            resolution=verdict.resolution,
            target=_given(verdict.target, None),
            tolerance=_given(verdict.tolerance, None),
            excursions=_given(verdict.excursions, 0),
        )


def counted(sessions: Sequence[Evidence]) -> Iterator[Counted]:
    """Return every count of k of n of one unit, whose `sessions` are given in the order of time.

    What counts is the last one; before it lies what its own session counted before the last fix or cleaning, or took
    over from an earlier one, else the last count of an earlier session.
    """
    keys = dict.fromkeys(key for session in sessions for key in session.counted)
    for key in keys:
        having = [session for session in sessions if key in session.counted]
        last = having[-1]
        verdict = last.counted[key][-1]
        earlier = having[-2].counted[key][-1] if len(having) > 1 else None
        yield _compared(last.first.unit, key, _before(last, key, earlier), verdict, _attempts(last, key))


def _attempts(session: Evidence, key: Key) -> int:
    """Return how many cleanings or fixes there have been, this one included: each has to show more."""
    kept = session.counts.get(key)
    return 1 if kept is None else max(1, len(kept.rounds) - 1, 1 + len(kept.tries))


def _before(session: Evidence, key: Key, earlier: Verdict | None) -> tuple[int, int] | None:
    kept = session.counts.get(key)
    own = (kept.k, kept.runs) if kept is not None and kept.runs else None
    if kept is not None and kept.fix == "":
        own = None  # starts that go on where an earlier session left them, with nothing mended, are all one count
    if kept is not None and len(kept.rounds) == 1:
        return None  # and so are the presses of one round, and a round that is only told again
    took_over = "/".join(key) in session.first.inherited.get("before", {})
    if own is not None and (took_over or len(session.counted[key]) > 1 or own != _counts(session.counted[key][-1])):
        return own
    return None if earlier is None else _counts(earlier)


def _compared(unit: str, key: Key, before: tuple[int, int] | None, verdict: Verdict, attempts: int) -> Counted:
    k, runs = _counts(verdict)
    confidence = _given(verdict.confidence, CONFIDENCE)
    interval = clopper_pearson(k, runs, confidence) if runs else None
    p = None
    if before is not None and before[1] and runs:
        p = round6(fisher_exact(((before[0], before[1] - before[0]), (k, runs - k)), "less"))
    return Counted(
        unit,
        *key,
        before_k=None if before is None else before[0],
        before_runs=None if before is None else before[1],
        k=k,
        runs=runs,
        low=0.0 if interval is None else interval.low,
        high=1.0 if interval is None else interval.high,
        confidence=confidence,
        p=p,
        changed=None if p is None else p <= round6(1.0 - attempt_confidence(confidence, attempts)),
    )


def _counts(verdict: Verdict) -> tuple[int, int]:
    return _given(verdict.k, 0), _given(verdict.runs, 0)


def _given(value: Any, otherwise: T) -> Any:
    """Return a verdict's own field, or `otherwise` where it has none."""
    return value if isinstance(value, int | float) else otherwise
