"""The sittings of one unit as one history: their records up to a damage, and no verdict twice."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeAlias

from metercap.errors import JournalError
from metercap.journal import iterate
from metercap.records import Record, SessionRecord, Verdict
from metercap.session.inherit import FROM

Units: TypeAlias = Sequence[tuple[str, Sequence[Path]]]
"""Each unit's tag and its journals, in order."""


def records_in(path: Path, lost: list[str]) -> Iterator[Record]:
    """Yield a journal's records, up to a damage; what is not there is told in `lost`."""
    try:
        with iterate(path) as records:
            yield from records
        if records.lost and records.state != "unclosed":
            lost.append(f"{path.name}: {records.lost}")
    except JournalError as error:
        lost.append(f"{path.name}: {error.what}; what stands before it is in the table")


def began(session: SessionRecord) -> datetime.datetime | None:
    """Return when a session began, in UTC, by its record; None where that is no time with a zone."""
    try:
        start = datetime.datetime.fromisoformat(session.start_utc)
        return start.astimezone(datetime.UTC) if start.tzinfo is not None else None
    except (ValueError, OverflowError):
        return None


def later(start: datetime.datetime | None, t_s: float) -> datetime.datetime | None:
    """Return the moment `t_s` seconds after a start, to 1 µs; None where there is no such time."""
    try:
        return None if start is None else start + datetime.timedelta(seconds=t_s)
    except OverflowError:
        return None


def source_of(verdict: Verdict) -> str:
    """Return the id of the session that a verdict was taken over from; empty where it was given in its own."""
    return verdict.reason.removeprefix(FROM).partition(";")[0] if verdict.reason.startswith(FROM) else ""


def given(path: Path, ids: Mapping[str, Any], lost: list[str]) -> Iterator[tuple[int, Verdict]]:
    """Yield a journal's verdicts with their places, but for those taken over from sessions that are here (`ids`)."""
    verdicts = (record for record in records_in(path, lost) if type(record) is Verdict)
    for n, verdict in enumerate(verdicts):
        if source_of(verdict) not in ids:
            yield n, verdict
