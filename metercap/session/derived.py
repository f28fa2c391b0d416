"""What a recorded session's values rest on, which its file does not hold: derived again by the same function.

A verdict in a journal has its value and U, but not the components of U, nor the function it was measured in. The events
are all there, so the session is run again, and every budget is the very one behind the recorded verdict. What this
program no longer derives as recorded is left out: nothing is said of it. A file of an older schema is not run again:
its rules were others, and its verdicts say what they rest on as far as they can.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import msgspec

from metercap.judging.judge import Judgement
from metercap.records import SCHEMA, Record, SessionRecord, Verdict, VerdictKind
from metercap.session.driver import Driver
from metercap.session.machine import Session
from metercap.session.replay import feed_recorded

Key = tuple[str, str]
"""A step's id and an item's name."""


class Derived(msgspec.Struct, frozen=True):
    """What stands in the file and what it rests on, by step and item.

    `standing`: the last verdict in the file; `judged`: what its value rests on; `as_found`: of trimmers; `before`: what
    was counted before the last fix or cleaning (k, runs).
    """

    standing: dict[Key, Verdict]
    judged: dict[Key, Judgement]
    as_found: dict[Key, Judgement]
    before: dict[Key, dict[str, Any]]


def derive(first: SessionRecord, records: Iterable[Record]) -> Derived:
    """Run a recorded session again; `records` are those after the first, taken once and in order.

    Raises PlanError or JournalError for a first record that this program cannot run, and whatever `records` raises.
    """
    standing: dict[Key, Verdict] = {}
    if first.schema < SCHEMA:
        for _ in _noting(records, standing):
            pass
        return _told(standing)
    session = Session(first)
    driver = Driver(session)
    driver.start()
    for _ in feed_recorded(driver, _noting(records, standing)):
        pass
    bench = session.bench
    judged = {key: found for key, found in bench.judged.items() if bench.verdicts[key] == standing.get(key)}
    return Derived(standing, judged, dict(bench.as_found), dict(bench.before))


def _told(standing: dict[Key, Verdict]) -> Derived:
    """Return what verdicts say by themselves, for a file that was made by other rules: the parts of U are not known."""
    judged = {
        key: Judgement(each.verdict, each.value, each.expanded, each.resolution or 0.0, each.reason)
        for key, each in standing.items()
        if each.value is not None and each.expanded is not None
    }
    found = {
        key: Judgement(VerdictKind.PASS, each.as_found, each.expanded or 0.0, each.resolution or 0.0, "")
        for key, each in standing.items()
        if isinstance(each.as_found, float)
    }
    return Derived(standing, judged, found, {})


def _noting(records: Iterable[Record], standing: dict[Key, Verdict]) -> Iterator[Record]:
    for record in records:
        if isinstance(record, Verdict):
            standing[record.step, record.item] = record
        yield record
