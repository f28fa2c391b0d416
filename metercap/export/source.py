"""The journals that tables are made of, and their lines: many at a time, and picked by how they begin."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from pathlib import Path

import msgspec

from metercap.errors import JournalError
from metercap.journal import State, iterate
from metercap.journal.format import MAX_LINE
from metercap.journal.reader import open_journal
from metercap.records import NAME, Operator, Record, SessionRecord, decode, named

BLOCK = 1 << 20


class Journal(msgspec.Struct, frozen=True, dict=True):
    """One journal: its file, its first record (None when the file was cut off inside it), and what state it is in.

    `state`: "closed", "unclosed" or "torn"; None when that was not looked for. `lost`: what a file that is not closed
    may lack.
    """

    path: Path
    session: SessionRecord | None
    state: State | None
    lost: str

    @cached_property
    def tag(self) -> str:
        """The unit's tag, by the last word that named it."""
        session = self.session
        if session is None:
            return ""
        for record in records_of(self.path, "operator", having=b'"word":"%b"' % NAME.encode()):
            if isinstance(record, Operator):
                session = named(session, record)
        return session.tag


def blocks(path: Path) -> Iterator[bytes]:
    """Give the file's whole lines, many at a time. A tail without LF is not given."""
    with open_journal(path) as file:
        tail = b""
        while block := file.read(BLOCK):
            end = block.rfind(b"\n") + 1
            if end:
                yield tail + block[:end]
                tail = block[end:]
            else:
                tail += block
            if len(tail) > MAX_LINE:
                raise placed(path, f"a line of more than {MAX_LINE} bytes")


def only(block: bytes, starts: tuple[bytes, ...]) -> list[bytes]:
    """Return the lines of a block that begin in one of these ways."""
    if not any(start in block for start in starts):
        return []
    return [line for line in block.split(b"\n") if line.startswith(starts)]


def records_of(path: Path, *kinds: str, having: bytes = b"") -> Iterator[Record]:
    """Give a journal's records of some kinds, of lines that hold `having`; no other line is looked at.

    Raises JournalError, with its place, for a line that cannot be decoded.
    """
    starts = tuple(b'{"kind":"%b",' % kind.encode() for kind in kinds)
    for block in blocks(path):
        if having not in block:
            continue
        for line in only(block, starts):
            if having in line:
                try:
                    record = decode(line)
                except JournalError as error:
                    raise placed(path, error.what) from error
                yield record


def placed(path: Path, what: str) -> JournalError:
    """Return the error with its place, which reading the slow way finds."""
    try:
        for _ in iterate(path):
            pass
    except JournalError as error:
        return error
    return JournalError(what, where=str(path))
