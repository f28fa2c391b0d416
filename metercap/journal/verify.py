"""Verifies a journal to its last byte, and repairs one into a new file.

Repair keeps a record only where the checksum chain proves it, in the file's order:

    before the first damage   copied byte for byte
    a damaged place           one `note` that names its lines and bytes in the old file
    proved records after it   their JSON byte for byte, chained anew behind that note
    a proved `end`            its time and reason; counts and sha256 are made anew, so that the new file is closed

Nothing is mended by guessing, the old file is only read, and a file without damage is copied byte for byte. A
file whose session record cannot be proved is not repaired: no reading means anything without it.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterator
from io import BufferedReader
from pathlib import Path
from typing import BinaryIO

import msgspec

from metercap.errors import JournalError
from metercap.journal import rescue
from metercap.journal.check import Bad, Checker, State
from metercap.journal.disk import Disk
from metercap.journal.format import MAX_LINE, Chain, body_of, seal
from metercap.journal.reader import open_journal, read_line, unreadable
from metercap.records import REPAIR_NOTE, EndRecord, Note, Record

LISTED = 100
"""How many problems a report lists; the rest is counted."""


class Problem(msgspec.Struct, frozen=True):
    """Something that does not verify. `line` counts from 1, `byte` is where that line starts, from 0."""

    line: int
    byte: int
    what: str

    def __str__(self) -> str:
        return f"line {self.line}, byte {self.byte}: {self.what}"


class Soundness(msgspec.Struct, frozen=True):
    """What `verify` found in a file, or `repair` in the old one.

    `records` were proved (`counts` by kind, without `end`), in `bytes` of the whole file. `problems` lists
    the first LISTED of `damaged_lines` lines, and the tail. `lost` says in one line what a reader does not
    get; "" for a closed file. `written`: the new file of a repair.
    """

    path: str
    state: State
    records: int
    counts: dict[str, int]
    bytes: int
    problems: tuple[Problem, ...]
    damaged_lines: int
    lost: str
    written: str = ""

    @property
    def exit_status(self) -> int:
        """0 intact, 1 readable but torn or unclosed, 2 damaged."""
        return {"closed": 0, "unclosed": 1, "torn": 1, "damaged": 2}[self.state]


class _Line(msgspec.Struct, frozen=True):
    """One line of a file: `found` is its record, what is wrong with it, or None for a tail without LF."""

    number: int
    byte: int
    data: bytes
    end_byte: int
    found: Record | Bad | None
    lines: int = 1
    """How many it stands for: empty ones come by the million, and are one finding."""


def verify(path: str | Path) -> Soundness:
    """Check every line of a journal, past any damage, in bounded memory.

    Raises JournalError for a file that cannot be read or is of a newer schema; whatever else is wrong is in
    the report.
    """
    path = rescue.found(Path(path))
    check = Checker()
    problems: list[Problem] = []
    damaged = 0
    last: _Line | None = None
    for line in _lines(path, check):
        last = line
        if isinstance(line.found, Bad):
            damaged += line.lines
            if len(problems) < LISTED:
                problems.append(Problem(line.number, line.byte, line.found.what))
    tail = last.data if last is not None and last.found is None else b""
    state, lost = check.tail(tail)
    if last is not None and last.found is None:
        damaged += state == "damaged"
        problems.append(Problem(last.number, last.byte, lost))
        lost = str(problems[-1])
    if damaged:
        state = "damaged"
        lost = f"{damaged} damaged lines, the first at {problems[0]}"
    return Soundness(
        path=str(path),
        state=state,
        records=check.records,
        counts=check.counts,
        bytes=last.end_byte if last else 0,
        problems=tuple(problems),
        damaged_lines=damaged,
        lost=lost,
    )


def repair(path: str | Path, new_path: str | Path) -> Soundness:
    """Write what `verify` can prove to `new_path`, and return the report on the old file.

    Raises JournalError as `verify` does, when `new_path` exists or cannot be written, and when the session
    record itself is not proved; then no new file is left behind.
    """
    path, new_path = rescue.found(Path(path)), Path(new_path)
    report = verify(path)
    if not report.records or (report.problems and report.problems[0].line == 1):
        raise JournalError(
            "the session record cannot be proved, and nothing means anything without it",
            where=f"{path}, line 1",
            hint="look for another copy of the file",
        )
    disk = Disk()
    try:
        fd = disk.create(new_path)
    except OSError as error:
        what = "already exists" if isinstance(error, FileExistsError) else f"cannot be written: {error.strerror}"
        raise JournalError(what, where=str(new_path), hint="name a new file; the old one is never changed") from error
    try:
        with os.fdopen(fd, "wb") as file:
            for data in _rechained(Path(path)) if report.problems else _copied(Path(path)):
                file.write(data)
            file.flush()
            disk.sync(fd)
    except BaseException as error:
        with contextlib.suppress(OSError):
            new_path.unlink()
        if isinstance(error, OSError):
            raise JournalError(f"cannot be written: {error.strerror}", where=str(new_path)) from error
        raise
    return msgspec.structs.replace(report, written=str(new_path))


def _lines(path: Path, check: Checker) -> Iterator[_Line]:
    """Give every line of a file, checked, then its tail if it has one."""
    number = byte = 0
    with open_journal(path) as file:
        while data := read_line(file, path):
            number += 1
            start = byte
            byte += len(data)
            found: Record | Bad | None
            if len(data) > MAX_LINE:
                found = check.too_long()
                byte += _skip_line(file, path) if not data.endswith(b"\n") else 0
                data = b""
            elif not data.endswith(b"\n"):
                found = None
            elif data == b"\n":
                more = _skip_empty(file, path)
                byte += more
                found = check.empty(1 + more)
                yield _Line(number=number, byte=start, data=b"", end_byte=byte, found=found, lines=1 + more)
                number += more
                continue
            else:
                try:
                    found = check.take(data)
                except JournalError as error:
                    raise JournalError(error.what, where=f"{path}, line {number}", hint=error.hint) from None
            yield _Line(number=number, byte=start, data=data, end_byte=byte, found=found)


def _skip_empty(file: BufferedReader, path: Path) -> int:
    """Read on to the first line that is not empty; return how many lines were."""
    skipped = 0
    try:
        while ahead := file.peek():
            empty = len(ahead) - len(ahead.lstrip(b"\n"))
            skipped += len(file.read(empty))
            if empty < len(ahead):
                break
    except OSError as error:
        raise unreadable(path, error) from error
    return skipped


def _skip_line(file: BinaryIO, path: Path) -> int:
    skipped = 0
    while data := read_line(file, path):
        skipped += len(data)
        if data.endswith(b"\n"):
            break
    return skipped


def _copied(path: Path) -> Iterator[bytes]:
    with open_journal(path) as file:
        while data := file.read(MAX_LINE):
            yield data


def _rechained(path: Path) -> Iterator[bytes]:
    """Give the lines of the repaired file."""
    chain = Chain()
    check = Checker()
    sha256 = hashlib.sha256()
    counts: dict[str, int] = {}
    end: EndRecord | None = None
    gap: tuple[_Line, _Line] | None = None
    t_s = 0.0

    def out(kind: str, line: bytes) -> bytes:
        counts[kind] = counts.get(kind, 0) + 1
        sha256.update(line)
        return line

    for line in _lines(path, check):
        if line.found is None or isinstance(line.found, Bad):
            gap = (gap[0] if gap else line, line)
            continue
        if gap:
            yield out("note", chain.line(_gap_note(t_s, *gap)))
            gap = None
        t_s = line.found.t_s
        if isinstance(line.found, EndRecord):
            end = line.found
            continue
        data, chain.crc = seal(body_of(line.data), chain.crc)
        yield out(str(line.found.__struct_config__.tag), data)
    if gap:
        yield out("note", chain.line(_gap_note(t_s, *gap)))
    if end:
        sealed = msgspec.structs.replace(end, counts=counts, sha256=sha256.hexdigest())
        yield chain.line(sealed)


def _gap_note(t_s: float, first: _Line, last: _Line) -> Note:
    end = last.number + last.lines - 1
    lines = f"line {first.number}" if first.number == end else f"lines {first.number} to {end}"
    return Note(
        t_s=t_s,
        text=f"{REPAIR_NOTE}{lines} (bytes {first.byte} to {last.end_byte - 1}) of the damaged file could not be "
        "proved and were left out",
    )
