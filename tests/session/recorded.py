"""The records of a play, as a journal holds them, and that they are derived again exactly."""

from __future__ import annotations

from metercap.records import EndRecord, Record
from metercap.session import check
from tests.steps.bench_play import Play


def again(play: Play) -> list[Record]:
    """Return a play's records, once a replay has given the same; a session that is over has its end."""
    records: list[Record] = [play.record]
    for event, outcomes in play.pairs:
        records += [event] if event is not None else []
        records += outcomes
    if play.session.finished:
        records.append(EndRecord(play.t_s, play.session.end_reason, {}, "0" * 64))
    assert check(records).difference == ""
    return records
