"""Reading: every cut opens, damage has a place, hostile files are refused in bounded memory."""

from __future__ import annotations

import os
import re
import tracemalloc
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.errors import JournalError
from metercap.journal import format as fmt
from metercap.journal import iterate, prove, read, reader
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import SCHEMA, EndRecord, Note, Record, SessionRecord

Journal = Callable[..., tuple[Path, list[Record]]]


def check_every_cut(path: Path, written: list[Record]) -> None:
    """Cut a closed journal shorter byte by byte, and compare what opens with what its LFs promise."""
    whole = path.read_bytes()
    for cut in range(len(whole) - 1, -1, -1):
        os.truncate(path, cut)
        left = whole[:cut]
        got = read(path)
        lines = left.count(b"\n")
        assert got.records == tuple(written[:lines])
        tail = cut - (left.rfind(b"\n") + 1)
        if tail or not left:
            assert got.state == "torn"
            where = f"line {lines + 1}, byte {cut - tail}"
            assert got.lost == (
                f"a record was cut off after {tail} bytes ({where})"
                if left
                else f"an empty file: it was cut off before its first record ({where})"
            )
        else:
            assert (got.state, "no end record" in got.lost) == ("unclosed", True)
        assert got.end is None
        assert got.session == (written[0] if lines else None)


def test_closed_journal_gives_back_what_was_written(journal: Journal) -> None:
    """Every record of every kind comes back equal, with the session first and the end last."""
    path, written = journal(count=30)
    got = read(path)
    assert got.records[:-1] == tuple(written)
    assert (got.state, got.lost) == ("closed", "")
    assert got.session == written[0]
    assert isinstance(got.end, EndRecord)
    assert sum(got.end.counts.values()) == len(written)


def test_every_cut_of_a_small_journal(journal: Journal) -> None:
    """Cut at any byte, a file opens with its whole records and says what was lost."""
    path, written = journal(count=14)
    assert 2_000 < path.stat().st_size < 20_000
    check_every_cut(path, written)


@pytest.mark.slow
def test_every_cut_of_a_journal_of_20_kb(journal: Journal) -> None:
    """The same for a file of nearly 20 kB."""
    path, written = journal(count=152)
    assert 18_000 < path.stat().st_size < 20_000
    check_every_cut(path, written)


def test_iterate_streams_with_places(journal: Journal) -> None:
    """The stream gives each record with its own bytes, line number and byte, and at its end the state."""
    path, written = journal(count=20)
    whole = path.read_bytes()
    records = iterate(path)
    for number, record in enumerate(records, 1):
        assert records.number == number
        assert whole[records.byte :].startswith(records.line)
        if number <= len(written):
            assert record == written[number - 1]
    assert (records.state, records.lost) == ("closed", "")
    assert list(records) == []


def test_iterate_and_read_agree_on_an_unclosed_file(journal: Journal) -> None:
    """Without an end record the state is unclosed, by both ways of reading."""
    path, written = journal(closed=False)
    records = iterate(path)
    assert list(records) == written == list(read(path).records)
    assert records.state == read(path).state == "unclosed"
    assert "no end record" in records.lost


def test_damage_has_line_and_byte(journal: Journal) -> None:
    """At the first line that does not verify `iterate` raises and `read` stops, both naming line and byte."""
    path, written = journal(count=20)
    lines = path.read_bytes().splitlines(keepends=True)
    start = sum(map(len, lines[:5]))
    lines[5] = lines[5].replace(b'"t_s":', b'"t_S":')
    path.write_bytes(b"".join(lines))
    records = iterate(path)
    got: list[Any] = []
    with pytest.raises(JournalError, match=re.escape(f"{path}, line 6, byte {start}: the checksum")) as raised:
        got.extend(records)
    assert "metercap verify" in raised.value.hint
    assert got == written[:5] == list(read(path).records)
    assert records.state == read(path).state == "damaged"
    assert read(path).lost.startswith(f"everything from line 6, byte {start} on: ")


def test_cut_then_written_on_is_damage(journal: Journal) -> None:
    """Zeros after a power loss are damage, not a torn record; so is anything after the end record."""
    path, written = journal(closed=False)
    with path.open("ab") as file:
        file.write(bytes(100))
    assert read(path).state == "damaged"
    assert read(path).records == tuple(written)
    closed, _ = journal(seed=2)
    for more in (b"{", b"\n", closed.read_bytes().splitlines(keepends=True)[-1]):
        after = closed.with_suffix(".after")
        after.write_bytes(closed.read_bytes() + more)
        assert read(after).state == "damaged"


