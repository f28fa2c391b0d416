"""One job as rows of a data set: each journal is read once, and what a history counts of it is marked."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from urllib.parse import quote

import msgspec

from metercap.archive.gather import EARLIEST, read_short
from metercap.errors import JournalError
from metercap.export.read import verdict_row
from metercap.export.sittings import began, source_of
from metercap.export.source import Whose
from metercap.files import open_file
from metercap.fleet.schema import PART, SET, Row, Source
from metercap.history.digest import Digest
from metercap.history.digest import Row as Counted
from metercap.job import Folder
from metercap.journal import iterate, rescue
from metercap.records import Operator, Record, SessionRecord, Verdict, named
from metercap.rests import Found

_BLOCK = 1 << 20
_LONGEST_NAME = 120

Key = tuple[str, str]
Sum = tuple[str, int, str]


class Sat(msgspec.Struct):
    """One sitting as it was read: its unit's `tag`, whose it is, its own verdicts and what a history counts of them.

    `found_s`: when values as found were read; `lost` is to be told; `undated` says why its `day` is not believed.
    """

    tag: str
    path: Path
    sum: Sum
    session: SessionRecord | None = None
    verdicts: list[Verdict] = []
    found_s: dict[Key, float] = {}
    digest: Digest | None = None
    lost: str = ""
    day: str = ""
    undated: str = ""

    def see(self, record: Record) -> None:
        """Take a record of the journal."""
        if isinstance(record, SessionRecord):
            self.session = record
        elif isinstance(record, Operator) and self.session is not None:
            self.session = named(self.session, record)
        elif isinstance(record, Verdict):
            self.verdicts.append(record)
        elif isinstance(record, Found):
            self.found_s[record.step, record.item] = record.t_s

    @property
    def source(self) -> Source:
        """What the part's footer says of it."""
        found = self.digest
        if found is None:
            return Source(*self.sum)
        return Source(*self.sum, found.id, found.meter, self.day, found.last_s, found.finished, whole=True)


def part_path(folder: Folder) -> str:
    """Return the path of a job's part in a set, by its first session that can be read; empty where there is none.

    It never changes: a journal's first record does not, and no later session comes before the first.
    """
    for each in folder.sittings:
        try:
            with iterate(each.path) as records:
                first = next(records, None)
        except JournalError:
            continue
        if isinstance(first, SessionRecord):
            model = str(first.plan.get("model", "")).strip() or str(first.plan.get("title", "")).strip()
            start = began(first)
            month = "unknown" if start is None or start.year < int(EARLIEST) else f"{start:%Y-%m}"
            return f"for_model={_in_a_name(model)}/month={month}/{_short_sum(first.id)}{PART}"
    return ""


def _in_a_name(text: str) -> str:
    """Return text as part of a folder's name, percent-encoded (RFC 3986, 2.1) as the readers of such sets expect it."""
    name = quote(text, safe=" ", errors="backslashreplace") or "unknown"
    return name if len(name) <= _LONGEST_NAME else _short_sum(text)


