"""What a recorded session's values rest on, which its file does not hold: derived again by the same function.

A verdict in a journal has its value and U, but not the components of U, nor the function it was measured in. The events
are all there, so the session is run again, and every budget is the very one behind the recorded verdict. What this
program no longer derives as recorded (a journal of another version) is left out: nothing is said of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import msgspec

from metercap.records import Record, SessionRecord, Verdict
from metercap.session.driver import Driver
from metercap.session.machine import Session
from metercap.session.replay import feed_recorded
from metercap.steps.judge import Judgement

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
    session = Session(first)
    driver = Driver(session)
    standing: dict[Key, Verdict] = {}
    driver.start()
    for _ in feed_recorded(driver, _noting(records, standing)):
        pass
    bench = session.bench
    judged = {key: found for key, found in bench.judged.items() if bench.verdicts[key] == standing.get(key)}
    return Derived(standing, judged, dict(bench.as_found), dict(bench.before))


def _noting(records: Iterable[Record], standing: dict[Key, Verdict]) -> Iterator[Record]:
    for record in records:
        if isinstance(record, Verdict):
            standing[record.step, record.item] = record
        yield record
