"""The history of all journals that some files and folders hold."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import msgspec

from metercap.archive.find import Found, journals
from metercap.archive.remember import decoded, key_of, remembered
from metercap.archive.store import Damaged, Seen, Store, with_store
from metercap.errors import FileProblem, JournalError, MetercapError, PlanError
from metercap.evidence import Gathering
from metercap.gate import storable
from metercap.history import History
from metercap.history.digest import VERSION, Digest, count, digest
from metercap.journal import iterate, rescue
from metercap.journal.format import FIRST
from metercap.records import SCHEMA, Record

WHAT = f"history {VERSION}, records {SCHEMA}"
EARLIEST = "2020"
"""No session of this program was before; a clock that says so has lost its time."""
NAMED = 5
"""How many of one trouble are named; the others are counted."""


class Short(msgspec.Struct, frozen=True, array_like=True):
    """What one file gave: the session in short, or None where it holds none; `lost` says what of it cannot be read."""

    digest: Digest | None
    closed: bool
    lost: str = ""
    foreign: bool = False


class Trouble(msgspec.Struct):
    """One kind of trouble: how many files have it, and the first few in the order of their names."""

    n: int = 0
    named: list[str] = []

    def add(self, text: str) -> None:
        """Count one."""
        self.n += 1
        self.named = sorted([*self.named, text])[:NAMED]


class Told(msgspec.Struct):
    """What a run found: how many `files`, and how many of them it had to read; what is to be said of some."""

    files: int = 0
    read: int = 0
    copies: Trouble = msgspec.field(default_factory=Trouble)
    damaged: Trouble = msgspec.field(default_factory=Trouble)
    undated: Trouble = msgspec.field(default_factory=Trouble)
    unfinished: int = 0
    foreign: int = 0


def gathered(
    arguments: Sequence[str],
    place: Path | None,
    say: Callable[[str], None],
    progress: Callable[[int, int], None],
    now: datetime.datetime,
) -> tuple[History, Told]:
    """Return the history of every session in files and folders, each session once, and what is to be said of them.

    `place`: where what was read is kept; None to keep nothing. `progress` is told how many files were found and how
    many read. Raises FileProblem for an argument that is not there or, named by itself, no journal.
    """
    return with_store(place, say, lambda store: _gathered(arguments, store, say, progress, now))


def _gathered(
    arguments: Sequence[str],
    store: Store,
    say: Callable[[str], None],
    progress: Callable[[int, int], None],
    now: datetime.datetime,
) -> tuple[History, Told]:
    told = Told()
    latest = (now + datetime.timedelta(days=1)).astimezone(datetime.UTC).isoformat()
    for found in journals(arguments, say):
        told.files += 1
        _note(found, *_short(found, store, told), store, told, latest)
        progress(told.files, told.read)
    store.undate(list(_set_back(store, told)))
    return _counted(store, told), told


def _note(found: Found, short: Short, key: bytes, store: Store, told: Told, latest: str) -> None:
    name = str(found.path)
    if short.lost:
        told.damaged.add(f"{name}: {short.lost}")
    if short.foreign:
        told.foreign += 1
    if short.digest is None:
        return
    start = short.digest.start_utc
    dated = bool(short.digest.day) and EARLIEST <= start < latest
    if not dated:
        told.undated.add(f"{name}: began, by its clock, {start}")
    bench = str(storable(found.argument))
    seen = Seen(
        key, short.digest.id, short.digest.last_s, start, bench, str(storable(found.below)),
        str(storable(found.job)), found.number, dated,
    )  # fmt: skip
    store.note(seen)


def _short(found: Found, store: Store, told: Told) -> tuple[Short, bytes]:
    """Return what a file gave, now or before, and where that is kept; of a journal that was rescued, its other file."""
    path = found.path

    def make() -> bytes:
        told.read += 1
        return msgspec.msgpack.encode(read_short(path))

    try:
        short = decoded(remembered(store, WHAT, (path,), make).data, Short)
        if not short.closed and (better := rescue.found(path)) != path:
            path = better
            short = decoded(remembered(store, WHAT, (path,), make).data, Short)
    except FileProblem as error:
        if found.named:
            raise
        return Short(None, closed=False, lost=error.what), key_of(path)
    if short.foreign and found.named:
        raise FileProblem("no journal", where=str(path), hint="name journals (.jsonl), jobs, or folders of them")
    return short, key_of(path)


def read_short(path: Path, see: Callable[[Record], object] = lambda record: None) -> Short:
    """Read one journal as far as it goes; `see` is given every record on the way."""
    gathering, last_s, lost, closed = Gathering(), 0.0, "", False
    try:
        with path.open("rb") as file:
            head = file.read(len(FIRST))
        if head != FIRST[: len(head)] or not head:
            return Short(None, closed=True, foreign=True)
        with iterate(path) as records:
            for record in records:
                see(record)
                gathering.add(record)
                last_s = max(last_s, record.t_s)
            closed = records.state == "closed"
            lost = records.lost if records.state == "torn" else ""
    except (JournalError, PlanError) as error:
        lost = error.what
    except OSError as error:
        return Short(None, closed=False, lost=f"cannot be read: {error.strerror or error}")
    if gathering.fold.session is None or gathering.fold.plan is None:
        return Short(None, closed, lost or "it holds no session")
    try:
        return Short(digest(gathering.evidence(), last_s), closed, lost)
    except MetercapError as error:
        return Short(None, closed, error.what)


def _set_back(store: Store, told: Told) -> Iterator[int]:
    """Yield the journals of jobs that begin, by the clock, before one with a lower number did: it was set back."""
    for _, one_job in itertools.groupby(store.numbered(), key=lambda row: row[1]):
        latest = ""
        for number, _job, start, name in one_job:
            if start < latest:
                told.undated.add(f"{name}: began, by its clock, {start}, before the journal before it did ({latest})")
                yield number
            latest = max(latest, start)


def _told_apart(seen: Seen, other: Seen) -> str:
    """Return a journal's name; where another's bench is not its own, with that."""
    if seen.bench == other.bench:
        return seen.name
    found = Path(seen.bench)
    return str(found if found.name == seen.name else found / seen.name)


def _counted(store: Store, told: Told) -> History:
    """Count every session once: of copies the one that goes farthest."""
    history, last = History(), None
    for seen in store.sessions():
        if last is not None and seen.session == last.session:
            if seen.key != last.key:
                told.copies.add(f"{_told_apart(seen, last)}: the session of {_told_apart(last, seen)}")
            continue
        last = seen
        kept = store.recall(WHAT, seen.key)
        short = None if kept is None else decoded(kept.data, Short)
        if short is None or short.digest is None:
            raise Damaged("a row is lost")
        told.unfinished += not short.digest.finished
        count(history, short.digest, seen.bench, short.digest.day if seen.dated else "", seen.name)
    return history