def _short_sum(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()[:16]


def sums_of(folder: Folder) -> tuple[Sum, ...]:
    """Return name, size and SHA-256 of each of a job's journals. Raises JournalError for one that cannot be read."""
    return tuple(_sum(each.path) for each in folder.sittings)


def read_job(folder: Folder, now: datetime.datetime) -> list[Sat]:
    """Read every journal of a job as far as it goes, in the order of their numbers; of copies only the longest.

    Raises JournalError for a file that cannot be opened. A file that grows is summed as it was before it was read, so
    that the next look finds it changed.
    """
    sittings = [Sat(each.tag, each.path, _sum(each.path)) for each in folder.sittings]
    end = (now + datetime.timedelta(days=1)).astimezone(datetime.UTC).isoformat()
    latest = ""
    for sat in sittings:
        short = read_short(rescue.found(sat.path), sat.see)
        sat.digest = short.digest
        sat.lost = short.lost or ("is no journal" if short.foreign else "")
        if sat.digest is None:
            continue
        start = sat.digest.start_utc
        if not sat.digest.day or not EARLIEST <= start < end:
            sat.undated = f"began, by its clock, {start}"
        elif start < latest:
            sat.undated = f"began, by its clock, {start}, before the journal before it did ({latest})"
        else:
            sat.day, latest = sat.digest.day, start
    _leave_copies_out(sittings)
    return sittings


def _leave_copies_out(sittings: Sequence[Sat]) -> None:
    best: dict[str, Sat] = {}
    counted = [sat for sat in sittings if sat.digest is not None]
    for sat in sorted(counted, key=lambda sat: (-sat.digest.last_s, sat.path.name)):  # type: ignore[union-attr]
        kept = best.setdefault(sat.digest.id, sat)  # type: ignore[union-attr]
        if kept is not sat:
            sat.session = sat.digest = None
            sat.verdicts, sat.undated, sat.lost = [], "", f"the session of {kept.path.name}"


def rows_of(folder: Folder, sittings: Sequence[Sat], below: str, bench: str) -> Iterator[Row]:
    """Yield the rows of a job, unit by unit, with the columns of `SET`."""
    ids = {sat.session.id: None for sat in sittings if sat.session is not None}
    for unit in folder.job.units:
        ones = [sat for sat in sittings if sat.tag == unit.tag]
        own = [[verdict for verdict in sat.verdicts if source_of(verdict) not in ids] for sat in ones]
        last = {
            (verdict.step, verdict.item): (number, n)
            for number, verdicts in enumerate(own)
            for n, verdict in enumerate(verdicts)
        }
        for number, (sat, verdicts) in enumerate(zip(ones, own, strict=True)):
            stands = {place: n for place, (where, n) in last.items() if where == number}
            blank: Row = {column.name: None for column in SET}
            blank |= {"job": folder.job.title, "folder": below, "bench": bench, "day": sat.day}
            yield from _rows(sat, verdicts, stands, blank)


def _rows(sat: Sat, verdicts: Sequence[Verdict], stands: Mapping[Key, int], blank: Row) -> Iterator[Row]:
    session, found = sat.session, sat.digest
    if session is None:
        return
    whose = msgspec.structs.replace(Whose.of(session, sat.path), tag=sat.tag)
    model: Row = {} if found is None else {"model": found.model, "unit_name": found.unit}
    blank = blank | {"identity": session.identity, "aspect": "", "how": "", "counted": False}
    places = {(verdict.step, verdict.item): n for n, verdict in enumerate(verdicts)}
    counts: dict[Key, Counted] = {}
    for row in () if found is None else found.rows:
        key = row.step, row.item
        if row.aspect != "as found" and key in places:
            counts[key] = row
        else:  # a value as found has no verdict of its own
            assert found is not None
            own = {"verdict": row.verdict, "stands": False, "settled": False, "resolution": row.resolution}
            t_s = sat.found_s.get(key)
            when: Row = {"time": None} if t_s is None else {"t_s": t_s}
            yield blank | own | whose.row(t_s or 0.0) | when | model | _counted(row)
    for n, verdict in enumerate(verdicts):
        key = verdict.step, verdict.item
        counted = _counted(counts[key]) if key in counts and places[key] == n else {}
        yield blank | verdict_row(verdict, stands.get(key) == n) | whose.row(verdict.t_s) | model | counted


def _counted(row: Counted) -> Row:
    """Return the columns of a row that a history counts."""
    found = {"step": row.step, "item": row.item, "unit": row.unit, "aspect": row.aspect, "how": row.how}
    return {**found, "counted": True, "measured": row.value}


def _sum(path: Path) -> Sum:
    """Return a journal's name, its size in bytes and its SHA-256 in hexadecimal (FIPS 180-4)."""
    found, size = hashlib.sha256(), 0
    try:
        with open_file(rescue.found(path)) as file:
            while block := file.read(_BLOCK):
                found.update(block)
                size += len(block)
    except OSError as error:
        raise JournalError(f"cannot be read: {error.strerror or error}", where=str(path)) from error
    return path.name, size, found.hexdigest()
