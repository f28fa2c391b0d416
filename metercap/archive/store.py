"""What was read before, in one file that may be deleted at any time; and a table for what one run finds.

A row is taken only where its file has the same size and time of change as when it was read, or else the same bytes; and
only where the row itself is as it was written. A store that is damaged is made anew. It is SQLite, so that neither what
is kept nor what a run finds has to be in memory.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
import zlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TypeVar

import msgspec

from metercap.errors import FileProblem
from metercap.settings import cache_folder

Done = TypeVar("Done")

LAYOUT = 1
_TABLE = """
create {} (
    what text not null, key blob not null, stat text not null, sha256 text not null, data blob not null,
    proof blob not null, primary key (what, key)
) without rowid
"""
_RUN = """
create temp table run (
    id integer primary key, key blob, session text, last_s real, start_utc text, bench text, name text, job text,
    number integer, dated integer
)
"""
_COLUMNS = "key, session, last_s, start_utc, bench, name, job, number, dated"
_WAIT_S = 5.0
_NOT_KEPT = "what was read before cannot be used ({}): every journal is read, and not remembered"
_NAMES = "create temp table names (name text primary key) without rowid"
_OFTEN = 500
"""Rows that are written together."""


class Damaged(sqlite3.DatabaseError):
    """The store does not give back what was put into it."""


class Kept(msgspec.Struct, frozen=True):
    """What is kept of one file: its `stat` and `sha256` when it was read, and what it gave."""

    stat: str
    sha256: str
    data: bytes


class Seen(msgspec.Struct, frozen=True):
    """A journal that this run found: the `key` of its file, and what tells it apart.

    `job` is the folder that it is numbered in, "" where it is in none. `dated`: its day can be believed.
    """

    key: bytes
    session: str
    last_s: float
    start_utc: str
    bench: str
    name: str
    job: str = ""
    number: int = 0
    dated: bool = True


class Store:
    """The file at `place`, or, where that is None, one of the system's own that is gone afterwards.

    What is kept or noted is written some hundred rows at a time, so that two programs hardly ever wait for each other.
    What cannot be kept there is spared in a file of this run alone.
    """

    def __init__(self, place: Path | None) -> None:
        self._kept: list[tuple[object, ...]] = []
        self._noted: list[tuple[object, ...]] = []
        self._keeps = True
        self._base = sqlite3.connect("" if place is None else str(place), timeout=_WAIT_S, isolation_level=None)
        try:
            for setting in ("journal_mode = wal", "synchronous = off", "temp_store = file", "cache_size = -4096"):
                self._base.execute(f"pragma {setting}")
            (layout,) = self._base.execute("pragma user_version").fetchone()
            if layout not in (0, LAYOUT):
                raise Damaged(f"it is of layout {layout}")
            if layout != LAYOUT:
                self._base.execute(_TABLE.format("table if not exists kept"))
                self._base.execute(f"pragma user_version = {LAYOUT}")
            elif not self._base.execute("select 1 from sqlite_master where name = 'kept'").fetchone():
                raise Damaged("its table is gone")
            self._base.execute(_TABLE.format("temp table spare"))
            self._base.execute(_RUN)
            self._base.execute(_NAMES)
        except BaseException:
            self._base.close()
            raise

    def close(self) -> None:
        """Write what is left to write, and close."""
        with contextlib.suppress(sqlite3.Error):
            self.flush()
        self._base.close()

    def recall(self, what: str, key: bytes) -> Kept | None:
        """Return what is kept, or None; a row that is not as it was written is none."""
        columns = "stat, sha256, data, proof"
        ask = " union all ".join(
            f"select {columns} from {name} where what = ? and key = ?" for name in ("spare", "kept")
        )
        row = self._base.execute(ask, (what, key, what, key)).fetchone()
        if row is None:
            return None
        stat, sha256, data, proof = row
        if not (isinstance(stat, str) and isinstance(sha256, str) and isinstance(data, bytes)):
            return None
        if _proof(what, key, stat, sha256, data) != proof:
            return None
        try:
            return Kept(stat, sha256, zlib.decompress(data))
        except zlib.error:
            return None

    def keep(self, what: str, key: bytes, kept: Kept) -> None:
        """Keep what a file gave, in place of what it gave before."""
        data = zlib.compress(kept.data, 1)
        self._kept.append((what, key, kept.stat, kept.sha256, data, _proof(what, key, kept.stat, kept.sha256, data)))
        if len(self._kept) >= _OFTEN:
            self.flush()

    def note(self, seen: Seen) -> None:
        """Note that this run found a journal."""
        self._noted.append(msgspec.structs.astuple(seen))
        if len(self._noted) >= _OFTEN:
            self.flush()

    def first_time(self, name: str) -> bool:
        """Return whether this run names something for the first time."""
        return self._base.execute("insert or ignore into names values (?)", (name,)).rowcount == 1

    def flush(self) -> None:
        """Write what is to be written. What cannot be kept for the next time is no loss to this one."""
        if self._kept and self._keeps:
            try:
                with self._together("begin immediate"):
                    self._base.executemany("insert or replace into kept values (?, ?, ?, ?, ?, ?)", self._kept)
                self._kept.clear()
            except sqlite3.OperationalError:  # held by another program, or no room
                self._keeps = False
        if self._kept:
            with self._together("begin"):
                self._base.executemany("insert or replace into spare values (?, ?, ?, ?, ?, ?)", self._kept)
        self._kept.clear()
        if self._noted:
            with self._together("begin"):
                self._base.executemany(f"insert into run ({_COLUMNS}) values (?, ?, ?, ?, ?, ?, ?, ?, ?)", self._noted)
        self._noted.clear()

    @contextlib.contextmanager
    def _together(self, begin: str) -> Iterator[None]:
        self._base.execute(begin)
        try:
            yield
            self._base.execute("commit")
        except BaseException:
            with contextlib.suppress(sqlite3.Error):
                self._base.execute("rollback")
            raise

    def numbered(self) -> Iterator[tuple[int, str, str, str]]:
        """Yield id, job, start and name of every journal of a job, job by job in the order of their numbers."""
        self.flush()
        yield from self._base.execute(
            "select id, job, start_utc, name from run where job != '' and dated order by job, number, id"
        )

    def undate(self, ids: Iterable[int]) -> None:
        """Note that the days of some journals cannot be believed."""
        with self._together("begin"):
            self._base.executemany("update run set dated = 0 where id = ?", ((each,) for each in ids))

    def sessions(self) -> Iterator[Seen]:
        """Yield every journal that this run found, those of one session in a row: the longest first."""
        self.flush()
        rows = self._base.execute(f"select {_COLUMNS} from run order by session, last_s desc, name, key")
        for key, session, last_s, start, bench, name, job, number, dated in rows:
            yield Seen(key, session, last_s, start, bench, name, job, number, bool(dated))


def _proof(what: str, key: bytes, stat: str, sha256: str, data: bytes) -> bytes:
    found = hashlib.blake2b(digest_size=12)
    for part in (what.encode(), key, stat.encode(), sha256.encode(), data):
        found.update(len(part).to_bytes(4, "big"))
        found.update(part)
    return found.digest()


def usual_place() -> Path:
    """Return where what was read is kept: in the user's cache."""
    return cache_folder() / "journals.sqlite"