@pytest.mark.parametrize(
    "content",
    [b"\x89PNG\r\n\x1a\n" + bytes(100), b"time,value\n1,2\n", b"\xef\xbb\xbf" + fmt.FIRST, bytes(50), b"\n", b"{}\n"],
)
def test_other_files_are_refused(tmp_path: Path, content: bytes) -> None:
    """A file that does not begin as a journal is refused, not called a damaged one."""
    path = tmp_path / "other"
    path.write_bytes(content)
    for way in (read, lambda path: list(iterate(path))):
        with pytest.raises(JournalError, match="line 1, byte 0"):
            way(path)


def test_missing_files_are_refused(tmp_path: Path) -> None:
    """A missing file and a folder are errors with the path."""
    for path in (tmp_path / "none.jsonl", tmp_path):
        for way in (read, iterate):
            with pytest.raises(JournalError, match="cannot be read") as raised:
                way(path)
            assert raised.value.where == str(path)


def write_bodies(path: Path, bodies: list[bytes]) -> None:
    """Write lines with right checksums around any bodies at all."""
    crc = 0
    with path.open("wb") as file:
        for body in bodies:
            line, crc = fmt.seal(body, crc)
            file.write(line)


def test_newer_schema_is_refused(tmp_path: Path, new_session: Callable[..., SessionRecord]) -> None:
    """A newer schema is refused with both versions and what to do, even when its session record has other fields."""
    path = tmp_path / "new.jsonl"
    for body in (fmt.body(new_session(schema=SCHEMA + 1)), b'{"kind":"session","schema":99,"unit":{"name":"B"}}'):
        write_bodies(path, [body])
        for way in (read, lambda path: list(iterate(path))):
            with pytest.raises(JournalError, match=r"line 1, byte 0: a journal of schema \d+.* up to \d") as raised:
                way(path)
            assert "newer" in raised.value.hint


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (b'{"kind":"note","t_s":1.0,"text":"x","z":' + b"[" * 99_999 + b"]" * 99_999 + b"}", "recursion"),
        (b'{"kind":"note","t_s":1.0,"text":"x","z":' + b'{"a":' * 99_999 + b"1" + b"}" * 100_000, "recursion"),
        (b'{"kind":"riddle","t_s":1.0}', "riddle"),
        (b'{"kind":"note","t_s":NaN,"text":""}', "malformed"),
        (b'{"kind":"note","t_s":1e999,"text":""}', "out of range"),
        (b'{"kind":"note","t_s":1.0,"text":"\xff"}', "utf-8"),
        (b'{"kind":"note","t_s":1.0}', "text"),
        (b"}", "malformed"),
    ],
)
def test_hostile_lines_are_refused(tmp_path: Path, session: SessionRecord, body: bytes, why: str) -> None:
    """A line with a right checksum that holds no record is refused with place and reason."""
    path = tmp_path / "hostile.jsonl"
    write_bodies(path, [fmt.body(session), fmt.body(Note(t_s=0.5, text="ok")), body])
    for way in (read, lambda path: list(iterate(path))):
        with pytest.raises(JournalError, match=r"line 3, byte \d+: not a record") as raised:
            way(path)
        assert why in raised.value.what.lower(), "the words are the parser's, and change with it"


def test_second_session_record_is_refused(tmp_path: Path, session: SessionRecord) -> None:
    """Two session records are two sessions, and a file holds one."""
    path = tmp_path / "two.jsonl"
    write_bodies(path, [fmt.body(session), fmt.body(session)])
    with pytest.raises(JournalError, match=r"line 2, .*only there"):
        read(path)


@pytest.mark.parametrize("where", ["first", "middle", "tail"])
def test_huge_lines_are_refused_in_bounded_memory(tmp_path: Path, session: SessionRecord, where: str) -> None:
    """A line of 64 MB is refused with its place, and takes no more memory than a few of the longest lines."""
    path = tmp_path / "huge.jsonl"
    start = b"" if where == "first" else fmt.Chain().line(session)
    with path.open("wb") as file:
        file.write(start + (fmt.FIRST if where == "first" else fmt.LINE))
        for _ in range(64):
            file.write(b" " * (1 << 20))
        file.write(b"" if where == "tail" else b"}\n")
    tracemalloc.start()
    try:
        with pytest.raises(JournalError, match=f"line {1 + bool(start)}, byte {len(start)}: a line of more than"):
            read(path)
        assert tracemalloc.get_traced_memory()[1] < 4 * fmt.MAX_LINE
    finally:
        tracemalloc.stop()


