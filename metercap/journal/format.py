"""The journal's bytes: one JSON record a line, each line's checksum chained from the line before. Pure.

    journal   = session *( event / outcome ) [ end ]     ; UTF-8, lines parted by LF alone, no byte-order mark
    line      = head %s',"crc":"' 8lowhex %s'"}' LF       ; at most MAX_LINE bytes, LF counted
    head      = a JSON object without its closing brace   ; `kind` first, `t_s` second, no NaN, no Infinity
    lowhex    = %x30-39 / %x61-66                         ; 0-9, a-f
    body      = head %s'}'                                ; what `records.encode` returned
    crc(n)    = zlib.crc32(body(n), crc(n-1)), crc(0) = 0 ; CRC-32 of ISO/IEC 3309 and RFC 1952

    session     the first line and only the first; enough to replay alone; starts with FIRST
    end         the last line; `counts` is the number of records of each kind before it, and
                `sha256` (FIPS 180-4) is of all bytes of the file before its line

Since crc(n) starts from crc(n-1), a line that is changed, left out, doubled or moved breaks the chain where
it stands: the next line's checksum starts from one that is no longer there. A checksum finds accidents, not
forgery.

What a reader may find:

    closed      the chain holds to an `end` whose counts and sha256 are right
    unclosed    the chain holds to the last byte, without an `end`: still running, or cut off between two records
    torn        as unclosed, but the last bytes are the beginning of a line without its LF: cut off inside a record.
                A record is what its LF ends, so a tail without LF is torn even when all else of it is there
    damaged     some line does not verify, or something follows `end`

The kinds of record and their fields are those of `metercap.records`, under the names that stand there. A reader may
pass over keys and kinds it does not know; what `schema` is higher than its own it must refuse.
"""

from __future__ import annotations

import math
import struct
import zlib
from typing import Any

import msgspec

from metercap.records import Record, SessionRecord, encode

MAX_LINE = 1 << 20
"""The longest line in bytes, LF counted. Nothing longer is written, and nothing longer is read into memory."""

FIRST = b'{"kind":"session",'
"""How every journal begins."""

LINE = b'{"kind":"'
"""How every line begins."""

_MARK = b',"crc":"'
_END = b'"}\n'
SUFFIX = len(_MARK) + 8 + len(_END)
"""How many bytes at the end of every line are its checksum and what stands around it."""
_LOWHEX = frozenset(b"0123456789abcdef")


def body(record: Record) -> bytes:
    """Return the record's JSON without checksum, as `records.encode` does.

    Raises ValueError for a NaN or an infinity, wherever it hides in a session record's tables, and for text
    that is not Unicode (lone surrogates): defects of the caller, never of a meter or a disk.
    """
    if type(record) is SessionRecord:
        _refuse_non_finite(msgspec.to_builtins(record), "session")
    return encode(record)


def seal(body: bytes, before: int) -> tuple[bytes, int]:
    """Return the line that holds `body` after a line whose checksum is `before`, and this line's checksum.

    Raises ValueError when the line is longer than MAX_LINE.
    """
    crc = zlib.crc32(body, before)
    line = b'%b,"crc":"%08x"}\n' % (body[:-1], crc)
    if len(line) > MAX_LINE:
        raise ValueError(f"a record of {len(line)} bytes is longer than a journal's line may be ({MAX_LINE})")
    return line, crc


class Chain:
    """Makes the lines of a journal, one after the other; `crc` is the checksum of the last one."""

    def __init__(self) -> None:
        self.crc = 0

    def line(self, record: Record) -> bytes:
        """Return the next line. Raises ValueError as `body` and `seal` do; the chain then stays where it was."""
        line, self.crc = seal(body(record), self.crc)
        return line


def computed(line: bytes, before: int) -> int:
    """Return the checksum that a whole line's body has after a line whose checksum is `before`."""
    return zlib.crc32(b"}", zlib.crc32(memoryview(line)[:-SUFFIX], before))


def carried(line: bytes) -> int | None:
    """Return the checksum that a whole line carries at its end, or None when it has no such end."""
    digits = line[-SUFFIX + len(_MARK) : -len(_END)]
    if line[-SUFFIX : -SUFFIX + len(_MARK)] != _MARK or line[-len(_END) :] != _END:
        return None
    return int(digits, 16) if _LOWHEX.issuperset(digits) else None


def chain_of(lines: list[bytes], before: int) -> int | None:
    """Return the checksum of the last of some lines without their LF; None where one does not carry its own.

    `before`: that of the line before them. All are compared at once, which takes half the time of one by one.
    """
    crc32, crc = zlib.crc32, before
    found = [crc := crc32(b"}", crc32(line[: 1 - SUFFIX], crc)) for line in lines]
    ends = b"".join([line[1 - SUFFIX :] for line in lines])
    digits = ends.replace(_MARK, b"").replace(_END[:-1], b"")
    return crc if digits == struct.pack(f">{len(found)}I", *found).hex().encode() else None


def body_of(line: bytes) -> bytes:
    """Return the body of a whole line whose checksum has been found right."""
    return line[:-SUFFIX] + b"}"


def could_begin(tail: bytes, first: bool) -> bool:
    """Whether bytes without LF can be what is left of a line that was cut off; `first` of the file's first line.

    A line's own end can stand only at its end: bytes after it show a changed LF, not a cut. (A session
    record's tables might hold such an end inside, so there it proves nothing.)
    """
    start = FIRST if first else LINE
    if not tail.startswith(start[: len(tail)]):
        return False
    at = -1 if first else tail.find(_MARK)
    while at >= 0:
        if len(tail) > at + SUFFIX - 1 and carried(tail[: at + SUFFIX - 1] + b"\n") is not None:
            return False
        at = tail.find(_MARK, at + 1)
    return True


def _refuse_non_finite(value: Any, where: str) -> None:
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{where} is {value}, which a journal cannot hold")
    elif isinstance(value, dict):
        for key, inner in value.items():
            _refuse_non_finite(inner, f"{where}.{key}")
    elif isinstance(value, list | tuple):
        for index, inner in enumerate(value):
            _refuse_non_finite(inner, f"{where}[{index}]")
