"""What the shop's jobs teach about faults: each journal is read once, and as many as there is time for at a start."""

from __future__ import annotations

import itertools
import os
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import msgspec

from metercap.archive.find import journals
from metercap.archive.remember import decoded, remembered
from metercap.archive.store import Store, with_store
from metercap.errors import FileProblem, JournalError, MetercapError
from metercap.faults import VERSION, Repair, Sitting, Told, repair
from metercap.gate import visible
from metercap.job import is_job
from metercap.job.folder import JOURNAL
from metercap.journal import iterate, rescue
from metercap.journal.format import FIRST
from metercap.quantity import counted
from metercap.records import SCHEMA

WHAT = f"repairs {VERSION}, records {SCHEMA}"
MOST_NEAR = 10_000
"""Folders and files that are looked at around a job; a shop that has more names a folder of its jobs."""


class Read(msgspec.Struct, frozen=True, array_like=True):
    """What one journal said; None where it says nothing of a repair."""

    told: Told | None


def beside(job: Path) -> list[str]:
    """Return the jobs that lie beside a job's folder, itself included: those right in the folder around it."""
    around = job.absolute().parent
    try:
        near = itertools.islice(around.iterdir(), MOST_NEAR)
        found = [str(each) for each in near if not each.name.startswith(".") and each.is_dir() and is_job(each)]
    except OSError:
        return [str(job)]
    return sorted(found)


def repairs(
    folders: Sequence[str],
    but: tuple[Path, str | None],
    place: Path | None,
    say: Callable[[str], None],
    within_s: float,
) -> tuple[Repair, ...]:
    """Return the repairs of all units of the jobs in folders, but for the unit of that job and tag, or that whole job.

    Journals that were read before are not read again. Reading ends when `within_s` seconds are over: what is left is
    told, and read the next time. `place`: where what was read is kept; None to keep nothing.
    """
    own = (_plain(but[0]), None if but[1] is None else but[1].casefold())
    return with_store(place, say, lambda store: _repairs(folders, own, store, say, within_s))


def _repairs(
    folders: Sequence[str], own: tuple[str, str | None], store: Store, say: Callable[[str], None], within_s: float
) -> tuple[Repair, ...]:
    until_s = time.monotonic() + within_s
    left, out = 0, []
    every = dict.fromkeys(_numbered(folders, say))  # folders may lie in each other
    for unit, sittings in itertools.groupby(sorted(every), key=lambda each: each[:2]):
        if unit[0] == own[0] and own[1] in (None, unit[1]):
            continue
        told: list[Told] = []
        for _, _, _, path in sittings:
            found = _read(rescue.found(Path(path)), store, late=time.monotonic() > until_s)
            if found is None:
                left += 1
                told = []
                break
            if found.told is not None:
                told.append(found.told)
        one = repair(told) if told else None
        if one is not None:
            out.append(one)
    if left:
        say(f"{left} units of other jobs were not looked at for want of time; the next start reads on")
    return tuple(out)


def _numbered(folders: Sequence[str], say: Callable[[str], None]) -> Iterator[tuple[str, str, int, str]]:
    """Yield job, tag, number and file of every journal of a job."""
    for found in journals(folders, say):
        match = JOURNAL.fullmatch(found.path.name)
        if found.job and match is not None:
            yield _plain(Path(found.job)), match["tag"].casefold(), found.number, _plain(found.path)


def _plain(path: Path) -> str:
    """Return a path as it is written without detours, so that one place has one name."""
    return os.path.normpath(path.absolute())


def _read(path: Path, store: Store, *, late: bool) -> Read | None:
    """Return what a journal said, now or before; None where it would have to be read and it is too late for that."""

    class Late(Exception):
        pass

    def make() -> bytes:
        if late:
            raise Late
        return msgspec.msgpack.encode(_read_now(path))

    try:
        kept = remembered(store, WHAT, [path], make)
    except Late:
        return None
    except FileProblem:
        return Read(None)
    return decoded(kept.data, Read)


def _read_now(path: Path) -> Read:
    """Read one journal as far as it goes; what cannot be read says nothing."""
    sitting = Sitting()
    try:
        with path.open("rb") as file:
            if file.read(len(FIRST)) != FIRST:
                return Read(None)
        with iterate(path) as records:
            for record in records:
                sitting.add(record)
    except JournalError:
        pass  # what stands before the damage is told
    except (OSError, MetercapError):
        return Read(None)
    return Read(sitting.told)


def where(folders: Sequence[str], *, named: bool) -> str:
    """Say in words where the jobs lie."""
    if named:
        return f"in {', '.join(visible(each) for each in folders)}"
    return f"in {counted(len(folders), 'job')} beside this one" if len(folders) > 1 else "in this job"