def write_trace(path: Path, session: SessionRecord, count: int) -> None:
    """Write `count` readings at 10/s without a Writer's fsyncs."""
    chain = fmt.Chain()
    with path.open("wb") as file:
        file.write(chain.line(session))
        for index in range(count):
            reading = Reading(
                t_s=round(index / 10, 6),
                quantity=Quantity.VOLTAGE_DC,
                value=index / 1e4,
                resolution=1e-4,
                unit="V",
                state=State.OK,
                flags=("auto",),
                raw="1f2b3d4a5e6f7d8a9eabbccdd0e8",
            )
            file.write(chain.line(reading))


@pytest.mark.parametrize("count", [20_000, pytest.param(864_000, marks=[pytest.mark.slow, pytest.mark.timeout(600)])])
def test_iterate_is_flat_in_memory(tmp_path: Path, session: SessionRecord, count: int) -> None:
    """A trace of any length (slow: 24 h at 10/s) streams in under 2 MB."""
    path = tmp_path / "trace.jsonl"
    write_trace(path, session, count)
    tracemalloc.start()
    try:
        assert sum(1 for _ in iterate(path)) == count + 1
        assert tracemalloc.get_traced_memory()[1] < 2_000_000
    finally:
        tracemalloc.stop()


def by_iterating(path: Path) -> tuple[str, str]:
    records = iterate(path)
    try:
        for _ in records:
            pass
    except JournalError as error:
        return "error", str(error)
    return records.state, records.lost


def by_proving(path: Path) -> tuple[str, str]:
    try:
        return prove(path)
    except JournalError as error:
        return "error", str(error)


@pytest.mark.parametrize("block", [reader._BLOCK, 97])
def test_proving_is_reading_to_the_end(
    journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    """`prove` says the same as reading to the end, errors and places included, for cuts, changes and other files.

    However the file is cut into blocks.
    """
    monkeypatch.setattr(reader, "_BLOCK", block)
    path, _ = journal(count=12)
    whole = path.read_bytes()
    lines = whole.splitlines(keepends=True)
    variants = [whole[:cut] for cut in range(0, len(whole) + 1, 7)]
    variants += [b"".join(lines[:count]) for count in range(len(lines) + 1)]
    variants += [whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :] for at in range(0, len(whole), 11)]
    # A line behind the end whose checksum is right; a second end; a mark that does not stand at its place.
    crc = fmt.carried(lines[-1]) or 0
    variants += [whole + fmt.seal(fmt.body_of(line), crc)[0] for line in (lines[-1], lines[-2])]
    long = b'{"kind":"note","t_s":1.0,"text":"%b"}' % (b"x" * fmt.MAX_LINE)
    variants += [b'%b%b,"crc":"%08x"}\n' % (lines[0], long[:-1], zlib.crc32(long, fmt.carried(lines[0]) or 0))]
    variants += [whole.replace(b',"crc":"', b' ,"crc":"', 1), whole.replace(b'"}\n', b'" }\n', 1)]
    variants += [whole + lines[-1], whole + b"x", b"\n" + whole, b"PNG", lines[0][:-1] + b" " * fmt.MAX_LINE + b"\n"]
    seen = set()
    for content in variants:
        path.write_bytes(content)
        expected = by_iterating(path)
        assert by_proving(path) == expected
        seen.add(expected[0])
    assert seen == {"closed", "unclosed", "torn", "error"}
    assert by_proving(tmp_path / "none") == by_iterating_missing(tmp_path / "none")


def by_iterating_missing(path: Path) -> tuple[str, str]:
    with pytest.raises(JournalError) as raised:
        iterate(path)
    return "error", str(raised.value)


def test_proving_compares_the_end_record(tmp_path: Path, session: SessionRecord) -> None:
    """An end record whose sha256 is wrong, or that is none under its checksum, is an error for `prove` as well."""
    path = tmp_path / "end.jsonl"
    for end in (fmt.body(EndRecord(t_s=1.0, reason="done", counts={}, sha256="0" * 64)), b'{"kind":"end","t_s":1.0}'):
        write_bodies(path, [fmt.body(session), end])
        with pytest.raises(JournalError, match="line 2"):
            prove(path)
