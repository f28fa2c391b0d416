"""The journals that tables are made of, and their lines: many at a time, and picked by how they begin."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import Any

import msgspec

from metercap.errors import JournalError
from metercap.export.sittings import began, later
from metercap.journal import State, iterate
from metercap.journal.format import MAX_LINE
from metercap.journal.reader import open_journal
from metercap.records import NAME, Operator, Record, SessionRecord, decode, named

BLOCK = 1 << 20
_FEW = 1 << 16
"""For what is looked for on the way, where a table is written in little memory."""


class Whose(msgspec.Struct, frozen=True):
    """What the last columns of every row say of one journal; `start`: when it began, None where that is not known."""

    tag: str = ""
    journal: str = ""
    session: str = ""
    unit_name: str = ""
    model: str = ""
    meter: str = ""
    start: datetime.datetime | None = None

    @classmethod
    def of(cls, session: SessionRecord | None, path: Path) -> Whose:
        """Return what a session's first record says."""
        if session is None:
            return cls(journal=path.name)
        model = str(session.plan.get("model", ""))
        return cls(session.tag, path.name, session.id, session.unit, model, session.meter.name, began(session))

    def row(self, t_s: float) -> dict[str, Any]:
        """Return the last columns of a row at a time."""
        return {
            "time": later(self.start, t_s),
            "tag": self.tag,
            "journal": self.journal,
            "session": self.session,
            "unit_name": self.unit_name,
            "model": self.model,
            "meter": self.meter,
        }


class Journal(msgspec.Struct, frozen=True, dict=True):
    """One journal: its file, its first record (None when the file was cut off inside it), and what state it is in.

    `state`: "closed", "unclosed" or "torn"; None when that was not looked for. `lost`: what a file that is not closed
    may lack.
    """

    path: Path
    session: SessionRecord | None
    state: State | None
    lost: str

    @property
    def tag(self) -> str:
        """The unit's tag, by the last word that named it."""
        return self.whose.tag

    @cached_property
    def whose(self) -> Whose:
        """Whose rows its rows are."""
        session = self.session
        for record in records_of(self.path, "operator", having=b'"word":"%b"' % NAME.encode(), size=_FEW):
            if isinstance(record, Operator) and session is not None:
                session = named(session, record)
        return Whose.of(session, self.path)


def blocks(path: Path, size: int = 0) -> Iterator[bytes]:
    """Give the file's whole lines, `size` bytes or `BLOCK` at a time. A tail without LF is not given."""
    with open_journal(path) as file:
        tail = b""
        while block := file.read(size or BLOCK):
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


def records_of(path: Path, *kinds: str, having: bytes = b"", size: int = 0) -> Iterator[Record]:
    """Give a journal's records of some kinds, of lines that hold `having`; no other line is looked at.

    Raises JournalError, with its place, for a line that cannot be decoded.
    """
    starts = tuple(b'{"kind":"%b",' % kind.encode() for kind in kinds)
    for block in blocks(path, size):
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


def whose_of(path: Path, tag: str = "") -> Whose:
    """Return whose a journal's rows are; with `tag`, by which a job knows the unit, whatever it was called since.

    Raises JournalError for what is no journal; a damaged one is called what its first record says.
    """
    with iterate(path) as records:
        first = next(records, None)
    session = first if isinstance(first, SessionRecord) else None
    try:
        whose = Journal(path, session, None, "").whose
    except JournalError:
        whose = Whose.of(session, path)
    return msgspec.structs.replace(whose, tag=tag) if tag else whose
