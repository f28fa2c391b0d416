"""Reads a journal, whole or as a stream, and says what is missing.

A file that was cut off anywhere opens: its whole records are good, and `lost` names the rest. Damage before
that is an error with line and byte (`iterate`), or the end of what is read (`read`); nothing after it is
passed on unsaid.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from io import BufferedReader
from pathlib import Path
from typing import BinaryIO

import msgspec

from metercap.errors import JournalError
from metercap.files import open_file
from metercap.journal import rescue
from metercap.journal.check import NO_END, Bad, Checker, State
from metercap.journal.content import impossible
from metercap.journal.format import MAX_LINE, chain_of
from metercap.records import EndRecord, Record, SessionRecord, decode

REPAIR_HINT = "metercap verify FILE lists the damage; with --repair NEW it writes what is proved good to a new file"

_BUFFER = 1 << 18
_BLOCK = 1 << 20
_END = b'{"kind":"end"'


class JournalFile(msgspec.Struct, frozen=True):
    """A journal read whole. `lost` is empty for a closed file, else one line that says what is not in `records`."""

    path: Path
    records: tuple[Record, ...]
    state: State
    lost: str

    @property
    def session(self) -> SessionRecord | None:
        """The first record, or None when the file was cut off inside it."""
        first = self.records[0] if self.records else None
        return first if isinstance(first, SessionRecord) else None

    @property
    def end(self) -> EndRecord | None:
        """The last record of a closed file."""
        last = self.records[-1] if self.records else None
        return last if isinstance(last, EndRecord) else None


class Records(Iterator[Record]):
    """The records of a file in order, one line in memory at a time (a line has at most MAX_LINE bytes).

    `line`, `number` (from 1) and `byte` (of its start, from 0) belong to the last record given. `state` and
    `lost` tell what was found once the iteration is over; before that `state` is "unclosed". `lost` also
    stays right after a JournalError. A context manager closes the file early.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = rescue.found(Path(path))
        self.line = b""
        self.number = 0
        self.byte = 0
        self.state: State = "unclosed"
        self.lost = ""
        self.refused = False
        self._check = Checker()
        self._file: BinaryIO | None = open_journal(self.path)

    def __enter__(self) -> Records:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __iter__(self) -> Records:
        return self

    def __next__(self) -> Record:
        if self._file is None:
            raise StopIteration
        self.byte += len(self.line)
        self.number += 1
        line = self.line = read_line(self._file, self.path)
        if len(line) > MAX_LINE:
            raise self._damage(self._check.too_long())
        if not line.endswith(b"\n"):
            self.close()
            self.state, what = self._check.tail(line)
            if self.state == "damaged":
                raise self._damage(Bad(what, refused=self.number == 1))
            self.lost = f"{what} (line {self.number}, byte {self.byte})" if self.state == "torn" else what
            raise StopIteration
        try:
            record = self._check.take(line)
        except JournalError as error:
            self.close()
            raise JournalError(error.what, where=self._where(), hint=error.hint) from None
        if isinstance(record, SessionRecord) and (wrong := impossible(record)):
            record = Bad(f"what the session record says cannot be: {wrong}", refused=True)
        if isinstance(record, Bad):
            raise self._damage(record)
        return record

    def close(self) -> None:
        """Close the file; the iteration is over."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def _damage(self, bad: Bad) -> JournalError:
        self.close()
        self.state = "damaged"
        self.refused = bad.refused
        self.lost = f"everything from line {self.number}, byte {self.byte} on: {bad.what}"
        return JournalError(bad.what, where=self._where(), hint=REPAIR_HINT)

    def _where(self) -> str:
        return f"{self.path}, line {self.number}, byte {self.byte}"


def iterate(path: str | Path) -> Records:
    """Return an iterator over a journal's records that holds one line at a time.

    Raises JournalError, at the call, for a file that cannot be opened; while it runs, with line and byte, for
    a file that is no journal or of a newer schema, and at the first line that does not verify.
    """
    return Records(path)


def read(path: str | Path) -> JournalFile:
    """Read a journal whole. A damaged file gives the records before the damage, `state` "damaged" and `lost`.

    Raises JournalError for a file that cannot be opened, is no journal, is of a newer schema or hostile: a
    line beyond MAX_LINE, or one whose checksum holds but whose content is no record.
    """
    found: list[Record] = []
    with Records(path) as records:
        try:
            found.extend(records)
        except JournalError:
            if records.state != "damaged" or records.refused:
                raise
    return JournalFile(path=records.path, records=tuple(found), state=records.state, lost=records.lost)


def prove(path: str | Path) -> tuple[State, str]:
    """Return the state and `lost` of a journal as reading it to the end does, several times faster.

    Every checksum and the end record's sha256 are compared, but no record is made of any line between the
    first and the last, so content that is no record under a right checksum is not found. Raises JournalError
    as `iterate` does.
    """
    path = rescue.found(Path(path))
    with Records(path) as records:
        next(records, None)  # a file that is no journal, or of a newer schema
    with open_journal(path) as file:
        if (state := _proved(file, path)) is not None:
            return state
    with Records(path) as records:  # something is not as it should be: find its place
        for _ in records:
            pass
    return records.state, records.lost


def _proved(file: BinaryIO, path: Path) -> tuple[State, str] | None:
    """Return the state of a closed or unclosed file whose every checksum is right, None for any other."""
    crc = start = byte = 0
    line = tail = b""
    ended = False
    try:
        while block := file.read(_BLOCK):
            lines = (tail + block).split(b"\n")
            tail = lines.pop()
            if not lines:
                if len(tail) >= MAX_LINE:
                    return None
                continue
            chained = chain_of(lines, crc)
            if chained is None or ended or len(lines[0]) >= MAX_LINE:  # only a first line can be longer than a block
                return None
            crc, line = chained, lines[-1]
            ended = bool([each for each in lines if each.startswith(_END)])
            byte += sum(map(len, lines)) + len(lines)
            start = byte - len(line) - 1
    except OSError as error:
        raise unreadable(path, error) from error
    if tail or not byte:
        return None
    if not ended:
        return "unclosed", NO_END
    file.seek(0)
    sha256 = hashlib.sha256()
    while data := file.read(min(_BUFFER, start - file.tell())):
        sha256.update(data)
    return ("closed", "") if _ends(line, sha256.hexdigest()) else None


def _ends(line: bytes, sha256: str) -> bool:
    try:
        record = decode(line)
    except JournalError:
        return False
    return isinstance(record, EndRecord) and record.sha256 == sha256


def open_journal(path: Path) -> BufferedReader:
    """Open a file for reading; JournalError when that fails."""
    try:
        return open_file(path, _BUFFER)
    except OSError as error:
        raise unreadable(path, error) from error


def read_line(file: BinaryIO, path: Path) -> bytes:
    """Return the next line with its LF, a tail without one, or MAX_LINE + 1 bytes of a line too long."""
    try:
        return file.readline(MAX_LINE + 1)
    except OSError as error:
        raise unreadable(path, error) from error


def unreadable(path: Path, error: OSError) -> JournalError:
    """Return the error for a file that the operating system does not give."""
    return JournalError(
        f"cannot be read: {error.strerror or error}", where=str(path), hint="name a journal (.jsonl) that exists"
    )
