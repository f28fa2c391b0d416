"""The history of a whole data set: its parts found, each session counted once, batch by batch, here or elsewhere.

A session that lies in two parts (a journal that was copied into another job) counts where it goes farthest. To know
that, the sessions of all parts are noted first, in a temporary database and not in memory.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import Any, Protocol, TypeVar

from metercap.archive.store import Seen, Store
from metercap.errors import FileProblem
from metercap.fleet.count import SetTold, count_parts, sessions_of
from metercap.fleet.part import arrow
from metercap.fleet.schema import HALF, PART, open_set
from metercap.history import History

BATCH = 512
"""Parts that are counted as one piece of work."""

T = TypeVar("T")


class Where(Protocol):
    """Where work is done: gives what `work` makes of each batch and what more goes with it, in any order."""

    def __call__(self, work: Callable[..., T], batches: Iterable[tuple[Any, ...]]) -> Iterator[T]:
        """Do the work."""


def here(work: Callable[..., T], batches: Iterable[tuple[Any, ...]]) -> Iterator[T]:
    """Do the work in this process, one batch after the other."""
    for batch in batches:
        yield work(*batch)


def set_history(
    dataset: Path, say: Callable[[str], None], progress: Callable[[str], None], where: Where = here
) -> tuple[History, SetTold]:
    """Return the history of a data set, and what is to be said of its parts.

    Raises FileProblem for what is no set that this program knows, UsageError without pyarrow or pandas.
    """
    arrow()
    open_set(dataset)
    dataset = dataset.absolute()
    store = Store(None)
    try:
        left_out, told = _copies(dataset, store, progress, say, where)
        history = History()
        jobs = ((dataset, batch, _of(left_out, batch)) for batch in _batches(parts_of(dataset, say)))
        for one, its in where(count_parts, jobs):
            history.take(one)
            told.take(its)
            progress(f"{told.parts} jobs counted")
    except sqlite3.DatabaseError as error:
        raise FileProblem(f"the temporary file cannot be used: {error}", hint="is the disk full?") from error
    finally:
        store.close()
    _halves(dataset, told, say)
    return history, told


def parts_of(dataset: Path, say: Callable[[str], None], ending: str = PART) -> Iterator[str]:
    """Yield the path of every part below a set, folder by folder."""
    left = [dataset]
    while left:
        folder = left.pop()
        try:
            with os.scandir(folder) as entries:
                for entry in entries:
                    if entry.name.startswith(".") and ending == PART:
                        continue
                    if entry.is_dir(follow_symlinks=False):
                        left.append(folder / entry.name)
                    elif entry.name.endswith(ending):
                        yield (folder / entry.name).relative_to(dataset).as_posix()
        except OSError as error:
            say(f"{folder}: cannot be read: {error.strerror or error}; passed over")


def _copies(
    dataset: Path, store: Store, progress: Callable[[str], None], say: Callable[[str], None], where: Where
) -> tuple[dict[str, list[str]], SetTold]:
    """Return the sessions that each part has and another one has farther, and what is said of them."""
    told, parts = SetTold(), 0
    for some in where(sessions_of, ((dataset, batch) for batch in _batches(parts_of(dataset, say)))):
        for one in some:
            for session, last_s, name in one.sources:
                store.note(Seen(one.part.encode(), session, last_s, "", "", name))
            parts += 1
        progress(f"{parts} jobs found")
    left_out: dict[str, list[str]] = {}
    last: Seen | None = None
    for seen in store.sessions():
        if last is not None and seen.session == last.session:
            left_out.setdefault(seen.key.decode(), []).append(seen.session)
            told.copies.add(f"{seen.name}: the session of {last.name}")
        else:
            last = seen
    return left_out, told


def _batches(parts: Iterable[str]) -> Iterator[Sequence[str]]:
    found = iter(parts)
    while batch := list(islice(found, BATCH)):
        yield batch


def _of(left_out: dict[str, list[str]], batch: Sequence[str]) -> dict[str, list[str]]:
    return {part: left_out[part] for part in batch if part in left_out}


def _halves(dataset: Path, told: SetTold, say: Callable[[str], None]) -> None:
    """Tell of parts that were begun and have nothing that stands; a stale one that stands was told of already."""
    for half in parts_of(dataset, say, HALF):
        path = dataset / half
        if not path.with_name(path.name.removeprefix(".").removesuffix(HALF) + PART).exists():
            told.unusable.add(f"{half} is half-written: its job is not in; export it again")