def with_store(place: Path | None, say: Callable[[str], None], work: Callable[[Store], Done]) -> Done:
    """Return what `work` gives with the store at `place`; None, and a place where none can be, keep nothing.

    A store that turns out to be damaged is made anew, and the work begins again. FileProblem where there is no room
    even for a temporary file.
    """
    anew = False
    while True:
        try:
            with contextlib.closing(_open(place, say)) as store:
                return work(store)
        except sqlite3.DatabaseError as error:
            if place is None or isinstance(error, sqlite3.OperationalError):
                raise FileProblem(f"the temporary file cannot be used: {error}", hint="is the disk full?") from error
            if anew:
                say(_NOT_KEPT.format(error))
                place = None
                continue
            say(f"what was read before is damaged ({error}): it is made anew")
            discard(place)
            anew = True


def _open(place: Path | None, say: Callable[[str], None]) -> Store:
    """Open the store; where none can be kept, one that is gone afterwards."""
    if place is not None:
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            return Store(place)
        except (sqlite3.OperationalError, OSError) as error:
            say(_NOT_KEPT.format(error))
    return Store(None)


def discard(place: Path) -> None:
    """Remove a store."""
    for name in (place.name, f"{place.name}-journal", f"{place.name}-wal", f"{place.name}-shm"):
        with contextlib.suppress(OSError):
            os.unlink(place.with_name(name))  # noqa: PTH108 - whatever stands there
