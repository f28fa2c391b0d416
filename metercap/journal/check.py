"""Checks a journal's lines one after the other: one machine for reading, verifying and repairing. Pure.

A line that does not verify does not end the check. The next line is tried against every checksum that the
damaged place can have left behind:

    the checksum the bad line carries           its body was changed
    the checksum the bad line's body computes   its carried checksum was changed
    the checksum of the last good line          the bad line was put there between two good ones

so one changed byte costs one record, and a record is called good only where the chain reaches it. After a
line that was left out no earlier line tells where the chain stood: the line after the gap cannot be proved
and counts as lost too.
"""

from __future__ import annotations

import hashlib
from typing import Literal, TypeAlias

import msgspec

from metercap.errors import JournalError
from metercap.journal.format import FIRST, MAX_LINE, carried, computed, could_begin
from metercap.records import SCHEMA, EndRecord, Record, SessionRecord, decode

State: TypeAlias = Literal["closed", "unclosed", "torn", "damaged"]
"""What was found, by the words of `format`."""

NO_END = "no end record: still being written, or cut off between two records"

_TRIED = 8
_EMPTY = 1 << 16


class _Peek(msgspec.Struct):
    schema: int


class Bad(msgspec.Struct, frozen=True):
    """What is wrong with a line. `refused`: it is no accident that a checksum finds, so nobody should read on."""

    what: str
    refused: bool = False


_peek = msgspec.json.Decoder(_Peek)


class Checker:
    """Takes whole lines in order. `records` counts the good ones, `counts` by kind, `bytes` all taken."""

    def __init__(self) -> None:
        self.records = 0
        self.bytes = 0
        self.counts: dict[str, int] = {}
        self.ended = False
        self.damaged = False
        self._lines = 0
        self._crc = 0
        self._from = [0]
        self._sha256 = hashlib.sha256()

    def take(self, line: bytes) -> Record | Bad:
        """Return the record of one whole line, LF and all, or what is wrong with it.

        Raises JournalError, without a place, for a first line of a newer schema, which nobody can judge.
        """
        self._lines += 1
        first = self._lines == 1
        if first and not line.startswith(FIRST):
            return self._bad(line, "no journal starts like this: a session record belongs here", refused=True)
        crc = carried(line)
        if crc is None:
            return self._bad(line, "a line without its checksum at the end")
        if computed(line, self._from[0]) != crc and not any(computed(line, b) == crc for b in self._from[1:]):
            return self._bad(line, "the checksum does not match: changed here, or a line before it is missing")
        if first and (schema := _peek_schema(line)) > SCHEMA:
            raise JournalError(
                f"a journal of schema {schema}; this metercap reads up to {SCHEMA}",
                hint="use the metercap that wrote it, or a newer one",
            )
        if self.ended:
            return self._bad(line, "something follows the end record")
        try:
            record = decode(line)
        except JournalError as error:
            return self._bad(line, error.what, refused=True)
        if isinstance(record, SessionRecord) is not first:
            return self._bad(line, "a session record belongs on the first line, and only there", refused=True)
        if isinstance(record, EndRecord):
            if not self.damaged and (wrong := self._wrong_end(record)):
                return self._bad(line, wrong)
            self.ended = True
        else:
            kind = record.__struct_config__.tag
            assert isinstance(kind, str)
            self.counts[kind] = self.counts.get(kind, 0) + 1
        self._crc = crc
        self._from = [crc]
        self._count(line)
        self.records += 1
        return record

    def empty(self, n: int) -> Bad:
        """Take `n` lines without anything; return what is wrong with them. The chain cannot have gone through them."""
        self._lines += n
        self.damaged = True
        self._from = [*(before for before in self._from if before != self._crc), self._crc][-_TRIED:]
        for left in range(n, 0, -_EMPTY):
            self._count(b"\n" * min(left, _EMPTY))
        first = self._lines == n
        if first:
            return Bad("no journal starts like this: a session record belongs here", refused=True)
        return Bad("an empty line" if n == 1 else f"{n} empty lines")

    def too_long(self) -> Bad:
        """Take a line longer than MAX_LINE, of which nothing is known; return what is wrong with it."""
        self._lines += 1
        self.damaged = True
        self._from = [self._crc]
        return Bad(f"a line of more than {MAX_LINE} bytes", refused=True)

    def tail(self, tail: bytes) -> tuple[State, str]:
        """Return the file's state, earlier damage apart, and what is wrong with the bytes after the last LF."""
        if not tail and self._lines == 0:
            return "torn", "an empty file: it was cut off before its first record"
        if not tail:
            return ("closed", "") if self.ended else ("unclosed", NO_END)
        if self.ended:
            return "damaged", "something follows the end record"
        if not could_begin(tail, first=self._lines == 0):
            return "damaged", "the last bytes are no beginning of a record"
        return "torn", f"a record was cut off after {len(tail)} bytes"

    def _wrong_end(self, end: EndRecord) -> str:
        if end.sha256 != self._sha256.hexdigest():
            return "the end record's sha256 is not that of the bytes before it"
        if end.counts != self.counts:
            return f"the end record counts {end.counts}, the file holds {self.counts}"
        return ""

    def _count(self, line: bytes) -> None:
        self.bytes += len(line)
        self._sha256.update(line)

    def _bad(self, line: bytes, what: str, refused: bool = False) -> Bad:
        left = [computed(line, before) for before in self._from]
        if (crc := carried(line)) is not None:
            left.insert(0, crc)
        self._from = [*left[: _TRIED - 1], self._crc]
        self.damaged = True
        self._count(line)
        return Bad(what, refused)


def _peek_schema(line: bytes) -> int:
    try:
        return _peek.decode(line).schema
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return 0
