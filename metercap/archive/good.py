"""One reference from any number of files: each is read once, and they are in memory one at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec

from metercap.archive.remember import decoded, remembered
from metercap.archive.store import Store, with_store
from metercap.compare.sources import Closed, closed_sources
from metercap.errors import FileProblem
from metercap.gate import storable
from metercap.journal import rescue
from metercap.records import SCHEMA as RECORDS
from metercap.reference.learning import Learning
from metercap.reference.model import SCHEMA, Reference, SourceFile

VERSION = 1
"""Of how good values are taken from a session; what another version kept is read anew."""
WHAT = f"good {VERSION}, records {RECORDS}, reference {SCHEMA}"


class Read(msgspec.Struct, frozen=True, array_like=True):
    """What one source gave: its good values, None where it has no session; `said`: what is to be said of it."""

    reference: Reference | None
    said: tuple[str, ...] = ()


def learn_from(
    paths: Sequence[Path],
    place: Path | None,
    say: Callable[[str], None],
    progress: Callable[[int, int], None],
    *,
    program: str,
    force: bool = False,
) -> Reference:
    """Return the reference that journals, jobs and references make together, with each file by its hash.

    `place`: where what was read is kept; None to keep nothing. `progress` is told how many sources were taken and how
    many of them read. Raises as `Learning` does, and as `open_source` for a file that cannot be used.
    """
    return with_store(place, say, lambda store: _learned(paths, store, say, progress, program, force))


def _learned(
    paths: Sequence[Path],
    store: Store,
    say: Callable[[str], None],
    progress: Callable[[int, int], None],
    program: str,
    force: bool,
) -> Reference:
    learning, read_n = Learning(force=force, first_time=store.first_time), 0
    for number, closed in enumerate(closed_sources(paths, good=True), 1):
        found, sources, anew = _read(closed, store)
        read_n += anew
        for text in found.said:
            say(text)
        if found.reference is not None:
            nameless = found.reference.folded.units
            if nameless:
                say(f"{closed.path}: {nameless} of its units are no longer named: one of them may be there twice")
            known = (*found.reference.sources, *sources)
            learning.add(msgspec.structs.replace(found.reference, sources=known))
        progress(number, read_n)
    return learning.reference(program=program)


def _read(closed: Closed, store: Store) -> tuple[Read, tuple[SourceFile, ...], bool]:
    """Return what a source gives, now or before; its files by their hashes; and whether it was read now."""
    files = tuple(rescue.found(file) for file in closed.files)
    anew = False

    def make() -> bytes:
        nonlocal anew
        anew = True
        return msgspec.msgpack.encode(_read_now(closed))

    kept = remembered(store, WHAT + ", job" * closed.of_job, files, make)
    if not kept.sha256:
        hint = "learn from it when its session is over"
        raise FileProblem("was changed while it was read", where=str(closed.path), hint=hint)
    found = decoded(kept.data, Read)
    signed = "" if found.reference is None or found.reference.signed is None else found.reference.signed.words
    hashes = kept.sha256.split(",")
    names = [f"{file.parent.name}/{file.name}" if closed.of_job else file.name for file in files]
    sources = tuple(SourceFile(str(storable(name)), sha256, signed) for name, sha256 in zip(names, hashes, strict=True))
    return found, sources, anew


def _read_now(closed: Closed) -> Read:
    said: list[str] = []
    source = closed.open(said.append)
    if source is None:
        return Read(None, tuple(said))
    if source.lost:
        said.append(f"{source.path}: {source.lost}")
    return Read(source.good(), tuple(said))
